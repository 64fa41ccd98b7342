"""Records of every kind survive the way into bytes and back; impossible ones are refused both ways."""

import dataclasses
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.errors import DataError, UsageError
from breakyard.wire.commands import pack_arguments, pack_results, unpack_arguments, unpack_results
from breakyard.wire.damage import DamagedRecord
from breakyard.wire.layout import ARGUMENTS, MAX_RECORD, RESULTS, Command, Damage
from breakyard.wire.records import Answer, CommandRecord, LogLine, Mark, Samples, Unknown, build, parse


def seal(body):
    return body + zlib.crc32(body).to_bytes(4, "little")


def samples(counts, step_us, quality):
    arrays = np.array(counts, np.int32), np.array(step_us, np.int32), np.array(quality, np.uint8)
    return Samples(
        run=1,
        index=3,
        first_sample=0,
        first_s=0,
        first_us=0,
        counts=arrays[0],
        step_us=arrays[1],
        quality=arrays[2],
    )


@given(st.data())
def test_parse_undoes_build(any_record, data):
    """Whatever can be built is read as the same, and has at most the size of a record."""
    record = data.draw(any_record)
    raw = build(record)

    assert len(raw) <= MAX_RECORD
    assert parse(raw) == record
    assert parse(raw) != dataclasses.replace(record, index=record.index ^ 1)


@given(st.data())
def test_a_newer_record_is_read_as_far_as_it_is_known(any_record, data):
    """Bytes behind the last field are ignored from version 2 on and damage in version 1."""
    record = data.draw(any_record.filter(lambda r: not isinstance(r, Unknown | CommandRecord | Answer)))
    body = build(record)[:-4]
    extra = (
        data.draw(st.binary(min_size=1, max_size=MAX_RECORD - 4 - len(body)).filter(bool))
        if len(body) < 250
        else b""
    )
    newer = seal(body[:1] + b"\x02" + body[2:] + extra)

    assert parse(newer) == dataclasses.replace(record, version=2)
    if extra:
        with pytest.raises(DamagedRecord) as caught:
            parse(seal(body[:1] + b"\x01" + body[2:] + extra))
        assert caught.value.reason is Damage.BAD_LENGTH


@given(st.integers(0, 15), st.integers(0, 3), st.binary(max_size=242))
def test_any_payload_is_read_or_refused(kind, version, payload):
    """A checksum that agrees over nonsense: only DamagedRecord escapes, and what is read is written back alike."""
    raw = seal(bytes([kind, version, 1, 0, 2, 0, 0, 0]) + payload)
    reason = None
    try:
        built = build(parse(raw))
    except DamagedRecord as error:
        reason = error.reason

    if reason is None:
        assert built == raw or (version > 1 and raw.startswith(built[:-4]))
    else:
        assert reason in (Damage.BAD_LENGTH, Damage.BAD_VALUE)


@given(st.binary(max_size=300))
def test_any_bytes_are_refused_or_read(raw):
    """parse raises nothing but DamagedRecord, which is a DataError and a ValueError."""
    with pytest.raises(DamagedRecord) as caught:
        parse(raw)
    assert isinstance(caught.value, DataError)
    assert isinstance(caught.value, ValueError)


def test_arrays_cannot_be_changed():
    """What was read stays as it was."""
    record = parse(build(samples([1, 2], [0, 20], [0, 0])))
    for array in (record.counts, record.step_us, record.quality):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


@pytest.mark.parametrize(
    ("record", "what"),
    [
        (samples([], [], []), "0 counts"),
        (samples([0] * 47, [0] * 47, [0] * 47), "47 counts"),
        (samples([1, 2], [0], [0, 0]), "2 counts"),
        (samples([1, 2], [20, 20], [0, 0]), "the first is 0"),
        (samples([1, 2], [0, 30], [0, 0]), "multiples of 20 us"),
        (samples([1, 2], [0, 163840], [0, 0]), "up to 163820 us"),
        (samples([1, 2], [0, -20], [0, 0]), "multiples of 20 us"),
        (samples([8388608], [0], [0]), "does not fit its bits"),
        (samples([1], [0], [8]), "does not fit its bits"),
        (Mark(run=1, index=0, mark_s=0, mark_us=1000000, code=0, text=""), "mark_us is 1000000"),
        (Mark(run=1, index=0, mark_s=0, mark_us=0, code=256, text=""), "code is 256"),
        (Mark(run=65536, index=0, mark_s=0, mark_us=0, code=0, text=""), "run is 65536"),
        (Mark(run=1, index=-1, mark_s=0, mark_us=0, code=0, text=""), "index is -1"),
        (LogLine(run=0, index=0, level=0, log_s=0, log_us=0, text="ä" * 33), "text has 66 bytes"),
        (LogLine(run=0, index=0, level=0, log_s=0, log_us=0, text="x", version=0), "version 0"),
        (CommandRecord(run=0, index=0, command=1, arguments=bytes(242)), "255 bytes"),
    ],
)
def test_impossible_records_are_not_built(record, what):
    """The error names the field and what is wrong with it."""
    with pytest.raises(UsageError, match=what):
        build(record)


@pytest.mark.parametrize("command", Command)
def test_arguments_and_results_by_name(command):
    """Each command's arguments and results are packed and unpacked by their names, and by no others."""
    sizes = {"u8": 200, "u16": 60000, "u32": 4000000000, "bytes32": bytes(range(32)), "text": "tap"}
    sizes |= {"i24": -5, "f32": -0.0625, "bytes8": bytes(range(8)), "rest": b"?"}
    for layout, pack, unpack in (
        (ARGUMENTS, pack_arguments, unpack_arguments),
        (RESULTS, pack_results, unpack_results),
    ):
        values = {name: 999999 if name.endswith("_us") else sizes[kind] for name, kind in layout[command]}
        raw = pack(command, **values)

        assert unpack(command, raw) == values
        if "rest" not in dict(layout[command]).values():
            assert unpack(command, raw + b"\0", version=2) == values
            with pytest.raises(DamagedRecord):
                unpack(command, raw + b"\0")
        with pytest.raises(UsageError, match="there is no field unheard_of"):
            pack(command, **values, unheard_of=1)
        for name in values:
            with pytest.raises(UsageError, match=f"{name} is missing"):
                pack(command, **{key: value for key, value in values.items() if key != name})
