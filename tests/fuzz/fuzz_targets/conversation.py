"""What a logger may say at any time: kept to a fixed number, and a sound answer behind it is still understood."""

from breakyard.device.client.conversation import MAX_KEPT_LINES, MAX_KEPT_RECORDS, Conversation
from breakyard.wire.frame import LONGEST_BODY
from breakyard.wire.layout import Command
from fuzz_targets.feeding import Cursor, data_of, records, stream_of, stuffed, vectors, with_checksum

MAX_LEN = 500


def seeds():
    streams = [bytes.fromhex(case["bytes"]) for case in vectors("streams")]
    streams += [b"".join(map(stuffed, records()[start : start + 8])) for start in range(0, len(records()), 8)]
    return [b"\x11" + data_of(stream) for stream in streams]


def try_one(data):
    cursor = Cursor(data)
    size = cursor.number() + 1
    conversation = Conversation()
    index, _ = conversation.command(Command.STOP)
    given_up, _ = conversation.command(Command.ARM)
    conversation.give_up(given_up)
    stream = stream_of(cursor.rest())
    for start in range(0, len(stream), size):
        conversation.receive(stream[start : start + size])
        assert len(conversation._reader._buffer) <= LONGEST_BODY + size + 1
    assert set(conversation.answers) <= {index}
    assert len(conversation.stored) <= MAX_KEPT_RECORDS
    assert len(conversation.loose) <= MAX_KEPT_LINES
    assert len(conversation.log) <= MAX_KEPT_LINES
    for record, raw in conversation.stored:
        assert record.run
        assert with_checksum(raw[:-4]) == raw
    answer = b"\x0a\x01\0\0" + index.to_bytes(4, "little") + bytes([Command.STOP, 0, 1, 0])
    conversation.receive(b"\0" + stuffed(with_checksum(answer)))
    taken = conversation.take_answer(index)
    assert taken is not None
    assert taken.results == b"\1\0"
