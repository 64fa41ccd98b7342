"""Records -> Run: counts and device time of one pull, and an exact account of what is missing.

Raw counts are kept as they came. Samples lost with damaged records, or never stored because the store was
full, are taken from the peak windows where these have them. Nothing is interpolated.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from breakyard.errors import DataError
from breakyard.wire.bulk import Decoded, Ints, decode
from breakyard.wire.collect import RunRecords, collect
from breakyard.wire.damage import Damaged
from breakyard.wire.layout import (
    CLOCK_NEVER_SET,
    GAINS,
    RAIL_HIGH,
    RAIL_LOW,
    Input,
    Quality,
)
from breakyard.wire.merge import MergedSamples, merge
from breakyard.wire.records import Identity, Mark, PeakWindow, RunBegin, RunEnd, Settings

if TYPE_CHECKING:
    import pandas as pd

SETTLING_CONVERSIONS: Final = 4
"""HX711 data sheet, output settling time: 50 ms at 80 per second, 400 ms at 10 per second."""

CLOCK_DRIFT: Final = 50e-6
"""Allowed error of the board's crystal since the clock anchor; crystals of such boards are sold as 10 to 50 ppm."""

_MISSED_STEP: Final = 1.5
"""A step this many times the usual one means that at least one conversion is missing."""
_UNEVEN_STEP: Final = 5.0
"""The same for recordings whose steps vary anyway."""

_INPUTS: Final = frozenset(Input)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Gap:
    """Missing time between the samples `after_sample` and `after_sample` + 1 of the run's arrays.

    `missing` is known from the numbering of samples, or estimated from the usual step. The cause is "record" when
    samples were lost or not stored, "conversion" when the logger did not read the converter in time.
    """

    after_sample: int
    start_s: float
    end_s: float
    missing: int
    cause: Literal["conversion", "record"]


@dataclass(frozen=True, slots=True)
class Loss:
    """What is missing in the bytes.

    `missing_records` are closed ranges of record indices. `missing_samples` are samples that the run had and that
    are not in its arrays, as far as the records tell. `complete` means that RUN_END is there and that its totals
    and its SHA-256 agree. `notes` say the same in sentences.
    """

    damaged: tuple[Damaged, ...] = ()
    missing_records: tuple[tuple[int, int], ...] = ()
    missing_samples: int = 0
    unknown_records: int = 0
    complete: bool = True
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Converter:
    """What is known of the instrument that made the counts."""

    gain: int
    settling_conversions: int = SETTLING_CONVERSIONS


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One pull as recorded. counts, time_s, quality: shape (n,), read-only, in order of time.

    `time_s` counts from the run's first sample (from the first one present if that is lost and RUN_BEGIN too).
    `start_utc_s` is the UTC (Unix time) of time_s = 0 with a half-width, None if the clock was
    never set. `converter` is None when the records that tell the gain are lost.
    """

    name: str
    counts: NDArray[np.int32]
    time_s: Floats
    quality: NDArray[np.uint8]
    number: int
    begin: RunBegin | None
    end: RunEnd | None
    identity: Identity | None
    settings: Settings | None
    marks: tuple[Mark, ...]
    peak_windows: tuple[PeakWindow, ...]
    gaps: tuple[Gap, ...]
    loss: Loss
    converter: Converter | None
    start_utc_s: float | None
    start_utc_uncertainty_s: float | None

    @property
    def clipped(self) -> NDArray[np.bool_]:
        """(n,) True where the count is on a rail: the true value lies beyond.

        Imported counts without a known converter have no known rails.
        """
        clipped: NDArray[np.bool_] = self.quality == Quality.RAIL
        if self.number or self.converter:
            clipped |= (self.counts <= RAIL_LOW) | (self.counts >= RAIL_HIGH)
        return clipped

    @property
    def usable(self) -> NDArray[np.bool_]:
        """(n,) True where quality is GOOD or LATE and the count is not clipped."""
        usable: NDArray[np.bool_] = (self.quality <= Quality.LATE) & ~self.clipped
        return usable

    @property
    def period_s(self) -> float:
        """Median time between samples; nan if there are fewer than two."""
        return float(np.median(np.diff(self.time_s))) if len(self.time_s) > 1 else float("nan")

    def to_frame(self) -> "pd.DataFrame":
        """One row per sample: time_s, counts, quality, clipped, usable."""
        import pandas as pd

        return pd.DataFrame(
            {
                "time_s": self.time_s,
                "counts": self.counts,
                "quality": self.quality,
                "clipped": self.clipped,
                "usable": self.usable,
            }
        )


def read_run(data: bytes, *, name: str = "") -> Run:
    """Read the first run in the bytes of a run file. Raises: DataError if there is none."""
    return read_runs(data, name=name)[0]


def read_runs(data: bytes, *, name: str = "") -> tuple[Run, ...]:
    """Read every run in the bytes, in order of first appearance; files may be put together and mixed.

    Damaged bytes never raise: they are told in `Run.loss`. Raises: DataError if no run is left.
    """
    decoded = decode(data)
    runs = collect(decoded)
    if not runs:
        where = name or "the bytes"
        what = f"{len(data)} bytes, {len(decoded.damaged)} damaged stretches, no record of a run"
        raise DataError(f"{where}: {what}; is this a run file?")
    return tuple(_make_run(decoded, records, name) for records in runs)


def run_from_columns(
    time_s: ArrayLike, counts: ArrayLike, *, name: str, converter: Converter | None = None
) -> Run:
    """Make a Run of counts that another instrument recorded; its time is kept but starts at 0.

    Raises: DataError unless both are columns of one length, finite, with whole counts and increasing time.
    """
    time = np.asarray(time_s, dtype=np.float64)
    values = np.asarray(counts, dtype=np.float64)
    if time.ndim != 1 or time.shape != values.shape or not len(time):
        raise DataError(
            f"{name}: time and counts must be columns of one length, not {time.shape} and {values.shape}"
        )
    if not (np.isfinite(time).all() and np.isfinite(values).all()):
        raise DataError(f"{name}: time or counts hold something that is not a number; remove those rows")
    if (values != np.round(values)).any() or np.abs(values).max() > np.iinfo(np.int32).max:
        raise DataError(f"{name}: counts must be whole numbers of up to 32 bits; are these forces?")
    backwards = np.flatnonzero(np.diff(time) <= 0)
    if len(backwards):
        raise DataError(f"{name}: time does not increase after row {int(backwards[0]) + 1}; sort the rows")
    whole = values.astype(np.int32)
    quality = np.zeros(len(whole), dtype=np.uint8)
    if converter is not None:
        quality[(whole <= RAIL_LOW) | (whole >= RAIL_HIGH)] = Quality.RAIL
    time = time - time[0]
    return Run(
        name=name,
        counts=_frozen(whole),
        time_s=_frozen(time),
        quality=_frozen(quality),
        number=0,
        begin=None,
        end=None,
        identity=None,
        settings=None,
        marks=(),
        peak_windows=(),
        gaps=_gaps(time, np.diff(time), None),
        loss=Loss(),
        converter=converter,
        start_utc_s=None,
        start_utc_uncertainty_s=None,
    )


def _make_run(decoded: Decoded, records: RunRecords, name: str) -> Run:
    samples = merge(decoded, records)
    number, time_us, counts, quality = samples.number, samples.time_us, samples.counts, samples.quality
    step_us = samples.step_us[1:]
    notes: list[str] = []
    if len(step_us) and step_us.min() <= 0:
        keep = np.append(True, time_us[1:] > np.maximum.accumulate(time_us)[:-1])
        notes.append(f"{np.count_nonzero(~keep)} samples whose time does not increase were left out")
        number = np.flatnonzero(keep) if number is None else number[keep]
        time_us, counts, quality = time_us[keep], counts[keep], quality[keep]
        step_us = np.diff(time_us)

    begin = records.begin
    start_us = samples.origin_us
    if begin is not None and (not len(counts) or (number is not None and number[0] > 0)):
        start_us = begin.first_s * 1_000_000 + begin.first_us
        time_us += samples.origin_us - start_us
    time_s = np.divide(time_us, 1e6, out=time_us)
    utc_s, uncertainty_s = _utc(begin, start_us)
    inputs = [record.input for record in (begin, records.settings) if record is not None]
    gain = next((GAINS[Input(value)] for value in inputs if value in _INPUTS), None)
    notes += _totals(records.end, samples)
    return Run(
        name=name,
        counts=_frozen(counts),
        time_s=_frozen(time_s),
        quality=_frozen(quality),
        number=records.number,
        begin=begin,
        end=records.end,
        identity=records.identity,
        settings=records.settings,
        marks=records.marks,
        peak_windows=records.windows,
        gaps=_gaps(time_s, step_us, number),
        loss=_loss(records, _seen(samples), len(counts), samples, notes),
        converter=None if gain is None else Converter(gain),
        start_utc_s=utc_s,
        start_utc_uncertainty_s=uncertainty_s,
    )


def _frozen(array: NDArray[Any]) -> NDArray[Any]:
    array.setflags(write=False)
    return array


def _utc(begin: RunBegin | None, start_us: int) -> tuple[float | None, float | None]:
    """UTC of a device time from the run's clock anchor, with the drift of the board's crystal allowed for."""
    if begin is None or begin.clock_uncertainty_us == CLOCK_NEVER_SET:
        return None, None
    since_us = start_us - (begin.clock_device_s * 1_000_000 + begin.clock_device_us)
    utc_us = begin.clock_utc_s * 1_000_000 + begin.clock_utc_us + since_us
    return utc_us / 1e6, (begin.clock_uncertainty_us + CLOCK_DRIFT * abs(since_us)) / 1e6


def _gaps(time_s: Floats, step: NDArray[Any], number: Ints | None) -> tuple[Gap, ...]:
    """Find the gaps; `step` (n - 1,) is the time between samples in any unit, `number` None if none is skipped."""
    if not len(step):
        return ()
    # The usual step needs no exact median: a sample of the steps of a long run is enough, and quick.
    some = np.sort(step[:: len(step) // 4096 + 1])
    low, usual, high = some[len(some) // 4], some[len(some) // 2], some[len(some) * 3 // 4]
    even = high - low <= 0.1 * usual
    longest = (_MISSED_STEP if even else _UNEVEN_STEP) * usual
    found = step > longest
    if number is not None:
        found |= np.diff(number) > 1
    places = np.flatnonzero(found).tolist()
    skipped = {i: int(number[i + 1] - number[i]) - 1 for i in places} if number is not None else {}
    return tuple(
        Gap(
            after_sample=i,
            start_s=float(time_s[i]),
            end_s=float(time_s[i + 1]),
            missing=skipped.get(i) or max(1, round(step[i] / usual) - 1),
            cause="record" if skipped.get(i) else "conversion",
        )
        for i in places
    )


def _totals(end: RunEnd | None, samples: MergedSamples) -> list[str]:
    """Sentences about totals of RUN_END that do not agree with the samples."""
    if end is None:
        return []
    if samples.stored != end.samples - end.samples_not_stored:
        told = end.samples - end.samples_not_stored
        return [f"RUN_END tells of {told} stored samples, {samples.stored} are here"]
    if end.samples_not_stored:
        return []  # the other totals include samples that are nowhere
    counts = samples.counts
    lowest, highest = int(counts.min(initial=RAIL_HIGH)), int(counts.max(initial=RAIL_LOW))
    found = {"clipped": 0, "doubtful": int(np.count_nonzero(samples.quality))}
    if found["doubtful"] or lowest <= RAIL_LOW or highest >= RAIL_HIGH:
        clipped = (samples.quality == Quality.RAIL) | (counts <= RAIL_LOW) | (counts >= RAIL_HIGH)
        found["clipped"] = int(np.count_nonzero(clipped))
    if len(counts):
        found |= {"lowest_counts": lowest, "highest_counts": highest}
    return [
        f"RUN_END tells {name} = {getattr(end, name)}, found {value}"
        for name, value in found.items()
        if getattr(end, name) != value
    ]


def _seen(samples: MergedSamples) -> int:
    if samples.number is None or not len(samples.number):
        return len(samples.counts)
    return int(samples.number[-1]) + 1


def _loss(records: RunRecords, seen: int, kept: int, samples: MergedSamples, odd: Sequence[str]) -> Loss:
    """`seen` is one more than the highest number of a sample, `kept` how many samples the Run has."""
    end, notes = records.end, list(odd)
    missing_samples = max(0, (seen if end is None else end.samples) - kept)
    if records.damaged:
        size = sum(stretch.length for stretch in records.damaged)
        notes.append(f"{len(records.damaged)} damaged stretches, {size} bytes, were dropped")
    if records.missing:
        many = sum(last - first + 1 for first, last in records.missing)
        notes.append(f"{many} records are missing")
    if end is None:
        notes.append("RUN_END is missing: the run may have had more samples than these")
    elif records.hash_agrees is False and not records.missing:
        notes.append("the SHA-256 in RUN_END does not agree with the records before it")
    if end is not None and end.samples_not_stored:
        notes.append(f"the store was full: {end.samples_not_stored} samples were not stored")
    if samples.from_windows:
        notes.append(f"{samples.from_windows} samples were taken from peak windows")
    if missing_samples:
        notes.append(f"{missing_samples} samples of the run are missing")
    if records.duplicates:
        notes.append(f"{records.duplicates} records came more than once")
    return Loss(
        damaged=records.damaged,
        missing_records=records.missing,
        missing_samples=missing_samples,
        unknown_records=records.unknown,
        complete=bool(records.hash_agrees) and not odd,
        notes=tuple(notes),
    )
