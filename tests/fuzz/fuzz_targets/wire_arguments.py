"""Arguments and results by their field lists: read, written to the same bytes, and the firmware reads no less."""

from breakyard.wire.commands import pack_arguments, pack_results, unpack_arguments, unpack_results
from breakyard.wire.damage import DamagedRecord
from breakyard.wire.layout import Command
from fuzz_targets.feeding import Cursor, records
from logger.core import layout, record

MAX_LEN = 245
NAMES = tuple(command for command in Command if command != Command.SEALED)


def seeds():
    found = [bytes([answers, at]) + bytes(40) for answers in (0, 1) for at in range(len(NAMES))]
    for one in records():
        kind, number = one[0], one[8]
        if kind in (layout.KIND_COMMAND, layout.KIND_ANSWER) and number in tuple(NAMES):
            answers = int(kind == layout.KIND_ANSWER)
            found.append(bytes([answers, NAMES.index(Command(number))]) + one[9 + answers : -4])
    return found


def try_one(data):
    cursor = Cursor(data)
    answers = cursor.number() & 1
    command = NAMES[cursor.number() % len(NAMES)]
    payload = cursor.rest()
    unpack, pack = (unpack_results, pack_results) if answers else (unpack_arguments, pack_arguments)
    fields = (layout.RESULTS if answers else layout.ARGUMENTS)[command - Command.HELLO]
    told = "*" not in fields  # those the firmware only ever writes
    read = record.unpack(bytearray(payload), 0, len(payload), fields) if told else None
    try:
        values = unpack(command, payload)
    except DamagedRecord:
        return
    if told:
        assert read is not None
        assert read[-1] == len(payload)
        assert len(read) - 1 == len(values)
        assert unpack(command, payload + data, version=2) == values
    assert pack(command, **values) == payload
