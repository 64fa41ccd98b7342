"""Conversions as a file for the virtual logger's converter.

8 bytes a conversion, little-endian: u32 time in microseconds since the start of the feed, i32 counts.
"""

from pathlib import Path
from typing import Final

import numpy as np

from breakyard.errors import DataError, UsageError
from breakyard.simulate.converter import Conversions, from_counts

LAYOUT: Final = np.dtype([("time_us", "<u4"), ("counts", "<i4")])


def feed_bytes(conversions: Conversions) -> bytes:
    """The bytes of a feed. Raises: UsageError for times outside 0 .. 4294.9 s, the range of the field."""
    micros = np.rint(conversions.time_s * 1e6)
    if micros.size and (micros[0] < 0 or micros[-1] > np.iinfo(np.uint32).max):
        raise UsageError("a feed holds times from 0 to 4294.9 s; cut the recording into shorter ones")
    rows = np.empty(micros.size, dtype=LAYOUT)
    rows["time_us"] = micros
    rows["counts"] = conversions.counts
    return rows.tobytes()


def write_feed(path: Path | str, conversions: Conversions) -> None:
    """Write a feed file, replacing what was there. Raises: UsageError as `feed_bytes`; OSError."""
    Path(path).write_bytes(feed_bytes(conversions))


def read_feed(path: Path | str) -> Conversions:
    """Read a feed file back (truth and faults are not in it).

    Raises: DataError when it ends inside a conversion.
    """
    data = Path(path).read_bytes()
    if len(data) % LAYOUT.itemsize:
        raise DataError(
            f"{path}: {len(data)} bytes is not a whole number of 8-byte conversions; write the feed again"
        )
    rows = np.frombuffer(data, dtype=LAYOUT)
    return from_counts(rows["time_us"] / 1e6, rows["counts"])
