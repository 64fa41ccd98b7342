"""COBS on both sides: the host's and the firmware's agree on every stretch of bytes, and undo themselves."""

from breakyard.wire import cobs
from breakyard.wire.damage import DamagedRecord
from breakyard.wire.layout import MAX_RECORD, Damage
from fuzz_targets.feeding import vectors
from logger.core import cobs as firmware

MAX_LEN = 280


def seeds():
    bodies = [bytes.fromhex(case["body"]) for case in vectors("invalid") if case.get("body")]
    return bodies + [bytes.fromhex(case["frame"]).strip(b"\0") for case in vectors("valid")]


def try_one(data):
    try:
        plain = cobs.unstuff(data)
    except DamagedRecord as error:
        assert error.reason == Damage.BAD_STUFFING
        plain = None
    if data and 0 not in data:
        buffer = bytearray(data)
        length = firmware.unstuff(buffer, len(data))
        assert (length < 0) == (plain is None)
        assert plain is None or bytes(buffer[:length]) == plain
    record = data if plain is None else plain
    again = cobs.stuff(record)
    assert 0 not in again
    assert cobs.unstuff(again) == record
    if 0 < len(record) <= MAX_RECORD:
        target = bytearray(MAX_RECORD + 4)
        assert bytes(target[: firmware.frame(record, len(record), target)]) == b"\0" + again + b"\0"
