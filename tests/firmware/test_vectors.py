"""The golden vectors, read by the firmware's own reader and writer."""

import sys
from binascii import crc32
from struct import pack_into

from firmware_support import Logger, command, read_json, split_frames

from logger.core import auth, cobs, layout, record
from logger.core.commands import Commands
from logger.core.credit import Credit
from logger.core.flash_store import FlashStore, file_name
from logger.core.inbox import Inbox
from logger.core.outbox import Outbox

ON_MICROPYTHON = sys.implementation.name == "micropython"
LETTERS = {
    "u8": "B",
    "u16": "H",
    "u32": "I",
    "i24": "i",
    "f32": "f",
    "bytes8": "8",
    "bytes32": "S",
    "text": "t",
    "rest": "*",
}


def kinds():
    return {kind["name"]: kind for kind in read_json("protocol/records.json")["kinds"]}


def test_every_frame_is_stuffed_and_unstuffed_as_it_says():
    for case in read_json("protocol/vectors/valid.json")["cases"]:
        plain = bytearray(bytes.fromhex(case["record"]))
        if len(plain) > layout.MAX_RECORD:
            continue
        target = bytearray(layout.MAX_FRAME)
        length = cobs.frame(plain, len(plain), target)

        assert bytes(target[:length]).hex() == case["frame"], case["id"]
        buffer = bytearray(target[1 : length - 1])
        assert bytes(buffer[: cobs.unstuff(buffer, len(buffer))]) == bytes(plain), case["id"]
        assert record.damage(plain, len(plain)) == 0, case["id"]


def test_records_are_written_as_the_vectors_say():
    table = kinds()
    written = set()
    for case in read_json("protocol/vectors/valid.json")["cases"]:
        if not case.get("canonical") or case["version"] != 1 or case["name"] not in table:
            continue
        if ON_MICROPYTHON and case["id"] == "mark-utf8":
            continue  # its json module does not join the two halves of a character beyond U+FFFF
        buffer = bytearray(layout.MAX_RECORD)
        at = record.begin(buffer, case["kind"], case["run"], case["index"])
        fields = case["fields"]
        for field in table[case["name"]]["fields"]:
            value = fields[field["name"]]
            if field["type"] == "samples":
                counts, quality, steps = value["counts"], value["quality"], value["steps"]
                buffer[at] = len(counts)
                at += 1
                for i in range(len(counts)):
                    at = record.put_sample(buffer, at, counts[i], quality[i], steps[i])
                continue
            if field["type"] == "means":
                buffer[at] = len(value["mean"])
                at += 1
                for i in range(len(value["mean"])):
                    stamp = (value["quality"][i] << layout.QUALITY_SHIFT) | value["number"][i]
                    counts = (value["mean"][i], value["lowest"][i], value["highest"][i])
                    at = record.pack(buffer, at, "HHiii", (stamp, value["step_ms"][i]) + counts)  # noqa: RUF005
                continue
            if field["type"] == "text":
                value = value.encode()
            elif field["type"] in ("f32", "bytes8", "bytes32", "rest"):
                value = bytes.fromhex(value)
            at = record.pack(buffer, at, LETTERS[field["type"]], (value,))
        length = record.finish(buffer, at)

        assert bytes(buffer[:length]).hex() == case["record"], case["id"]
        written.add(case["name"])

    assert written == set(table)


def test_what_is_no_record_is_dropped():
    """Damage that only a reader of fields can see is left out: the logger reads commands alone."""
    seen = set()
    for case in read_json("protocol/vectors/invalid.json")["cases"]:
        body = bytes.fromhex(case["body"])
        inbox = Inbox()
        length = 0
        for byte in body + b"\x00":
            length = inbox.feed(byte) or length
        if case["error"] in ("BAD_LENGTH", "BAD_VALUE") and length:
            continue

        assert length == 0, case["id"]
        assert inbox.bad_records == 1, case["id"]
        assert inbox.last_damage == case["value"], case["id"]
        seen.add(case["error"])

    assert {"BAD_STUFFING", "TOO_SHORT", "TOO_LONG", "BAD_CHECKSUM", "BAD_VALUE"} <= seen


def matches(record_bytes, expected, table, came):
    if "again" in expected:
        return record_bytes == came[expected["again"]]
    if "record" in expected:
        return record_bytes.hex() == expected["record"]
    if record_bytes[0] != expected["kind"]:
        return False
    at = 8
    values = {}
    for field in next(kind for kind in table.values() if kind["value"] == expected["kind"])["fields"]:
        letter = LETTERS[field["type"]]
        if letter == "*":
            values[field["name"]] = bytes(record_bytes[at:-4]).hex()
            continue
        found = record.unpack(bytearray(record_bytes), at, len(record_bytes) - 4, letter)
        assert found is not None
        value, at = found
        if letter == "t":
            value = value.decode()
        elif letter in ("8", "S", "f"):
            value = value.hex()
        values[field["name"]] = value
    for name, value in expected["fields"].items():
        got = values[name]
        if name == "results":  # a beginning is enough
            got = got[: len(value)]
        if got != value:
            return False
    return True


def test_conversations():
    table = kinds()
    for case in read_json("protocol/vectors/conversations.json")["cases"]:
        logger = Logger()
        outbox = Outbox(logger.recorder)
        commands = Commands(logger.recorder, outbox)
        inbox = Inbox()
        logger.samples(0, 100)
        packet = bytearray(2000)
        came = []
        for step in case["steps"]:
            for byte in bytes.fromhex(step["send"]):
                length = inbox.feed(byte)
                if length:
                    commands.handle(inbox.record, length, logger.ticks)
                if inbox.knocked:
                    inbox.knocked = False
                    commands.knock()
            logger.samples(0, 5)
            sent = split_frames(bytes(packet[: outbox.fill(packet, 2000, logger.ticks)]))
            sent = [one for one in sent if one[0] != layout.KIND_LOG]

            assert len(sent) == len(step["expect"]), case["id"]
            for i in range(len(sent)):
                assert matches(sent[i], step["expect"][i], table, came), case["id"]
                came.append(sent[i])


class Flash:
    """Files in memory, as FlashStore wants them; each replaced or appended at once."""

    block_size = 4096

    def __init__(self, files):
        self.files = files

    def sizes(self):
        return [(name, len(self.files[name])) for name in self.files]

    def free_blocks(self):
        return 100

    def read(self, name, offset, buffer):
        piece = self.files[name][offset : offset + len(buffer)]
        buffer[: len(piece)] = piece
        return len(piece)

    def replace(self, name, data):
        self.files[name] = bytes(data)


class Session:
    """The tester's side of a session over a radio link."""

    def __init__(self, case):
        files = {file_name(one["run"]): bytes.fromhex(one["bytes"]) for one in case["stored"]}
        self.logger = Logger(store=FlashStore(Flash(files)))
        self.logger.recorder.identity.serial = bytes.fromhex(case["serial"])
        self.logger.recorder.identity.name = case["name"].encode()
        for name in case["settings"]:
            setattr(self.logger.settings, name, case["settings"][name])
        self.key = bytes.fromhex(case["key"])
        keys = auth.Keys(auth.MemorySecrets(), lambda size: bytes(range(size)))
        keys.set(self.key if self.key else bytes(32), case["access"])
        self.outbox = Outbox(self.logger.recorder, True, Credit(True, bytes))
        self.commands = Commands(self.logger.recorder, self.outbox, auth.Gate(keys, False))
        self.session = b""
        self.packet = bytearray(3800)
        self.logger.samples(0, 100)

    def say(self, record_bytes):
        """What comes of a record, receipts and lines for people aside."""
        self.commands.handle(bytearray(record_bytes), len(record_bytes), self.logger.ticks)
        sent = []
        for _ in range(3):  # a record that is passed over takes a turn
            sent += split_frames(bytes(self.packet[: self.outbox.fill(self.packet, 3800, self.logger.ticks)]))
            self.outbox.credit.clear()
        return [one for one in sent if one[0] not in (layout.KIND_LOG, layout.KIND_RECEIPT)]

    def take(self, step):
        """What comes of a step."""
        if "wait_ms" in step:
            self.logger.idle(step["wait_ms"])
            return []
        if "open" in step:
            return self.say(bytes.fromhex(step["open"]))
        if "challenge" in step:
            nonce = b"\x55" * 32
            (answer,) = self.say(_plain(step["challenge"], layout.COMMAND_CHALLENGE, nonce))
            self.session = auth.session_key(self.key, answer[10:42], nonce)
            assert answer[42:74] == auth.proof(self.session)
            return [answer]
        sealed = bytes.fromhex(step["sealed"])
        tag = auth.tag(self.session, step["counter"], sealed)
        arguments = step["counter"].to_bytes(4, "little") + tag + sealed
        return self.say(_plain(step["index"], layout.COMMAND_SEALED, arguments))


def _plain(index, number, arguments):
    return split_frames(command(index, number, arguments))[0]


def test_sessions():
    table = kinds()
    for case in read_json("protocol/vectors/sessions.json")["cases"]:
        session = Session(case)
        came = []
        for step in case["steps"]:
            sent = session.take(step)
            if "expect" in step:
                assert len(sent) == len(step["expect"]), case["id"]
                for i in range(len(sent)):
                    assert matches(sent[i], step["expect"][i], table, came + sent), case["id"]
            came += sent


def test_crc_of_a_vector_by_hand():
    case = read_json("protocol/vectors/valid.json")["cases"][0]
    plain = bytearray(bytes.fromhex(case["record"]))
    trailer = bytearray(4)
    pack_into("<I", trailer, 0, crc32(bytes(plain[:-4])))

    assert bytes(trailer) == bytes(plain[-4:])
