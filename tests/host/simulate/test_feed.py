"""The feed file is what the logger's stand-in converter expects, byte by byte."""

import struct
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.errors import DataError, UsageError
from breakyard.simulate.converter import from_counts
from breakyard.simulate.feed import feed_bytes, read_feed, write_feed


def test_eight_bytes_a_conversion() -> None:
    """u32 microseconds and i32 counts, little-endian."""
    data = feed_bytes(from_counts([0.0125, 0.025], [-1, 8388607]))

    assert data == bytes.fromhex("d4300000 ffffffff a8610000 ffff7f00")


@given(
    st.lists(
        st.tuples(st.integers(0, 2**32 - 1), st.integers(-(2**23), 2**23 - 1)),
        max_size=50,
        unique_by=lambda r: r[0],
    )
)
def test_any_feed_holds_its_times_to_the_microsecond(rows: list[tuple[int, int]]) -> None:
    rows.sort()
    data = feed_bytes(from_counts([us / 1e6 for us, _ in rows], [counts for _, counts in rows]))

    assert [*struct.iter_unpack("<Ii", data)] == rows


def test_a_feed_is_read_back(tmp_path: Path) -> None:
    path = tmp_path / "pull.feed"
    write_feed(path, from_counts([0.01, 0.02, 0.03], [5, -6, 7]))

    back = read_feed(path)

    assert back.counts.tolist() == [5, -6, 7]
    assert back.time_s.tolist() == [0.01, 0.02, 0.03]


def test_a_cut_feed_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "cut.feed"
    path.write_bytes(bytes(12))

    with pytest.raises(DataError, match="12 bytes"):
        read_feed(path)


def test_a_feed_of_more_than_the_field_holds_is_refused() -> None:
    """2**32 microseconds are 71 minutes 35 seconds."""
    with pytest.raises(UsageError, match=r"4294\.9"):
        feed_bytes(from_counts([0.0, 4295.0], [0, 0]))
