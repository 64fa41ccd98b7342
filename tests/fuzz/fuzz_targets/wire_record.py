"""One record behind a checksum that agrees: parsed and built again to the same bytes, judged alike by the firmware."""

from breakyard.wire.damage import DamagedRecord
from breakyard.wire.frame import NEED_DATA, FrameReader, frame
from breakyard.wire.layout import MAX_RECORD, VERSION
from breakyard.wire.records import Unknown, build, parse
from fuzz_targets.feeding import records, vectors, with_checksum
from logger.core import record as firmware

MAX_LEN = 252


def seeds():
    bad = [bytes.fromhex(case["record"]) for case in vectors("invalid") if case.get("record")]
    return [record[:-4] for record in (*records(), *bad)]


def try_one(data):
    record = with_checksum(data)
    damage = firmware.damage(bytearray(record), len(record))
    try:
        value = parse(record)
    except DamagedRecord:
        return
    assert damage == 0
    assert len(record) <= MAX_RECORD
    again = build(value)
    if value.version == VERSION or isinstance(value, Unknown):
        assert again == record
    else:  # what a newer version appended is not kept
        assert parse(again) == value
    reader = FrameReader()
    reader.receive_data(frame(record))
    assert reader.next_bytes() == record
    assert reader.next_bytes() is NEED_DATA
