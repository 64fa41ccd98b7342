"""Hostile hosts at the firmware, in the real interpreter: its core alone, and the whole logger behind its cable."""

import json
import random
import struct
import subprocess
import zlib

import pytest

INPUTS = 8000
FOLDERS = ("tests/firmware", "firmware", "firmware/virtual")
MESSAGES = 150


def test_the_core_withstands_hostile_inputs(interpret):
    """Nothing raises, nothing grows, no run disappears without its hash, nothing happens without the key."""
    done = interpret("tests/on_micropython/hostile_inputs.py", INPUTS, 1, folders=FOLDERS, heap="2m")

    assert done.returncode == 0, done.stdout + done.stderr
    assert "nothing found" in done.stdout


def framed(record):
    """A record, checksum added, as it goes over a link."""
    record += struct.pack("<I", zlib.crc32(record))
    out = b"\0"
    for piece in record.split(b"\0"):
        out += bytes([len(piece) + 1]) + piece
    return out + b"\0"


def command(index, number, arguments=b""):
    return framed(struct.pack("<BBHIB", 9, 1, 0, index, number) + arguments)


def unframed(piece):
    """The record in a stretch between zeros, one of at most 254 bytes."""
    out = bytearray()
    at = 0
    while at < len(piece):
        out += piece[at + 1 : at + piece[at]] + b"\0"
        at += piece[at]
    return bytes(out[:-1])


class Logger:
    """The virtual logger at the other end of two pipes, in a heap not much larger than a board's."""

    def __init__(self, micropython, root, runs):
        self.process = subprocess.Popen(
            [
                micropython,
                "-X",
                "heapsize=1m",
                str(root / "firmware" / "virtual" / "main.py"),
                "--runs",
                str(runs),
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={"MICROPYPATH": f"{root / 'firmware' / 'virtual'}:{root / 'firmware'}:.frozen"},
        )
        self.heard = b""
        self.until("ready")

    def until(self, event):
        """Take messages until the board tells of an event."""
        while True:
            head = self.process.stdout.read(3)
            assert len(head) == 3, self.process.stderr.read().decode()
            payload = self.process.stdout.read(head[1] | head[2] << 8)
            if head[0] == 0:
                self.heard += payload
            elif json.loads(payload)["event"] == event:
                return

    def send(self, data):
        """Bytes to the link; what came back since."""
        self.heard = b""
        self.process.stdin.write(struct.pack("<BH", 0, len(data)) + data)
        self.process.stdin.flush()
        self.until("idle")
        return self.heard

    def pass_time(self, milliseconds):
        order = json.dumps({"do": "run", "ms": milliseconds}).encode()
        self.process.stdin.write(struct.pack("<BH", 1, len(order)) + order)
        self.process.stdin.flush()
        self.until("idle")

    def ask(self, index, number, arguments=b""):
        """(error, results) of a command, behind whatever is still being sent."""
        heard = self.send(b"\0" + command(index, number, arguments))
        for _ in range(50):
            for piece in heard.split(b"\0"):
                record = unframed(piece) if piece else b""
                if record[:1] == b"\x0a" and record[4:8] == struct.pack("<I", index):
                    return record[9], record[10:-4]
            heard += self.send(b"\0")
        raise AssertionError("no answer")

    def close(self):
        self.process.stdin.close()
        self.process.stdout.close()
        status = self.process.wait(timeout=60)
        self.process.stderr.close()
        return status


def hostile(draw, sent):
    """A message of a host that knows the protocol and means ill: known commands changed, any others, noise."""
    out = b""
    for _ in range(draw.randint(1, 6)):
        what = draw.randrange(4)
        if what == 0:
            out += draw.randbytes(draw.randint(0, 80))
        elif what == 1:
            record = bytearray(draw.choice(sent))
            for _ in range(draw.randint(1, 3)):
                record[draw.randrange(len(record))] = draw.choice((0, 1, 255, draw.randrange(256)))
            out += framed(bytes(record))
        elif what == 2:
            out += framed(draw.choice(sent))
        else:
            out += command(draw.randrange(1 << 32), draw.randrange(24), draw.randbytes(draw.randint(0, 60)))
    return out[:1000]


@pytest.mark.parametrize("seed", [1, 2])
def test_a_hostile_host_cannot_stop_the_logger_or_take_its_runs(micropython, root, tmp_path, seed):
    """After all that it answers, and its first run is on its flash as it was before, byte for byte."""
    cases = json.loads((root / "protocol" / "vectors" / "conversations.json").read_text())["cases"]
    streams = [bytes.fromhex(step["send"]) for case in cases for step in case["steps"] if "send" in step]
    sent = [unframed(piece)[:-4] for stream in streams for piece in stream.split(b"\0") if piece]
    sent = [record for record in sent if record[:1] == b"\x09" and len(record) > 8]
    assert len(sent) > 20
    draw = random.Random(seed)
    logger = Logger(micropython, root, tmp_path / "runs")
    assert logger.ask(1, 4)[0] == 0
    logger.pass_time(3000)
    assert logger.ask(2, 5)[0] == 0
    logger.pass_time(1000)
    first = tmp_path / "runs" / "00001.run"
    kept = first.read_bytes()
    assert len(kept) > 1000

    for number in range(MESSAGES):
        logger.send(hostile(draw, sent))
        if number % 10 == 9:
            logger.pass_time(300)

    logger.ask(3_000_000_001, 5)
    error, results = logger.ask(3_000_000_002, 7, b"\x01\x00")
    assert error == 0
    assert results[:2] == b"\x01\x00"
    assert first.read_bytes() == kept
    assert logger.close() == 0
