"""The host reads every golden vector as the vector says, however the bytes arrive."""

import dataclasses
import struct

import numpy as np
import pytest

from breakyard.errors import DataError
from breakyard.run import read_runs
from breakyard.wire.bulk import decode
from breakyard.wire.cobs import stuff, unstuff
from breakyard.wire.damage import Damaged, DamagedRecord
from breakyard.wire.fields import MEAN_COLUMNS
from breakyard.wire.frame import NEED_DATA, FrameReader, frame, unframe
from breakyard.wire.layout import FIELDS, STEP_US, Damage, Kind
from breakyard.wire.records import Means, PeakWindow, Samples, Unknown, build, parse


def drain(reader, method="next_record"):
    out = []
    while (item := getattr(reader, method)()) is not NEED_DATA:
        out.append(item)
    return out


def three_ways(data, method="next_record"):
    """What comes out of a whole stream; checked to be the same byte by byte and with more bytes behind it."""
    whole = FrameReader()
    whole.receive_data(data)
    whole.receive_end()
    expected = drain(whole, method)
    single = FrameReader()
    got = []
    for byte in data:
        single.receive_data(bytes([byte]))
        got += drain(single, method)
    single.receive_end()
    assert got + drain(single, method) == expected
    more = FrameReader()
    more.receive_data(data + b"\0\0\x05trailing")
    assert drain(more, method) == expected
    return expected


def values_of(record):
    """A record's fields as the vectors write them."""
    shown = {}
    names = ["payload"] if isinstance(record, Unknown) else [name for name, _ in FIELDS[record.KIND]]
    for name in names:
        value = getattr(record, name, None)
        if name == "samples" and isinstance(record, Samples | PeakWindow):
            steps = record.step_us // STEP_US
            value = {
                "counts": record.counts.tolist(),
                "steps": steps.tolist(),
                "quality": record.quality.tolist(),
            }
        if name == "means" and isinstance(record, Means):
            value = {column: getattr(record, column).tolist() for column in MEAN_COLUMNS}
        if isinstance(value, float):
            value = struct.pack("<f", value)
        shown[name] = value.hex() if isinstance(value, bytes) else value
    return shown


def test_valid_vector_reads_as_its_fields(valid_case):
    """Every undamaged record gives the header and the fields that its vector names."""
    record = parse(bytes.fromhex(valid_case["record"]))

    assert values_of(record) == valid_case["fields"]
    kind = record.kind if isinstance(record, Unknown) else record.KIND.value
    assert (kind, record.version, record.run, record.index) == (
        valid_case["kind"],
        valid_case["version"],
        valid_case["run"],
        valid_case["index"],
    )
    assert (valid_case["name"] is None) == isinstance(record, Unknown)


def test_valid_vector_is_written_byte_by_byte(valid_case):
    """Building the parsed record gives the vector's bytes again; a newer record's extra bytes are not invented."""
    expected = bytes.fromhex(valid_case["record"])
    record = parse(expected)

    if valid_case["canonical"]:
        assert build(record) == expected
    else:
        assert len(build(record)) < len(expected)
        assert dataclasses.replace(parse(build(record))) == record


def test_valid_vector_arrives_in_any_pieces(valid_case):
    """A frame gives its record whole, byte by byte and with bytes behind it; stuffing agrees with the vector."""
    record, framed = bytes.fromhex(valid_case["record"]), bytes.fromhex(valid_case["frame"])

    assert frame(record) == framed
    assert unstuff(framed[1:-1]) == record
    assert stuff(record) == framed[1:-1]
    assert three_ways(framed, "next_bytes") == [record]
    assert three_ways(framed) == [parse(record)]
    assert list(decode(framed).items()) == [parse(record)]


def test_invalid_vector_is_refused_with_its_reason(invalid_case):
    """A damaged stretch is reported with place, length and reason, and nothing else comes out."""
    body = bytes.fromhex(invalid_case["body"])
    expected = [Damaged(1, len(body), Damage[invalid_case["error"]])]

    assert Damage[invalid_case["error"]] == invalid_case["value"]
    assert three_ways(b"\0" + body + b"\0") == expected
    assert list(decode(b"\0" + body + b"\0").items()) == expected


def test_invalid_vector_does_not_hurt_its_neighbours(invalid_case):
    """Sound records on both sides of a damaged stretch are kept."""
    sound = frame(build(Unknown(run=1, index=1, kind=99, payload=b"sound")))
    body = bytes.fromhex(invalid_case["body"])
    data = sound + b"\0" + body + b"\0" + sound

    first, damaged, last = three_ways(data)
    assert first == last == Unknown(run=1, index=1, kind=99, payload=b"sound")
    assert damaged == Damaged(len(sound) + 1, len(body), Damage[invalid_case["error"]])
    assert list(decode(data).items()) == [first, damaged, last]


def test_invalid_record_is_refused_unframed(invalid_case):
    """parse refuses the unframed bytes, unframe the framed ones, with the same reason."""
    only_framed = invalid_case["record"] is None
    data = bytes.fromhex(invalid_case["body" if only_framed else "record"])
    with pytest.raises(DamagedRecord) as caught:
        (unframe if only_framed else parse)(data)

    assert caught.value.reason.name == invalid_case["error"]


def test_stream_vector_keeps_and_reports(stream_case):
    """From a stream exactly the named records are kept and exactly the named stretches are reported."""
    data = bytes.fromhex(stream_case["bytes"])
    kept = [bytes.fromhex(record) for record in stream_case["records"]]
    damage = [Damaged(d["offset"], d["length"], Damage[d["error"]]) for d in stream_case["damage"]]

    raw = three_ways(data, "next_bytes")
    impossible = [d for d in damage if d.reason in (Damage.BAD_LENGTH, Damage.BAD_VALUE)]
    assert [item for item in raw if isinstance(item, Damaged)] == [d for d in damage if d not in impossible]
    parsed = three_ways(data)
    assert [item for item in parsed if not isinstance(item, Damaged)] == [parse(record) for record in kept]
    assert [item for item in parsed if isinstance(item, Damaged)] == damage
    assert list(decode(data).items()) == parsed


def test_stream_vector_gives_its_runs(stream_case):
    """Each run has the samples, gaps and losses that the vector names."""
    data = bytes.fromhex(stream_case["bytes"])
    if not stream_case["runs"]:
        with pytest.raises(DataError, match="no record of a run"):
            read_runs(data)
        return
    runs = read_runs(data, name="vector")

    assert len(runs) == len(stream_case["runs"])
    for run, expected in zip(runs, stream_case["runs"], strict=True):
        assert run.number == expected["number"]
        assert run.counts.tolist() == expected["counts"]
        assert np.round(run.time_s * 1e6).astype(int).tolist() == expected["time_us"]
        gaps = [{"after_sample": g.after_sample, "missing": g.missing, "cause": g.cause} for g in run.gaps]
        assert gaps == expected["gaps"]
        assert [list(pair) for pair in run.loss.missing_records] == expected["missing_records"]
        assert run.loss.missing_samples == expected["missing_samples"]
        assert run.loss.unknown_records == expected["unknown_records"]
        assert run.loss.complete == expected["complete"]
        means = expected.get("means", [])
        assert (run.means is not None) == bool(means)
        if run.means is not None:
            assert run.means.mean.tolist() == [one["mean"] for one in means]
            assert run.means.lowest.tolist() == [one["lowest"] for one in means]
            assert run.means.highest.tolist() == [one["highest"] for one in means]
            assert run.means.number.tolist() == [one["number"] for one in means]
            assert np.round(run.means.time_s * 1e6).tolist() == [one["time_us"] for one in means]
        repeated = [note for note in run.loss.notes if "more than once" in note]
        assert repeated == (
            [f"{expected['duplicates']} records came more than once"] if expected["duplicates"] else []
        )
    assert [d for run in runs for d in run.loss.damaged] == list(decode(data).damaged)


def test_every_kind_has_a_dataclass():
    """The host knows every kind of its layout: none of them is read as unknown."""
    assert set(FIELDS) == set(Kind)
