"""A whole file at once, with numpy: the same answers as `frame` and `records`, for hours of samples.

Plan: find the stretches between zeros; undo the stuffing of all of them in lock-step (each round moves every
stretch to its next code); check each CRC-32 with zlib; read SAMPLES that follow each other evenly as one strided
view; give everything else to `records.parse`. Only lengths and codes are trusted before a checksum agrees.
"""

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.wire.damage import Damaged, DamagedRecord
from breakyard.wire.frame import LONGEST_BODY
from breakyard.wire.layout import (
    MAX_SAMPLES,
    MAX_STEP,
    MAX_US,
    MIN_RECORD,
    SAMPLE_SIZE,
    STAMP_QUALITY_SHIFT,
    STEP_US,
    Damage,
    Kind,
)
from breakyard.wire.records import Record, parse

Ints = NDArray[np.int64]

CRC_RESIDUE: Final = 0x2144DF1C
"""CRC-32 over a record that ends with its own CRC-32, whatever the record (catalogue of CRC algorithms)."""

_SAMPLES_AT: Final = 21
_BARE_SIZE: Final = 25
"""Of a SAMPLES record without its samples."""
_TABLE: Final = np.dtype(
    [
        ("kind", "u1"),
        ("version", "u1"),
        ("run", "<u2"),
        ("index", "<u4"),
        ("first_sample", "<u4"),
        ("first_s", "<u4"),
        ("first_us", "<u4"),
        ("number", "u1"),
    ]
)
"""The beginning of a SAMPLES record; of any other record only the first four are meant."""


@dataclass(frozen=True, slots=True)
class SampleTable:
    """The SAMPLES records of a file, one row each (m,), and their samples one after another (n,).

    Row r holds the samples start[r] .. start[r] + number[r] - 1. `first_us` is the device time of its first
    sample in whole microseconds; `step_us` is the time since the sample before, 0 for the first of a row.
    """

    position: Ints
    first_sample: Ints
    first_us: Ints
    number: Ints
    start: Ints
    counts: NDArray[np.int32]
    step_us: NDArray[np.int32]
    quality: NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Decoded:
    """All undamaged records of a file in their order (position 0, 1, ...), and what was damaged.

    `raw` holds each record's bytes, unframed; `offset`, `kind`, `version`, `run`, `index` have one element each.
    `others` holds by position what is not in `samples`.
    """

    raw: list[bytes]
    offset: Ints
    kind: Ints
    version: Ints
    run: Ints
    index: Ints
    samples: SampleTable
    others: dict[int, Record]
    damaged: tuple[Damaged, ...]

    def items(self) -> Iterator[Record | Damaged]:
        """Everything in file order, exactly as a FrameReader gives it."""
        damaged = list(reversed(self.damaged))
        for position, raw in enumerate(self.raw):
            while damaged and damaged[-1].offset < self.offset[position]:
                yield damaged.pop()
            yield self.others[position] if position in self.others else parse(raw)
        yield from reversed(damaged)


def decode(data: bytes) -> Decoded:
    """Decode a whole file or captured stream. Raises nothing: damage is part of the answer."""
    buffer = bytearray(data)
    buffer.append(0)  # a file that was cut lacks its last delimiter
    view = np.frombuffer(buffer, dtype=np.uint8)
    bounds = np.flatnonzero(view == 0)
    starts = np.empty_like(bounds)
    starts[0], starts[1:] = 0, bounds[:-1] + 1
    filled = bounds > starts
    starts, ends = starts[filled], bounds[filled]

    reasons = np.zeros(len(starts), dtype=np.uint8)
    reasons[ends - starts > LONGEST_BODY] = Damage.TOO_LONG
    fits = np.flatnonzero(reasons == 0)
    reasons[fits[_unstuff(view, starts[fits], ends[fits])]] = Damage.BAD_STUFFING
    reasons[(reasons == 0) & (ends - starts - 1 < MIN_RECORD)] = Damage.TOO_SHORT

    fits = np.flatnonzero(reasons == 0)
    unstuffed = bytes(buffer)
    # A stuffed record is one byte longer than the record, and every code after the first stands for a zero.
    raw = [unstuffed[a:b] for a, b in zip((starts[fits] + 1).tolist(), ends[fits].tolist(), strict=True)]
    residues = np.fromiter(map(zlib.crc32, raw), dtype=np.uint32, count=len(raw))
    reasons[fits[residues != CRC_RESIDUE]] = Damage.BAD_CHECKSUM
    if (residues != CRC_RESIDUE).any():
        keep = residues == CRC_RESIDUE
        raw = [record for record, good in zip(raw, keep.tolist(), strict=True) if good]
        fits = fits[keep]
    return _read(view, raw, starts, ends, fits, reasons)


def _unstuff(view: NDArray[np.uint8], starts: Ints, ends: Ints) -> NDArray[np.bool_]:
    """Put the zeros back, in place. Returns which stretches have a code that points past their end."""
    bad = np.zeros(len(starts), dtype=np.bool_)
    who = np.arange(len(starts))
    place, end = starts.copy(), ends
    while len(who):
        code = view.take(place)
        view[place] = 0
        place += code
        over = place > end
        if over.any():
            bad[who[over]] = True
            place[over] = end[over]
        # At its end a stretch meets the delimiter, whose code 0 lets it stand still until enough others are done.
        busy = place < end
        count = np.count_nonzero(busy)
        if count * 2 < len(who):
            who, place, end = who[busy], place[busy], end[busy]
    return bad


def _read(
    view: NDArray[np.uint8],
    raw: list[bytes],
    starts: Ints,
    ends: Ints,
    fits: Ints,
    reasons: NDArray[np.uint8],
) -> Decoded:
    """Sort undamaged records into samples and others; what has impossible values joins the damaged."""
    begin = starts[fits] + 1
    size = ends[fits] - begin
    # One window per record onto the bytes of _TABLE; a short record's window reaches into its neighbour, harmlessly.
    padded = np.concatenate([view, np.zeros(_TABLE.itemsize, dtype=np.uint8)])
    windows = np.lib.stride_tricks.sliding_window_view(padded, _TABLE.itemsize)
    table = windows[begin].view(_TABLE)[:, 0]

    number = table["number"].astype(np.int64)
    spare = size - _BARE_SIZE - number * SAMPLE_SIZE
    version = table["version"]
    plain = (table["kind"] == Kind.SAMPLES) & (number >= 1) & (number <= MAX_SAMPLES)
    plain &= (table["first_us"] <= MAX_US) & (version > 0) & ((spare == 0) | ((spare > 0) & (version > 1)))
    rows = np.flatnonzero(plain)
    first_step = padded[begin[rows] + (_SAMPLES_AT + 3)] | (padded[begin[rows] + (_SAMPLES_AT + 4)] & 0x1F)
    plain[rows[first_step != 0]] = False

    others: dict[int, Record] = {}
    dropped = []
    for position in np.flatnonzero(~plain).tolist():
        try:
            others[position] = parse(raw[position])
        except DamagedRecord as error:
            reasons[fits[position]] = error.reason
            dropped.append(position)
    if dropped:
        kept = np.ones(len(raw), dtype=np.bool_)
        kept[dropped] = False
        renumbered = np.cumsum(kept) - 1
        others = {int(renumbered[position]): record for position, record in others.items()}
        raw = [record for record, good in zip(raw, kept.tolist(), strict=True) if good]
        table, begin, size, plain = table[kept], begin[kept], size[kept], plain[kept]

    bad = np.flatnonzero(reasons)
    lengths = ends - starts
    damaged = tuple(Damaged(int(starts[i]), int(lengths[i]), Damage(int(reasons[i]))) for i in bad)
    return Decoded(
        raw=raw,
        offset=begin - 1,
        kind=table["kind"].astype(np.int64),
        version=table["version"].astype(np.int64),
        run=table["run"].astype(np.int64),
        index=table["index"].astype(np.int64),
        samples=_samples(view, np.flatnonzero(plain), table, begin),
        others=others,
        damaged=damaged,
    )


def _samples(view: NDArray[np.uint8], rows: Ints, table: NDArray[np.void], begin: Ints) -> SampleTable:
    at = begin[rows]
    fields = table[rows]
    number = fields["number"].astype(np.int64)
    start = np.cumsum(number) - number
    total = int(number.sum())
    counts = np.empty(total, dtype=np.int32)
    stamp = np.empty(total, dtype=np.uint16)
    for a, b, spacing in _even_stretches(at, number):
        many, each = b - a, int(number[a])
        into = slice(int(start[a]), int(start[a]) + many * each)
        strides, shape = (spacing, SAMPLE_SIZE), (many, each)
        place = int(at[a])
        # Four bytes that begin one before the count, shifted down by eight: the sign comes along.
        wide = np.ndarray(shape, "<i4", view, place + _SAMPLES_AT - 1, strides)
        np.right_shift(wide, 8, out=counts[into].reshape(shape))
        stamp[into].reshape(shape)[...] = np.ndarray(shape, "<u2", view, place + _SAMPLES_AT + 3, strides)
    step_us = (stamp & MAX_STEP).astype(np.int32)
    step_us *= STEP_US
    quality = (stamp >> STAMP_QUALITY_SHIFT).astype(np.uint8)
    for array in (counts, step_us, quality):
        array.setflags(write=False)
    return SampleTable(
        position=rows,
        first_sample=fields["first_sample"].astype(np.int64),
        first_us=fields["first_s"].astype(np.int64) * 1_000_000 + fields["first_us"],
        number=number,
        start=start,
        counts=counts,
        step_us=step_us,
        quality=quality,
    )


def _even_stretches(at: Ints, number: Ints) -> Iterator[tuple[int, int, int]]:
    """Yield (first row, row after the last, spacing) of rows with as many samples at equal distances."""
    if not len(at):
        return
    gaps = np.diff(at)
    # Row r continues the stretch if it is as long as row r - 1 and as far from it as row r - 1 from row r - 2.
    same = np.zeros(len(at), dtype=np.bool_)
    same[1:] = number[1:] == number[:-1]
    same[2:] &= (gaps[1:] == gaps[:-1]) | ~same[1:-1]
    edges = np.append(np.flatnonzero(~same), len(at))
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        yield a, b, int(gaps[a]) if b - a > 1 else 0
