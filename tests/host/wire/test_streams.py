"""Streams of records, cut and damaged in any way: bulk and piecewise reading agree, nothing is invented."""

from hypothesis import given
from hypothesis import strategies as st

from breakyard.wire.bulk import decode
from breakyard.wire.damage import Damaged
from breakyard.wire.frame import NEED_DATA, FrameReader, frame
from breakyard.wire.records import build


def drain(reader):
    out = []
    while (item := reader.next_record()) is not NEED_DATA:
        out.append(item)
    return out


def read(data, pieces=()):
    """Everything a FrameReader gives for a stream cut at some places."""
    reader, out, begin = FrameReader(), [], 0
    for end in [*sorted(pieces), len(data)]:
        reader.receive_data(data[begin:end])
        begin = max(begin, end)
        out += drain(reader)
    reader.receive_end()
    return out + drain(reader)


@st.composite
def damage(draw, data):
    """The bytes with some of them changed, removed, inserted, or cut off."""
    out = bytearray(data)
    for _ in range(draw(st.integers(1, 4))):
        place = draw(st.integers(0, max(0, len(out) - 1)))
        what = draw(st.sampled_from(["change", "remove", "insert", "cut", "zeros"]))
        if what == "change" and out:
            out[place] = draw(st.integers(0, 255))
        elif what == "remove":
            del out[place : place + draw(st.integers(1, 300))]
        elif what == "insert":
            out[place:place] = draw(st.binary(min_size=1, max_size=300))
        elif what == "zeros":
            out[place : place + 5] = bytes(5)
        else:
            del out[place:]
    return bytes(out)


@given(st.data())
def test_pieces_do_not_matter(many_records, data):
    """Undamaged records come out as they went in, wherever the stream is cut."""
    records = data.draw(many_records)
    stream = b"".join(frame(build(record)) for record in records)
    cuts = data.draw(st.lists(st.integers(0, len(stream)), max_size=20))

    assert read(stream, cuts) == records
    assert list(decode(stream).items()) == records


@given(st.data())
def test_damage_never_yields_a_record_that_was_not_sent(many_records, data):
    """After any damage each record that comes out was sent, in that order; the rest is reported, nothing is raised."""
    records = data.draw(many_records)
    stream = data.draw(damage(b"".join(frame(build(record)) for record in records)))
    cuts = data.draw(st.lists(st.integers(0, len(stream)), max_size=5))
    got = read(stream, cuts)

    kept = [item for item in got if not isinstance(item, Damaged)]
    sent = iter(records)
    assert all(any(record == other for other in sent) for record in kept)
    if len(kept) < len(records):
        assert len(stream) < sum(len(frame(build(r))) for r in records) or len(got) > len(kept)


@given(st.data())
def test_bulk_equals_piecewise_on_damaged_streams(many_records, data):
    """Decoding a whole file gives the same records and the same damage, byte for byte, as reading it piece by piece."""
    records = data.draw(many_records)
    stream = data.draw(damage(b"".join(frame(build(record)) for record in records)))

    assert list(decode(stream).items()) == read(stream)


@given(st.lists(st.sampled_from([0, 0, 1, 2, 3, 4, 255]) | st.integers(0, 255), max_size=900).map(bytes))
def test_noise_yields_nothing(noise):
    """Noise is reported as noise by both readers alike, every byte of it once."""
    got = read(noise)

    assert all(isinstance(item, Damaged) for item in got)
    assert sum(item.length for item in got) == len(noise) - noise.count(0)
    assert list(decode(noise).items()) == got


@given(st.integers(256, 5000), st.integers(1, 255))
def test_an_endless_stretch_costs_no_memory(length, byte):
    """A stretch that is too long is counted, not kept, and reported with its whole length."""
    reader = FrameReader()
    for _ in range(length):
        reader.receive_data(bytes([byte]))
        assert reader.next_record() is NEED_DATA
        assert len(reader._buffer) <= 256
    reader.receive_data(b"\0")

    assert [(item.offset, item.length, item.reason.name) for item in drain(reader)] == [
        (0, length, "TOO_LONG")
    ]
