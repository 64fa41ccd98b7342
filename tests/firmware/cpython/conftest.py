"""A virtual logger as a process: the firmware's pipe protocol spoken with a few lines of this file alone."""

import contextlib
import json
import os
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import pytest
from cobs import cobs

FIRMWARE = Path(__file__).parent.parent.parent.parent / "firmware"


class Process:
    """The virtual logger at the other end of two pipes."""

    def __init__(self, command, *options):
        kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
        path = os.pathsep.join((str(FIRMWARE / "virtual"), str(FIRMWARE), ".frozen"))
        self.process = subprocess.Popen(
            [*command, str(FIRMWARE / "virtual" / "main.py"), *map(str, options)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**kept, "MICROPYPATH": path},
        )
        self.link_bytes = b""
        self.events = []
        self.index = 0
        self.wait("ready")

    def put(self, channel, payload):
        self.process.stdin.write(struct.pack("<BH", channel, len(payload)) + payload)
        self.process.stdin.flush()

    def receive(self):
        head = self.process.stdout.read(3)
        if len(head) < 3:
            raise EOFError(self.process.stderr.read().decode())
        payload = self.process.stdout.read(head[1] | head[2] << 8)
        if head[0] == 0:
            self.link_bytes += payload
        else:
            self.events.append(json.loads(payload))
        return head[0]

    def wait(self, event):
        while not (self.receive() == 1 and self.events[-1]["event"] == event):
            pass
        return self.events[-1]

    def do(self, **request):
        self.put(1, json.dumps(request).encode())

    def run(self, milliseconds):
        self.do(do="run", ms=milliseconds)
        return self.wait("idle")

    def send(self, data):
        self.put(0, data)
        self.wait("idle")

    def command(self, number, arguments=b""):
        """Send a command and return the results of its answer; other records pile up in link_bytes."""
        self.index += 1
        before = self.whole()
        body = struct.pack("<BBHIB", 9, 1, 0, self.index, number) + arguments
        body += struct.pack("<I", zlib.crc32(body))
        self.send(b"\0" + cobs.encode(body) + b"\0")
        while True:
            answers = [one for one in self.records(before) if one[0] == 10 and one[4] == self.index]
            if answers:
                assert answers[0][9] == 0, f"error {answers[0][9]}"
                return answers[0][10:-4]
            self.run(50)

    def whole(self):
        """The place in link_bytes after the latest record that has come whole."""
        return self.link_bytes.rfind(b"\0") + 1

    def records(self, start=0):
        """All records received since a place in link_bytes."""
        return [cobs.decode(piece) for piece in self.link_bytes[start : self.whole()].split(b"\0") if piece]

    def download(self, run):
        """All records of a run, each as unframed bytes."""
        found = []
        finished = 0
        while not finished:
            before = self.whole()
            _, finished = struct.unpack("<IB", self.command(8, struct.pack("<HIBB", run, len(found), 64, 0)))
            found += [one for one in self.records(before) if one[2:4] == struct.pack("<H", run)]
        return found

    def close(self):
        self.process.stdin.close()
        status = self.process.wait(timeout=60)
        self.process.stdout.close()
        self.process.stderr.close()
        return status


@pytest.fixture
def start(request):
    """Start virtual loggers by interpreter name; what still runs is stopped at the end."""
    started = []

    def run(interpreter, *options):
        if interpreter == "micropython":
            command = [request.getfixturevalue("micropython"), "-X", "heapsize=4m"]
        else:
            command = [sys.executable, "-B", "-E"]
        process = Process(command, *options)
        started.append(process)
        return process

    yield run
    for one in started:
        if one.process.poll() is None:
            one.process.kill()
            one.process.wait()
        for pipe in (one.process.stdin, one.process.stdout, one.process.stderr):
            with contextlib.suppress(BrokenPipeError):
                pipe.close()
