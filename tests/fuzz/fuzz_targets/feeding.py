"""Turns the fuzzer's bytes into streams and files that get past checksums, so that what lies behind is tried too."""

import json
import zlib
from functools import cache

from fuzz_targets import ROOT

LONGEST_BODY = 250
MOST_AGAIN = 20
RAW, SOUND, DAMAGED, AGAIN = range(4)


class Cursor:
    """Reads bytes from the front; what is not there reads as zero."""

    def __init__(self, data):
        self.data = data
        self.at = 0

    @property
    def more(self):
        return self.at < len(self.data)

    def take(self, size):
        piece = self.data[self.at : self.at + size]
        self.at += size
        return piece

    def number(self, size=1):
        return int.from_bytes(self.take(size), "little")

    def rest(self):
        return self.take(len(self.data))


def with_checksum(body):
    """A record of these bytes."""
    return body + zlib.crc32(body).to_bytes(4, "little")


def stuffed(record):
    """The frame of a record, by a few lines that are nobody's product."""
    out = bytearray(b"\0")
    for piece in _blocks(record):
        out += bytes([len(piece) + 1]) + piece
    return bytes(out + b"\0")


def _blocks(record):
    for piece in record.split(b"\0"):
        rest = piece
        while len(rest) >= 254:
            yield rest[:254]
            rest = rest[254:]
        yield rest


def stream_of(data):
    """A stream: each piece of the data begins with what it is (raw bytes, a sound or a damaged record, one again)."""
    cursor = Cursor(data)
    out = []
    last = b""
    again = 0
    while cursor.more:
        what = cursor.number() & 3
        if what == AGAIN:
            again += 1
            if again < MOST_AGAIN:
                out.append(last)
            continue
        piece = cursor.take(cursor.number())
        if what != RAW:
            record = with_checksum(piece[:LONGEST_BODY])
            piece = stuffed(record[:-1] + bytes([record[-1] ^ 1]) if what == DAMAGED else record)
            last = piece
        out.append(piece)
    return b"".join(out)


def data_of(stream):
    """The reverse for seeds: sound records become pieces with room to change, the rest stays raw."""
    out = bytearray()
    for piece in stream.split(b"\0"):
        if not piece:
            continue
        record = _unstuffed(piece)
        if record is not None and with_checksum(record[:-4]) == record:
            out += bytes([SOUND, len(record) - 4]) + record[:-4]
        else:
            raw = b"\0" + piece + b"\0"
            for start in range(0, len(raw), 255):
                part = raw[start : start + 255]
                out += bytes([RAW, len(part)]) + part
    return bytes(out)


def _unstuffed(piece):
    out = bytearray()
    at = 0
    while at < len(piece):
        code = piece[at]
        block = piece[at + 1 : at + code]
        if code == 0 or len(block) != code - 1:
            return None
        out += block
        at += code
        if code != 255 and at < len(piece):
            out.append(0)
    return bytes(out)


@cache
def vectors(name):
    """The cases of one file of golden vectors."""
    return json.loads((ROOT / "protocol" / "vectors" / f"{name}.json").read_text("utf-8"))["cases"]


@cache
def records():
    """The valid records of the golden vectors."""
    return tuple(bytes.fromhex(case["record"]) for case in vectors("valid"))


@cache
def sent_streams():
    """What hosts send in the golden conversations, one stream per conversation."""
    return tuple(
        b"".join(bytes.fromhex(step["send"]) for step in case["steps"] if "send" in step)
        for case in vectors("conversations")
    )
