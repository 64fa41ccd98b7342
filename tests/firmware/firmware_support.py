"""Shared by the plain test files; runs under both interpreters, so no fixtures and no pytest here."""

import json
from binascii import crc32
from struct import pack, unpack_from

from logger.core import cobs, layout
from logger.core.identity import Identity
from logger.core.recorder import Recorder
from logger.core.settings import Settings
from logger.core.store import MemoryStore
from logger.core.timebase import Timebase

ROOT = __file__.replace("\\", "/").rsplit("/", 3)[0]
TICKS_MASK = 0x3FFFFFFF


def read_json(path):
    """A file of the repository."""
    with open(ROOT + "/" + path) as file:
        return json.load(file)


def raises(error, function, *arguments):
    """True when the call raises that error."""
    try:
        function(*arguments)
    except error:
        return True
    return False


class Logger:
    """A recorder with its own clock: samples go in at a steady step, service runs after each."""

    def __init__(self, capacity=200000, start_ticks=0, step_us=11000, store=None):
        self.ticks = start_ticks
        self.step_us = step_us
        self.settings = Settings()
        self.store = store if store else MemoryStore(capacity)
        identity = Identity(b"\x01\x02\x03\x04\x05\x06\x07\x08", 77, "test", "test")
        self.recorder = Recorder(Timebase(start_ticks), self.store, identity, self.settings)
        self.pushed = []

    def sample(self, counts, quality=0, missed=0):
        """One step later a conversion comes."""
        self.ticks = (self.ticks + self.step_us) & TICKS_MASK
        self.recorder.push(counts, self.ticks, quality, missed)
        self.pushed.append(counts)
        self.recorder.service(self.ticks)

    def samples(self, counts, number):
        """The same count again and again."""
        for _ in range(number):
            self.sample(counts)

    def idle(self, milliseconds):
        """Time passes without conversions."""
        for _ in range(milliseconds // 10):
            self.ticks = (self.ticks + 10000) & TICKS_MASK
            self.recorder.service(self.ticks)

    def finish(self):
        """Let the writer write what is left; no time passes."""
        for _ in range(2000):
            if not self.recorder.writer.active:
                return
            self.recorder.service(self.ticks)
        raise AssertionError("the run writer does not come to an end")

    def records(self, run):
        """All records of a run, as bytes."""
        buffer = bytearray(layout.MAX_RECORD)
        result = []
        for index in range(self.store.records(run)):
            length = self.store.read(run, index, buffer)
            result.append(bytes(buffer[:length]))
        return result


def signed(raw):
    """Three bytes to a signed number."""
    return ((raw[0] | raw[1] << 8 | raw[2] << 16) ^ 0x800000) - 0x800000


def samples_of(record, at):
    """(counts, quality, step) of each sample of a record whose number of samples stands at `at`."""
    result = []
    for i in range(record[at]):
        start = at + 1 + 5 * i
        stamp = record[start + 3] | record[start + 4] << 8
        result.append((signed(record[start : start + 3]), stamp >> 13, stamp & 8191))
    return result


def run_samples(records):
    """[(number, second, microsecond, counts, quality)] of all SAMPLES records, times from the steps."""
    result = []
    for record in records:
        if record[0] == layout.KIND_SAMPLES:
            number, second, low, high = unpack_from("<IIHB", record, 8)
            microsecond = high << 16 | low
            for counts, quality, step in samples_of(record, 19):
                microsecond += step * layout.STEP_US
                second += microsecond // 1000000
                microsecond %= 1000000
                result.append((number, second, microsecond, counts, quality))
                number += 1
    return result


def end_of(records):
    """The fields of RUN_END by name, as far as the tests need them."""
    record = records[-1]
    assert record[0] == layout.KIND_RUN_END
    names = ("end_s", "end_us", "samples", "samples_not_stored", "missed", "clipped", "doubtful")
    fields = dict(zip(names, unpack_from("<IIIIIII", record, 9)))  # noqa: B905 - MicroPython has no strict
    fields["cause"] = record[8]
    fields["lowest"] = signed(record[37:40])
    fields["highest"] = signed(record[40:43])
    fields["peak_windows"] = record[43]
    fields["sha256"] = record[44:76]
    return fields


def command(index, number, arguments=b"", version=1):
    """The frame of a COMMAND, made without the firmware's own writer."""
    body = pack("<BBHIB", layout.KIND_COMMAND, version, 0, index, number) + arguments
    body = bytearray(body + pack("<I", crc32(body)))
    target = bytearray(300)
    return bytes(target[: cobs.frame(body, len(body), target)])


def split_frames(data):
    """The records in a stream of sound frames."""
    result = []
    for piece in data.split(b"\x00"):
        if piece:
            buffer = bytearray(piece)
            length = cobs.unstuff(buffer, len(buffer))
            assert length >= layout.MIN_RECORD
            result.append(bytes(buffer[:length]))
    return result
