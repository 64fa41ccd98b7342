"""Records -> Run: counts and device time of one pull, and an exact account of what is missing.

Raw counts are kept as they came. Samples lost with damaged records, or never stored because the store was
full, are taken from the peak windows where these have them. Nothing is interpolated.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from breakyard.errors import DataError
from breakyard.frozen import equal
from breakyard.shown import Form, Mode, Picture, no_attribute, notebook
from breakyard.wire.bulk import Decoded, Ints, decode
from breakyard.wire.collect import MAX_RUNS, RunRecords, collect
from breakyard.wire.damage import Damaged
from breakyard.wire.layout import (
    CLOCK_NEVER_SET,
    GAINS,
    RAIL_HIGH,
    RAIL_LOW,
    Input,
    Quality,
)
from breakyard.wire.means import Coverage, MeanColumns
from breakyard.wire.merge import MergedSamples, merge
from breakyard.wire.records import Identity, Mark, PeakWindow, RunBegin, RunEnd, Settings

if TYPE_CHECKING:
    import pandas as pd

    from breakyard.converter import StepResponse

SETTLING_CONVERSIONS: Final = 4
"""HX711 data sheet, output settling time: 50 ms at 80 per second, 400 ms at 10 per second."""

CLOCK_DRIFT: Final = 50e-6
"""Allowed error of the board's crystal since the clock anchor; crystals of such boards are sold as 10 to 50 ppm."""

LONG_STEP: Final = 1.5
"""A step more than this many times the usual one means that at least one conversion is missing (SPEC.md, section 9)."""
_UNEVEN_STEP: Final = 5.0
"""The same for recordings of other instruments whose steps vary anyway."""

_INPUTS: Final = frozenset(Input)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Gap:
    """Missing time between the samples `after_sample` and `after_sample` + 1 of the run's arrays.

    Before the first sample `after_sample` is -1; behind the last one it is that one, the end being that of RUN_END.
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
class Moment:
    """A moment that somebody marked, in the run's own time, and what they wrote."""

    time_s: float
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class MeanTable:
    """What a slow run has in place of its samples: arrays (n,), read-only, one element for each mean.

    `time_s` is that of the first sample of each, from the same zero as the run's; `number` how many samples it is the
    mean of; `mean`, `lowest`, `highest` are counts; `quality` is the worst of the samples.
    """

    time_s: Floats
    number: Ints
    mean: NDArray[np.int32]
    lowest: NDArray[np.int32]
    highest: NDArray[np.int32]
    quality: NDArray[np.uint8]

    def __eq__(self, other: object) -> bool:
        return equal(self, other)

    def __hash__(self) -> int:
        return hash(self.time_s.tobytes())


@dataclass(frozen=True, slots=True)
class Converter:
    """What is known of the instrument that made the counts."""

    gain: int | None
    """Of an HX711; None for another converter."""
    settling_conversions: int = SETTLING_CONVERSIONS
    lowest: int = RAIL_LOW
    """Counts at or below it are on the rail: the true value lies beyond ..."""
    highest: int = RAIL_HIGH
    """... and at or above this one."""
    filter_order: int | None = None
    """Order of its sinc filter, where a person states it; 0: it has none. None: third or fourth, if it is known."""
    filter_known: bool = True
    full_scale_mv_v: float | None = None
    """Its full scale as stated; the calibration needs none."""


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One pull as recorded. counts, time_s, quality: shape (n,), read-only, in order of time.

    Example:
        >>> import breakyard as by
        >>> run = by.read("demo-session/runs/S1.run")
        >>> run.counts.shape == run.time_s.shape, run.loss.complete
        (True, True)

    `time_s` counts from the run's first sample, from the time that RUN_BEGIN tells of it if it is lost, from the first
    one present if RUN_BEGIN is lost too; it is never negative.
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
    response: "StepResponse | None" = None
    """Step response measured of the very logger that recorded it, where one is kept beside the recording."""

    moments: tuple[Moment, ...] = ()
    """The marks that have a text, in order of time."""

    means: MeanTable | None = None
    """Of a run with the setting mean_ms; its samples are then those of the peak windows alone."""

    def __repr__(self) -> str:
        spans = f"{len(self.counts)} samples in {self.time_s[-1]:.1f} s" if len(self.counts) else "no samples"
        gain = (
            "" if self.converter is None or self.converter.gain is None else f", gain {self.converter.gain}"
        )
        return f"Run {self.name!r}: {spans}{gain}, {'complete' if self.loss.complete else 'NOT complete'}"

    def __eq__(self, other: object) -> bool:
        return equal(self, other)

    def __hash__(self) -> int:
        return hash((self.name, self.number, len(self.counts)))

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any:
            raise no_attribute(self, name)

    @property
    def clipped(self) -> NDArray[np.bool_]:
        """(n,) True where the count is on a rail: the true value lies beyond.

        Imported counts without a known converter have no known rails.
        """
        clipped: NDArray[np.bool_] = self.quality == Quality.RAIL
        low, high = RAIL_LOW, RAIL_HIGH
        if self.converter is not None:
            low, high = self.converter.lowest, self.converter.highest
        if self.number or self.converter:
            clipped |= (self.counts <= low) | (self.counts >= high)
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

    def plot(self, *, title: str = "", mode: Mode = "light", form: Form = "wide") -> Picture:
        """Draw the counts over time, with what is missing; loads are drawn by `LoadCurve.plot`. Raises: UsageError."""
        picture: Picture = notebook().run_picture(self, title=title, mode=mode, form=form)
        return picture

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

    Damaged bytes never raise: they are counted in `Run.loss`. Raises: DataError if no run is left.
    """
    decoded = decode(data)
    collected = collect(decoded)
    runs = collected.runs
    if not runs:
        where = name or "the bytes"
        what = f"{len(data)} bytes, {len(decoded.damaged)} damaged stretches, no record of a run"
        raise DataError(f"{where}: {what}; is this a run file?")
    odd = []
    if decoded.unread:
        odd.append(f"the last {decoded.unread} bytes of the file were not read: too much of it is no samples")
    if collected.left_out:
        odd.append(f"the file holds more than {MAX_RUNS} runs; those after them were left out")
    return tuple(_make_run(decoded, records, name, odd) for records in runs)


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
        quality[(whole <= converter.lowest) | (whole >= converter.highest)] = Quality.RAIL
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
        gaps=_gaps(time, np.diff(time), None, *_usual_step(np.diff(time))),
        loss=Loss(),
        converter=converter,
        start_utc_s=None,
        start_utc_uncertainty_s=None,
    )


def _make_run(decoded: Decoded, records: RunRecords, name: str, odd: Sequence[str]) -> Run:
    samples = merge(decoded, records)
    begin, end = records.begin, records.end
    notes = [*odd, *_contradictions(end, samples, len(records.windows))]
    if samples.left_out:
        notes.append(f"{samples.left_out} samples whose time does not increase were left out")

    zero_us = _zero(begin, samples)
    time_us = samples.time_us
    if zero_us != samples.origin_us:
        time_us += samples.origin_us - zero_us
    time_s = np.divide(time_us, 1e6, out=time_us)
    utc_s, uncertainty_s = _utc(begin, zero_us)
    inputs = [record.input for record in (begin, records.settings) if record is not None]
    gain = next((GAINS[Input(value)] for value in inputs if value in _INPUTS), None)
    if begin is not None and begin.rate_mhz:
        usual = 1e9 / begin.rate_mhz
    else:
        usual, _ = _usual_step(samples.step_us)
    gaps = _gaps(time_s, samples.step_us, samples.number, usual, LONG_STEP, samples.coverage)
    return Run(
        name=name,
        counts=_frozen(samples.counts),
        time_s=_frozen(time_s),
        quality=_frozen(samples.quality),
        number=records.number,
        begin=begin,
        end=end,
        identity=records.identity,
        settings=records.settings,
        marks=records.marks,
        peak_windows=records.windows,
        gaps=_with_ends(gaps, samples, time_s, zero_us, end),
        loss=_loss(records, samples, notes),
        converter=None if gain is None else Converter(gain),
        start_utc_s=utc_s,
        start_utc_uncertainty_s=uncertainty_s,
        moments=_moments(records.marks, zero_us),
        means=_mean_table(samples.means, zero_us),
    )


def _moments(marks: tuple[Mark, ...], zero_us: int) -> tuple[Moment, ...]:
    found = [
        Moment((mark.mark_s * 1_000_000 + mark.mark_us - zero_us) / 1e6, mark.text)
        for mark in marks
        if mark.text
    ]
    return tuple(sorted(found, key=lambda moment: moment.time_s))


def _mean_table(means: MeanColumns, zero_us: int) -> MeanTable | None:
    if not len(means.number):
        return None
    return MeanTable(
        time_s=_frozen((means.first_us - zero_us) / 1e6),
        number=_frozen(means.number),
        mean=_frozen(means.mean),
        lowest=_frozen(means.lowest),
        highest=_frozen(means.highest),
        quality=_frozen(means.quality),
    )


def _zero(begin: RunBegin | None, samples: MergedSamples) -> int:
    """Device time in microseconds of time_s = 0."""
    told = None if begin is None else begin.first_s * 1_000_000 + begin.first_us
    if not len(samples.counts):
        return samples.origin_us if told is None else told
    first = samples.origin_us + int(samples.time_us[0])
    return first if samples.first == 0 or told is None else min(first, told)


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


def _usual_step(step: NDArray[Any]) -> tuple[float, float]:
    """The median of steps (n,), and how many times longer than that a step must be to be a gap."""
    if not len(step):
        return np.inf, LONG_STEP
    low, usual, high = np.partition(step, (places := [len(step) // 4, len(step) // 2, len(step) * 3 // 4]))[
        places
    ]
    return float(usual), LONG_STEP if high - low <= 0.1 * usual else _UNEVEN_STEP


def _gaps(
    time_s: Floats,
    step: NDArray[Any],
    number: Ints | None,
    usual: float,
    longest: float,
    coverage: Coverage | None = None,
) -> tuple[Gap, ...]:
    """Find the gaps between samples.

    Args:
        time_s: (n,) s.
        step: (n - 1,), the time between samples in the unit of `usual`.
        number: (n,) of the samples within the run, None if none is skipped.
        usual: the usual step.
        longest: how many times longer a step may be.
        coverage: numbers of samples that means stand for, which are not missing.
    """
    found = step > longest * usual
    if number is not None:
        found |= np.diff(number) > 1
    places = np.flatnonzero(found).tolist()
    skipped = {i: int(number[i + 1] - number[i]) - 1 for i in places} if number is not None else {}
    if number is not None and coverage is not None and coverage.total:
        jumps = {i for i in places if skipped[i]}
        for i in jumps:
            skipped[i] -= coverage.between(int(number[i]) + 1, int(number[i + 1]))
        places = [i for i in places if skipped[i] or i not in jumps]
    return tuple(
        Gap(
            after_sample=i,
            start_s=float(time_s[i]),
            end_s=float(time_s[i + 1]),
            missing=skipped.get(i) or max(1, math.floor(step[i] / usual + 0.5) - 1),
            cause="record" if skipped.get(i) else "conversion",
        )
        for i in places
    )


def _with_ends(
    gaps: tuple[Gap, ...], samples: MergedSamples, time_s: Floats, zero_us: int, end: RunEnd | None
) -> tuple[Gap, ...]:
    """Add samples that are missing before the first one present and, as RUN_END tells, after the last."""
    many = len(time_s)
    begins, ends = (float(time_s[0]), float(time_s[-1])) if many else (0.0, 0.0)
    missing = samples.first - samples.coverage.below(samples.first)
    if many and missing:
        gaps = (Gap(-1, 0.0, begins, missing, "record"), *gaps)
    missing = 0
    if end is not None and end.samples > samples.last + 1:
        end_s = (end.end_s * 1_000_000 + end.end_us - zero_us) / 1e6
        missing = end.samples - samples.last - 1 - samples.coverage.between(samples.last + 1, end.samples)
    if missing:
        gaps = (*gaps, Gap(many - 1, ends, max(ends, end_s), missing, "record"))
    return gaps


def _contradictions(end: RunEnd | None, samples: MergedSamples, windows: int) -> list[str]:
    """Sentences about totals of RUN_END that do not agree with the records."""
    if end is None:
        return []
    stored = samples.totals
    told = end.samples - end.samples_not_stored
    if stored.samples != told:
        return [f"RUN_END counts {told} stored samples, {stored.samples} are here"]
    # How many samples behind the means are clipped or doubtful is not known; and they are none where all were kept.
    not_stored = end.samples_not_stored or samples.coverage.total
    found = {
        "clipped": stored.clipped,
        "doubtful": stored.doubtful,
        "lowest_counts": stored.lowest,
        "highest_counts": stored.highest,
    }
    odd = [
        f"RUN_END says {name} = {getattr(end, name)}, found {value}"
        for name, value in found.items()
        if not _agrees(name, getattr(end, name), value, not_stored, stored.samples)
    ]
    if end.peak_windows != windows:
        odd.append(f"RUN_END counts {end.peak_windows} peak windows, {windows} are here")
    if stored.last >= end.samples:
        odd.append("a sample has a number beyond those that RUN_END counts")
    return odd


def _agrees(name: str, told: int, found: int, not_stored: int, stored: int) -> bool:
    """Totals count samples that were not stored too: then those that were only bound them."""
    if told == found:
        return True
    if not not_stored:
        return False
    return not stored or (told < found if name == "lowest_counts" else told > found)


def _loss(records: RunRecords, samples: MergedSamples, odd: Sequence[str]) -> Loss:
    end, notes = records.end, list(odd)
    coverage = samples.coverage
    number = np.arange(len(samples.counts)) if samples.number is None else samples.number
    here = len(number) + (coverage.total - coverage.count_of(number) if coverage.total else 0)
    missing_samples = max(0, (max(samples.last, coverage.last) + 1 if end is None else end.samples) - here)
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
