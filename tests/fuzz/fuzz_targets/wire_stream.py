"""A whole stream: read at once, in pieces and by the bulk decoder, the same records and the same damage come out."""

from breakyard.wire.bulk import decode
from breakyard.wire.damage import Damaged
from breakyard.wire.frame import NEED_DATA, FrameReader
from breakyard.wire.records import build
from fuzz_targets.feeding import Cursor, data_of, records, stream_of, stuffed, vectors

MAX_LEN = 600


def seeds():
    streams = [bytes.fromhex(case["bytes"]) for case in vectors("streams")]
    streams += [b"".join(map(stuffed, records()[start : start + 6])) for start in range(0, len(records()), 6)]
    return [b"\x21" + data_of(stream) for stream in streams]


def in_pieces(stream, size):
    reader = FrameReader()
    for start in range(0, len(stream), size):
        reader.receive_data(stream[start : start + size])
        while (item := reader.next_record()) is not NEED_DATA:
            yield item
    reader.receive_end()
    while (item := reader.next_record()) is not NEED_DATA:
        yield item


def try_one(data):
    cursor = Cursor(data)
    size = cursor.number() + 1
    stream = stream_of(cursor.rest())
    whole = list(in_pieces(stream, len(stream) + 1))
    assert list(in_pieces(stream, size)) == whole
    decoded = decode(stream)
    assert list(decoded.items()) == whole
    sound = [item for item in whole if not isinstance(item, Damaged)]
    raw = [decoded.raw(position) for position in range(len(decoded.begin))]
    assert len(raw) == len(sound)
    for record, item in zip(raw, sound, strict=True):
        assert item.version > 1 or build(item) == record
    assert sum(map(len, raw)) <= len(stream)
