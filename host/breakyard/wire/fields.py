"""Payloads to values and back, by the field lists of `layout`. Knows no record kinds.

A value is an int, a float, bytes or str; a block of samples is three arrays. Values that the table rules out are
refused in both directions: DamagedRecord when reading, UsageError when writing.
"""

import math
import struct
from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import UsageError
from breakyard.wire.damage import DamagedRecord
from breakyard.wire.layout import (
    MAX_MEANS,
    MAX_SAMPLES,
    MAX_STEP,
    MAX_TEXT,
    MAX_US,
    MEAN_SIZE,
    RAIL_HIGH,
    RAIL_LOW,
    SAMPLE_SIZE,
    STAMP_QUALITY_SHIFT,
    STEP_US,
    TYPE_SIZES,
    Damage,
    Fields,
)

Block = tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.uint8]]
"""Counts, steps in microseconds, qualities; each of shape (n,)."""

Columns = tuple[NDArray[np.int64], ...]
"""The columns of a block of means, named in MEAN_COLUMNS; each of shape (n,)."""

MEAN_COLUMNS: Final = ("number", "quality", "step_ms", "mean", "lowest", "highest")

Value = int | float | bytes | str | Block | Columns

SAMPLE_DTYPE: Final = np.dtype(
    {
        "names": ["low", "high", "stamp"],
        "formats": ["<u2", "i1", "<u2"],
        "offsets": [0, 2, 3],
        "itemsize": SAMPLE_SIZE,
    }
)
"""Counts as an unsigned low half and a signed high byte, then the stamp."""


def follows_seconds(name: str, previous: str) -> bool:
    """True for the microseconds (0..999999) of a pair such as first_s, first_us."""
    return name.endswith("_us") and previous == name[:-2] + "s"


def read_fields(
    fields: Fields, payload: bytes, *, extra_allowed: bool, max_samples: int = MAX_SAMPLES
) -> dict[str, Value]:
    """Read `payload` field by field.

    Bytes after the last field are ignored if `extra_allowed`. Raises: DamagedRecord (BAD_LENGTH, BAD_VALUE).
    """
    values: dict[str, Value] = {}
    place, previous = 0, ""
    for name, kind in fields:
        if kind == "rest":
            values[name] = payload[place:]
            return values
        size = TYPE_SIZES.get(kind)
        if size is None:
            value, place = _read_counted(name, kind, payload, place, max_samples)
            values[name] = value
        else:
            raw = _take(name, payload, place, size)
            place += size
            values[name] = _read_fixed(name, kind, raw)
            if follows_seconds(name, previous) and int.from_bytes(raw, "little") > MAX_US:
                raise DamagedRecord(Damage.BAD_VALUE, f"{name} is over {MAX_US}")
        previous = name
    if place < len(payload) and not extra_allowed:
        raise DamagedRecord(Damage.BAD_LENGTH, f"{len(payload) - place} bytes too many")
    return values


def _read_fixed(name: str, kind: str, raw: bytes) -> Value:
    if kind.startswith("bytes"):
        return raw
    if kind == "f32":
        (number,) = struct.unpack("<f", raw)
        if not math.isfinite(number):
            raise DamagedRecord(Damage.BAD_VALUE, f"{name} is no number")
        return float(number)
    return int.from_bytes(raw, "little", signed=kind == "i24")


def _take(name: str, payload: bytes, place: int, size: int) -> bytes:
    raw = payload[place : place + size]
    if len(raw) < size:
        raise DamagedRecord(Damage.BAD_LENGTH, f"it ends within {name}")
    return raw


def _read_counted(
    name: str, kind: str, payload: bytes, place: int, max_samples: int
) -> tuple[str | Block | Columns, int]:
    number = _take(name, payload, place, 1)[0]
    place += 1
    if kind == "text":
        if number > MAX_TEXT:
            raise DamagedRecord(Damage.BAD_VALUE, f"{name} has {number} bytes, more than {MAX_TEXT}")
        raw = _take(name, payload, place, number)
        try:
            return raw.decode("utf-8"), place + number
        except UnicodeDecodeError:
            raise DamagedRecord(Damage.BAD_VALUE, f"{name} is not UTF-8") from None
    if kind == "means":
        if not 1 <= number <= MAX_MEANS:
            raise DamagedRecord(Damage.BAD_VALUE, f"{number} means")
        raw = _take(name, payload, place, number * MEAN_SIZE)
        return _unpack_means(raw), place + len(raw)
    if not 1 <= number <= max_samples:
        raise DamagedRecord(Damage.BAD_VALUE, f"{number} samples")
    raw = _take(name, payload, place, number * SAMPLE_SIZE)
    return _unpack_samples(raw), place + len(raw)


def _unpack_samples(raw: bytes) -> Block:
    table = np.frombuffer(raw, dtype=SAMPLE_DTYPE)
    counts = table["high"].astype(np.int32) * 65536 + table["low"]
    steps = (table["stamp"] & MAX_STEP).astype(np.int32) * STEP_US
    quality = (table["stamp"] >> STAMP_QUALITY_SHIFT).astype(np.uint8)
    if steps[0]:
        raise DamagedRecord(Damage.BAD_VALUE, "the first sample has a step")
    for array in (counts, steps, quality):
        array.setflags(write=False)
    return counts, steps, quality


def _unpack_means(raw: bytes) -> Columns:
    rows = np.frombuffer(raw, dtype=np.uint8).reshape(-1, MEAN_SIZE).astype(np.int64)
    stamp, step_ms = rows[:, 0] | rows[:, 1] << 8, rows[:, 2] | rows[:, 3] << 8
    counts = [
        ((rows[:, at] | rows[:, at + 1] << 8 | rows[:, at + 2] << 16) ^ 0x800000) - 0x800000
        for at in (4, 7, 10)
    ]
    number = stamp & MAX_STEP
    if step_ms[0]:
        raise DamagedRecord(Damage.BAD_VALUE, "the first mean has a step")
    if not number.all():
        raise DamagedRecord(Damage.BAD_VALUE, "a mean of no samples")
    columns = (number, stamp >> STAMP_QUALITY_SHIFT, step_ms, *counts)
    for array in columns:
        array.setflags(write=False)
    return columns


def _pack_means(columns: Columns) -> bytes:
    out = bytearray([len(columns[0])])
    for number, quality, step_ms, *counts in zip(*(column.tolist() for column in columns), strict=True):
        if not (1 <= number <= MAX_STEP and 0 <= quality <= 7 and 0 <= step_ms <= 0xFFFF):
            raise UsageError("a mean does not fit its bits")
        out += struct.pack("<HH", quality << STAMP_QUALITY_SHIFT | number, step_ms)
        out += b"".join(struct.pack("<i", value)[:3] for value in counts)
    if not 1 <= out[0] <= MAX_MEANS or columns[2][0]:
        raise UsageError(f"1 to {MAX_MEANS} means, the first without a step")
    return bytes(out)


def write_fields(fields: Fields, values: Mapping[str, Value], *, max_samples: int = MAX_SAMPLES) -> bytes:
    """Write the values in the order of `fields`.

    Raises: UsageError naming the field that is missing, too large or of a wrong type.
    """
    out = bytearray()
    previous = ""
    for name, kind in fields:
        if name not in values:
            raise UsageError(f"{name} is missing")
        out += _write(name, kind, previous, values[name], max_samples)
        previous = name
    if unknown := set(values) - {name for name, _ in fields}:
        raise UsageError(f"there is no field {min(unknown)} here")
    return bytes(out)


def _write(name: str, kind: str, previous: str, value: Value, max_samples: int) -> bytes:
    if kind == "samples" and isinstance(value, tuple):
        return _pack_samples(value, max_samples)  # type: ignore[arg-type]
    if kind == "means" and isinstance(value, tuple):
        return _pack_means(value)  # type: ignore[arg-type]
    if kind == "text" and isinstance(value, str):
        raw = value.encode("utf-8")
        if len(raw) > MAX_TEXT:
            raise UsageError(f"{name} has {len(raw)} bytes; a text may have {MAX_TEXT}")
        return bytes([len(raw)]) + raw
    if kind == "rest" and isinstance(value, bytes):
        return value
    if kind.startswith("bytes") and isinstance(value, bytes):
        if len(value) != TYPE_SIZES[kind]:
            raise UsageError(f"{name} has {len(value)} bytes; it must have {TYPE_SIZES[kind]}")
        return value
    if kind in ("u8", "u16", "u32", "i24") and isinstance(value, int):
        if follows_seconds(name, previous) and value > MAX_US:
            raise UsageError(f"{name} is {value}; it ends at {MAX_US}")
        try:
            return int(value).to_bytes(TYPE_SIZES[kind], "little", signed=kind == "i24")
        except OverflowError:
            raise UsageError(f"{name} is {value}, which does not fit {kind}") from None
    if kind == "f32" and isinstance(value, int | float) and math.isfinite(value):
        try:
            return struct.pack("<f", value)
        except OverflowError:
            raise UsageError(f"{name} is {value:g}, which does not fit {kind}") from None
    raise UsageError(f"{name} cannot be a {type(value).__name__}")


def _pack_samples(block: Block, max_samples: int) -> bytes:
    counts, step_us, quality = (np.asarray(part) for part in block)
    number = len(counts)
    if not 1 <= number <= max_samples or len(step_us) != number or len(quality) != number:
        raise UsageError(
            f"{number} counts, {len(step_us)} steps, {len(quality)} qualities; 1 to {max_samples} of each"
        )
    step, left_over = np.divmod(step_us.astype(np.int64), STEP_US)
    if step[0] or left_over.any() or step.min() < 0 or step.max() > MAX_STEP:
        raise UsageError(f"steps are multiples of {STEP_US} us up to {MAX_STEP * STEP_US} us, the first is 0")
    if counts.min() < RAIL_LOW or counts.max() > RAIL_HIGH or quality.min() < 0 or quality.max() > 7:
        raise UsageError("a count or a quality does not fit its bits")
    stamps = quality.astype(np.int64) << STAMP_QUALITY_SHIFT | step
    pairs = zip(counts.tolist(), stamps.tolist(), strict=True)
    packed = (struct.pack("<i", count)[:3] + struct.pack("<H", stamp) for count, stamp in pairs)
    return bytes([number]) + b"".join(packed)
