"""A whole file at once, with numpy: the same answers as `frame` and `records`, for hours of samples.

Plan: find the stretches between zeros; undo the stuffing of all of them in lock-step (each round moves every
stretch to its next code); check each CRC-32 with zlib; read SAMPLES that follow each other evenly as one strided
view; give everything else to `records.parse`. Only lengths and codes are trusted before a checksum agrees.

No file, however it was made, takes more than a few times as long as a sound one of its size: what is dear is
counted, and behind MAX_DEAR of it a file is left unread (SPEC.md, section 9).
"""

import hashlib
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.wire.damage import Damaged, DamagedRecord
from breakyard.wire.fields import SAMPLE_DTYPE
from breakyard.wire.frame import LONGEST_BODY
from breakyard.wire.layout import (
    CRC_SIZE,
    MAX_SAMPLES,
    MAX_STEP,
    MAX_US,
    MIN_RECORD,
    SAMPLE_SIZE,
    STAMP_QUALITY_SHIFT,
    VERSION,
    Damage,
    Kind,
)
from breakyard.wire.records import Record, parse

Ints = NDArray[np.int64]

CRC_RESIDUE: Final = 0x2144DF1C
"""CRC-32 over a record that ends with its own CRC-32, whatever the record (catalogue of CRC algorithms)."""

MAX_DEAR: Final = 131_072
"""Damaged stretches, and records other than SAMPLES, that are read of one file."""

_PIECE: Final = 1 << 22
"""Bytes in which delimiters are sought at a time."""
_MANY_STRETCHES: Final = 8
"""With fewer records in an even stretch, on average, they are handled one by one."""
_SAMPLES_AT: Final = 20
_BARE_SIZE: Final = 24
"""Of a SAMPLES record without its samples."""
_AT_ONCE: Final = 256
"""Records that are copied and checked together, few enough to stay in the processor's cache."""
_TABLE: Final = np.dtype(
    {
        "names": ["kind", "version", "run", "index", "first_sample", "first_s", "first_us", "number"],
        "formats": ["u1", "u1", "<u2", "<u4", "<u4", "<u4", "<u4", "u1"],
        "offsets": [0, 1, 2, 4, 8, 12, 16, 19],
    }
)
"""The beginning of a SAMPLES record; of any other record only the first four are meant. first_us has three bytes."""
_THREE_BYTES: Final = 0xFFFFFF


@dataclass(frozen=True, slots=True)
class SampleTable:
    """The SAMPLES records of a file, one row each (m,), and their samples one after another (n,).

    Row r holds the samples start[r] .. start[r] + number[r] - 1. `first_us` is the device time of its first
    sample in whole microseconds; `step` is the time since the sample before in units of STEP_US, 0 for the first
    of a row.
    """

    position: Ints
    first_sample: Ints
    first_us: Ints
    number: Ints
    start: Ints
    counts: NDArray[np.int32]
    step: NDArray[np.uint16]
    quality: NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Decoded:
    """All undamaged records of a file in their order (position 0, 1, ...), and what was damaged.

    Arrays have one element per record: `begin` and `size` point into `unstuffed`, `offset` into the file.
    `others` holds by position what is not in `samples`. `unread` bytes at the end of the file were not looked at.
    """

    unstuffed: bytearray
    begin: Ints
    size: Ints
    offset: Ints
    kind: Ints
    version: Ints
    run: Ints
    index: Ints
    samples: SampleTable
    others: dict[int, Record]
    damaged: tuple[Damaged, ...]
    unread: int = 0

    def raw(self, position: int) -> bytes:
        """The bytes of one record, unframed."""
        begin = int(self.begin[position])
        return bytes(self.unstuffed[begin : begin + int(self.size[position])])

    def sha256(self, positions: Ints) -> bytes:
        """The hash over those records, in that order."""
        digest = hashlib.sha256()
        for piece in _pieces(self.unstuffed, self.begin[positions], self.size[positions]):
            digest.update(piece)
        return digest.digest()

    def items(self) -> Iterator[Record | Damaged]:
        """Everything in file order, exactly as a FrameReader gives it."""
        damaged = list(reversed(self.damaged))
        for position, offset in enumerate(self.offset.tolist()):
            while damaged and damaged[-1].offset < offset:
                yield damaged.pop()
            yield self.others[position] if position in self.others else parse(self.raw(position))
        yield from reversed(damaged)


def decode(data: bytes) -> Decoded:
    """Decode a whole file or captured stream. Raises nothing: damage is part of the answer."""
    buffer = bytearray(data)
    buffer += bytes(LONGEST_BODY + 1)  # the last delimiter, should the file lack it, and room to look ahead
    view = np.frombuffer(buffer, dtype=np.uint8)
    starts, ends, whole = _stretches(view)
    upto = len(data) if whole else int(ends[-1]) + 1

    reasons = np.zeros(len(starts), dtype=np.uint8)
    reasons[ends - starts > LONGEST_BODY] = Damage.TOO_LONG
    fits = np.flatnonzero(reasons == 0)
    if not _unstuff_sound(view, starts[fits], ends[fits]):
        view[: len(data)] = np.frombuffer(data, dtype=np.uint8)
        reasons[fits[_unstuff(view, starts[fits], ends[fits])]] = Damage.BAD_STUFFING
    reasons[(reasons == 0) & (ends - starts - 1 < MIN_RECORD)] = Damage.TOO_SHORT

    # A stuffed record is one byte longer than the record, and every code after the first stands for a zero.
    fits = np.flatnonzero(reasons == 0)
    begin, size = starts[fits] + 1, ends[fits] - starts[fits] - 1
    reasons[fits[_bad_checksums(buffer, begin, size)]] = Damage.BAD_CHECKSUM
    return _read(buffer, view, starts, ends, reasons, len(data), upto)


def _stretches(view: NDArray[np.uint8]) -> tuple[Ints, Ints, bool]:
    """Where the stretches between zeros begin and end; and were all looked at?

    Stops when far more of them than MAX_DEAR were too short for a record.
    """
    whole = True
    starts, ends = [], []
    short = before = 0
    for begin in range(0, len(view), _PIECE):
        piece = view[begin : begin + _PIECE] == 0
        change = np.flatnonzero(np.diff(piece, prepend=before == 0)) + begin
        if not len(change):
            before = int(view[begin + len(piece) - 1])
            continue
        # Changes alternate: to a byte that is not zero (a stretch begins), and back.
        first = 0 if before == 0 else 1
        starts.append(change[first::2])
        ends.append(change[1 - first :: 2])
        before = int(view[begin + len(piece) - 1])
        short += int(np.count_nonzero(np.diff(change)[first::2] <= MIN_RECORD))
        if short > 2 * MAX_DEAR:
            whole = begin + _PIECE >= len(view)
            break
    if not starts:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64), whole
    all_ends = np.concatenate(ends)
    return np.concatenate(starts)[: len(all_ends)], all_ends, whole


def _unstuff_sound(view: NDArray[np.uint8], starts: Ints, ends: Ints) -> bool:
    """Put the zeros back, in place, if every stretch is sound; otherwise `view` is spoilt.

    A stretch whose code points past its end stops at a delimiter that is not its own.
    """
    place = starts.copy()
    reached = [np.empty(0, dtype=np.int64)]
    rounds = 0
    while len(place):
        code = view.take(place)
        view[place] = 0
        place += code
        rounds += 1
        if rounds % 8 == 0:
            done = code == 0
            reached.append(place[done])
            place = place[~done]
    return np.array_equal(np.sort(np.concatenate(reached)), ends)


def _unstuff(view: NDArray[np.uint8], starts: Ints, ends: Ints) -> NDArray[np.bool_]:
    """Put the zeros back, in place. Returns which stretches have a code that points past their end."""
    bad = np.zeros(len(starts), dtype=np.bool_)
    who = np.arange(len(starts))
    place = starts.copy()
    while len(who):
        code = view[place]
        view[place] = 0
        place += code
        over = place > ends[who]
        bad[who[over]] = True
        busy = place < ends[who]
        who, place = who[busy], place[busy]
    return bad


def _blocks(buffer: bytearray, begin: Ints, size: Ints) -> Iterator[tuple[int, int, bytes]]:
    """Yield (first record, size of each, their bytes) of records that follow each other evenly."""
    edges, spacings = _even_stretches(begin, size)
    for a, b, spacing in zip(edges[:-1].tolist(), edges[1:].tolist(), spacings.tolist(), strict=True):
        for first in range(a, b, _AT_ONCE):
            shape = (min(_AT_ONCE, b - first), int(size[a]))
            yield (
                first,
                shape[1],
                np.ndarray(shape, np.uint8, buffer, int(begin[first]), (spacing, 1)).tobytes(),
            )


def _pieces(buffer: bytearray, begin: Ints, size: Ints) -> Iterator[memoryview | bytes]:
    """Yield the bytes of the records, in their order, several at a time where they are even."""
    if _is_even(begin, size):
        for _, _, block in _blocks(buffer, begin, size):
            yield block
        return
    view = memoryview(buffer)
    for first, end in zip(begin.tolist(), (begin + size).tolist(), strict=True):
        yield view[first:end]


def _bad_checksums(buffer: bytearray, begin: Ints, size: Ints) -> NDArray[np.bool_]:
    """Which records have a CRC that does not agree.

    The CRC over several sound records of known sizes is known too, whatever is in them, and one bad record among them
    always changes it. So a block is checked at once, and its records singly only if the block is bad. (Several bad
    records in one block could hide each other once in 2^32 times, as any random damage can.)
    """
    if not _is_even(begin, size):
        singly = map(zlib.crc32, _pieces(buffer, begin, size))
        return np.array(np.fromiter(singly, np.uint32, len(begin)) != CRC_RESIDUE)
    bad = np.zeros(len(begin), dtype=np.bool_)
    for first, each, block in _blocks(buffer, begin, size):
        many = len(block) // each
        if zlib.crc32(block) != _sound_crc(each, many):
            residues = np.array([zlib.crc32(block[i * each : (i + 1) * each]) for i in range(many)])
            bad[first : first + many] = residues != CRC_RESIDUE
    return bad


@lru_cache(maxsize=4096)
def _sound_crc(size: int, many: int) -> int:
    """CRC-32 over `many` sound records of `size` bytes each."""
    body = bytes(size - CRC_SIZE)
    return zlib.crc32((body + zlib.crc32(body).to_bytes(CRC_SIZE, "little")) * many)


def _read(
    buffer: bytearray,
    view: NDArray[np.uint8],
    starts: Ints,
    ends: Ints,
    reasons: NDArray[np.uint8],
    length: int,
    upto: int,
) -> Decoded:
    """Sort undamaged records into samples and others; what has impossible values joins the damaged."""
    dear = np.flatnonzero(reasons)
    if len(dear) > MAX_DEAR:
        upto = int(starts[dear[MAX_DEAR]])
        starts, ends, reasons = starts[: dear[MAX_DEAR]], ends[: dear[MAX_DEAR]], reasons[: dear[MAX_DEAR]]
    fits = np.flatnonzero(reasons == 0)
    begin, size = starts[fits] + 1, ends[fits] - starts[fits] - 1
    # One window per record onto the bytes of _TABLE; a short record's window shows its neighbour, harmlessly.
    windows = np.lib.stride_tricks.sliding_window_view(view, _TABLE.itemsize)
    heads = windows[begin].view(_TABLE)[:, 0]
    # One plain column each: numpy is slow at picking rows of a structured array.
    table = {name: heads[name].astype(np.int64) for name in _TABLE.names or ()}

    table["first_us"] &= _THREE_BYTES
    number, version = table["number"], table["version"]
    spare = size - _BARE_SIZE - number * SAMPLE_SIZE
    plain = (table["kind"] == Kind.SAMPLES) & (number >= 1) & (number <= MAX_SAMPLES)
    plain &= (
        (table["first_us"] <= MAX_US) & (version > 0) & ((spare == 0) | ((spare > 0) & (version > VERSION)))
    )
    rows = np.flatnonzero(plain)
    stamps_at = begin[rows] + (_SAMPLES_AT + 3)
    plain[rows[(view[stamps_at] | (view[stamps_at + 1] & (MAX_STEP >> 8))) != 0]] = False

    dear = np.flatnonzero(~plain)
    if len(dear) > MAX_DEAR:
        last = int(fits[dear[MAX_DEAR]])
        return _read(buffer, view, starts[:last], ends[:last], reasons[:last], length, int(starts[last]))
    others: dict[int, Record] = {}
    for position in np.flatnonzero(~plain).tolist():
        first = int(begin[position])
        try:
            others[position] = parse(bytes(buffer[first : first + int(size[position])]))
        except DamagedRecord as error:
            reasons[fits[position]] = error.reason
    kept = reasons[fits] == 0
    if not kept.all():
        renumbered = np.cumsum(kept) - 1
        others = {int(renumbered[position]): record for position, record in others.items()}
        begin, size, plain = begin[kept], size[kept], plain[kept]
        table = {name: column[kept] for name, column in table.items()}

    return Decoded(
        unstuffed=buffer,
        begin=begin,
        size=size,
        offset=begin - 1,
        kind=table["kind"],
        version=table["version"],
        run=table["run"],
        index=table["index"],
        samples=_samples(view, np.flatnonzero(plain), table, begin),
        others=others,
        damaged=tuple(
            Damaged(int(starts[i]), int(ends[i] - starts[i]), Damage(int(reasons[i])))
            for i in np.flatnonzero(reasons)
        ),
        unread=length - upto,
    )


def _samples(view: NDArray[np.uint8], rows: Ints, table: dict[str, Ints], begin: Ints) -> SampleTable:
    at = begin[rows]
    number = table["number"][rows]
    start = np.cumsum(number) - number
    total = int(number.sum())
    counts = np.empty(total, dtype=np.int32)
    stamp = np.empty(total, dtype=np.uint16)
    if _is_even(at, number):
        edges, spacings = _even_stretches(at, number)
        for a, b, spacing in zip(edges[:-1].tolist(), edges[1:].tolist(), spacings.tolist(), strict=True):
            many, each = b - a, int(number[a])
            into = slice(int(start[a]), int(start[a]) + many * each)
            strides, shape = (spacing, SAMPLE_SIZE), (many, each)
            place = int(at[a])
            # Four bytes that begin one before the count, shifted down by eight: the sign comes along.
            wide = np.ndarray(shape, "<i4", view, place + _SAMPLES_AT - 1, strides)
            np.right_shift(wide, 8, out=counts[into].reshape(shape))
            stamp[into].reshape(shape)[...] = np.ndarray(shape, "<u2", view, place + _SAMPLES_AT + 3, strides)
    else:
        # numpy.repeat takes no wider counts than the machine's own (32-bit Raspberry Pi OS, WebAssembly).
        before = np.repeat(at + _SAMPLES_AT - SAMPLE_SIZE * start, number.astype(np.intp))
        each_at = before + SAMPLE_SIZE * np.arange(total)
        windows = np.lib.stride_tricks.sliding_window_view(view, SAMPLE_SIZE)
        block = windows[each_at].view(SAMPLE_DTYPE)[:, 0]
        counts[:] = block["high"].astype(np.int32) * 65536 + block["low"]
        stamp[:] = block["stamp"]
    quality = (stamp >> STAMP_QUALITY_SHIFT).astype(np.uint8)
    stamp &= MAX_STEP
    for array in (counts, stamp, quality):
        array.setflags(write=False)
    return SampleTable(
        position=rows,
        first_sample=table["first_sample"][rows],
        first_us=table["first_s"][rows] * 1_000_000 + table["first_us"][rows],
        number=number,
        start=start,
        counts=counts,
        step=stamp,
        quality=quality,
    )


def _even_stretches(at: Ints, size: Ints) -> tuple[Ints, Ints]:
    """Rows of one size at equal distances: first row of each such stretch and end of the last; the distances."""
    if not len(at):
        return np.zeros(1, dtype=np.int64), np.empty(0, dtype=np.int64)
    gaps = np.diff(at)
    # Row r continues the stretch if it has the size of row r - 1 and as far from it as row r - 1 from row r - 2.
    same = np.zeros(len(at), dtype=np.bool_)
    same[1:] = (size[1:] == size[:-1]) & (gaps > 0)
    same[2:] &= (gaps[1:] == gaps[:-1]) | ~same[1:-1]
    edges = np.append(np.flatnonzero(~same), len(at))
    spacings = np.append(gaps, 0)[edges[:-1]]
    spacings[np.diff(edges) == 1] = 0
    return edges, spacings


def _is_even(at: Ints, size: Ints) -> bool:
    """True if it is worth while to handle stretches of even rows at once."""
    edges, _ = _even_stretches(at, size)
    return len(at) < _AT_ONCE or len(edges) * _MANY_STRETCHES < len(at)
