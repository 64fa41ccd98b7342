"""Run and calibration -> LoadCurve: the load over time, with what is known about each sample."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal, Self, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from breakyard.converter.repeats import copies
from breakyard.errors import DataError, NoPull
from breakyard.frozen import equal
from breakyard.run import Converter, Gap, MeanTable, Moment, Run
from breakyard.shown import Form, Mode, Picture, View, no_attribute, notebook
from breakyard.units import FORCE_UNITS, force_unit
from breakyard.wire.layout import RAIL_HIGH, RAIL_LOW, EndCause, Quality

if TYPE_CHECKING:
    import pandas as pd

    from breakyard.calibration import Calibration
    from breakyard.converter import StepResponse

_T = TypeVar("_T", bound=np.generic)

UNSTATED_ACCURACY: Final = 0.01
"""Relative standard uncertainty taken for a recording of force whose owner stated none: wide, so that saying nothing
never gives a narrower interval. ISO 7500-1 ends its classes of testing machines at 3 % error of indication, which as a
limit is 1.7 % standard (JCGM 100, 4.3.7); scales and amplifiers of hobby kits are often said to be 1 %."""

MINIMUM_SAMPLES: Final = 8
"""Fewer samples cannot show a zero, a rise and a peak."""

ZeroAt = Literal["instrument", "start", "end"]

STORE_FULL: Final = "store_full"
"""The flag of a run whose store filled before it ended."""

MEANS: Final = "means"
"""The flag of a run of which means were stored, and single samples around its largest peaks alone."""

REPEATS: Final = "repeats"
"""The flag of another instrument's recording in which readings were written down several times each."""

LARGEST_N: Final = 1e12
"""A value beyond this is no load: the sample is left out."""

CONVERTER_RATES_HZ: Final = (8.0, 150.0)
"""Rates at which 24-bit converters of our kind run: 10 or 80 a second nominal, to 144 with an outside clock."""

GAP_STEPS: Final = 2.6
"""An imported recording has a gap where a step is longer than this many of the usual steps around it."""


@dataclass(frozen=True, slots=True)
class Line:
    """How many times the cell's load the specimen bears, how sure that is, and in words."""

    factor: float
    relative: float
    """Standard uncertainty of the factor, as a share of it."""
    words: str


@dataclass(frozen=True, slots=True)
class Unloaded:
    """What a whole recording says of the zero to one of its parts: its lowest steady level, where others lie above it.

    A pause between two pulls may be a pre-tension. `before` and `after` are how far what is quiet before and after
    this part's pull is still to be trusted (a probability) if it lies above `level_n` by more than `near_n`.
    """

    level_n: float
    standard_n: float
    near_n: float
    trust: float
    before: float
    after: float


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class LoadCurve:
    """Load over time. All arrays have the same length n and are read-only.

    Example:
        >>> import breakyard as by
        >>> curve = by.LoadCurve.from_columns([0, 1, 2, 3, 4, 5, 6, 7, 8], [0, 0, 0, 100, 200, 300, 400, 0, 0])
        >>> curve
        LoadCurve 'recording': 9 samples in 8.0 s, 0 to 400 N

    `load_n` counts from the converter's zero (or as the other instrument gave it): the pull's own zero is
    subtracted by the summary. Samples that are not `usable` are kept for the eye and used for nothing else.
    """

    name: str
    time_s: NDArray[np.float64]
    load_n: NDArray[np.float64]
    usable: NDArray[np.bool_]
    clipped: NDArray[np.bool_]
    period_s: float
    gaps: tuple[Gap, ...] = ()
    counts: NDArray[np.int32] | None = None
    converter: Converter | None = None
    """None for other instruments: then no filter is corrected for. See `filter_known`."""
    calibration: "Calibration | None" = None
    accuracy: float | None = None
    """Relative standard uncertainty that the user states for an imported force recording; None if nothing was said
    (see UNSTATED_ACCURACY)."""
    extension_m: NDArray[np.float64] | None = None
    flags: tuple[str, ...] = ()
    number: int | None = None
    start_utc_s: float | None = None
    start_utc_uncertainty_s: float | None = None
    response: "StepResponse | None" = None
    """Step response measured of the very logger that recorded it; None where none is known."""
    zero_at: ZeroAt | None = None
    """Where a person says that the zero is; None: it is judged."""
    one_specimen: bool = False
    """Whether a person says that all of its pulls are of one specimen, so that it stays in one piece."""
    protocol: str = ""
    """What a person meant to do with the specimen, as "10 x 20..300 kgf, then break"."""
    moments: tuple[Moment, ...] = ()
    """What was marked during the pull."""
    series: tuple[tuple[float, float], ...] = ()
    """Lengths taken beside it, at their own times: seconds of the recording, metres, with a zero of their own."""
    series_unit: str = "mm"
    """Unit in which those lengths were written down."""
    series_accuracy: float | None = None
    """Relative standard uncertainty of the lengths' own scale, as stated; None if nothing was said."""
    line: Line | None = None
    """What makes the specimen's load of the cell's; `load_n` is then the specimen's."""
    unloaded: Unloaded | None = None
    """For a part of a recording whose pauses are not all at one level; None: the part speaks for itself."""

    def __repr__(self) -> str:
        load = self.load_n[self.usable]
        span = f"{load.min():.5g} to {load.max():.5g} N" if len(load) else "nothing usable"
        by = (
            ""
            if self.calibration is None
            else f", calibrated by {self.calibration.name or 'a calibration'!r}"
        )
        return f"LoadCurve {self.name!r}: {len(self.time_s)} samples in {self.time_s[-1]:.1f} s, {span}{by}"

    def __eq__(self, other: object) -> bool:
        return equal(self, other)

    def __hash__(self) -> int:
        return hash((self.name, self.number, len(self.time_s)))

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> object:
            raise no_attribute(self, name)

    @property
    def filter_known(self) -> bool:
        """Whether anything is known of the filter that the samples went through, be it that there is none."""
        return self.converter is not None and self.converter.filter_known

    def _repr_png_(self) -> bytes | None:
        png: bytes | None = notebook().curve_png(self)
        return png

    @classmethod
    def from_run(cls, run: Run, calibration: "Calibration") -> Self:
        """A run's counts in newtons; as `curve_from_run`. Raises: NoPull, CalibrationError."""
        curve = curve_from_run(run, calibration)
        assert isinstance(curve, cls)
        return curve

    @classmethod
    def from_columns(
        cls,
        time_s: ArrayLike,
        load: ArrayLike,
        *,
        unit: str = "N",
        name: str = "recording",
        accuracy: float | None = None,
    ) -> Self:
        """Another instrument's numbers: times in seconds and loads in `unit`, columns of one length.

        accuracy: relative standard uncertainty of the force (0.005 for 0.5 %); None if not stated.
        Raises: NoPull, DataError, UnitError.
        """
        load_n = np.asarray(load, dtype=np.float64) * FORCE_UNITS[force_unit(unit)]
        curve = curve_from_columns(time_s, load_n, name=name, accuracy=accuracy)
        assert isinstance(curve, cls)
        return curve

    def to_frame(self, unit: str = "N") -> "pd.DataFrame":
        """One row per sample: time_s, load in the unit (load_kgf ...), usable, clipped, and counts where known.

        Raises: UnitError.
        """
        import pandas as pd

        unit = force_unit(unit)
        columns: dict[str, object] = {
            "time_s": self.time_s,
            f"load_{unit}": self.load_n / FORCE_UNITS[unit],
            "usable": self.usable,
            "clipped": self.clipped,
        }
        if self.counts is not None:
            columns["counts"] = self.counts
        if self.extension_m is not None:
            columns["extension_m"] = self.extension_m
        return pd.DataFrame(columns)

    def plot(
        self,
        *,
        view: View = "pull",
        unit: str = "N",
        title: str = "",
        mode: Mode = "light",
        form: Form = "wide",
    ) -> Picture:
        """Summarize the pull and draw it, or the moment of its break. Raises: NoPull, UnitError, UsageError."""
        picture: Picture = notebook().curve_picture(
            self, view=view, unit=unit, title=title, mode=mode, form=form
        )
        return picture


def curve_from_run(
    run: Run, calibration: "Calibration", *, response: "StepResponse | None" = None
) -> LoadCurve:
    """Turn a run's counts into newtons.

    response: measured of the logger that recorded the run; the summary reads sudden breaks with it.

    Raises: NoPull if the run has too few samples; CalibrationError if the calibration was made at another gain.
    """
    if run.means is not None:
        return _from_means(run, run.means, calibration)
    if run.end is not None and run.end.cause == EndCause.MEMORY_LOST:
        raise NoPull(
            f"{run.name}: the logger's power went while it waited for this run or kept it in memory; nothing of it is "
            "left there, but what a host had of it by then is in a .part file"
        )
    _check_length(run.name, len(run.counts))
    run = _with_converter(run, calibration)
    load = calibration.load_n(run.counts, 0.0)
    # A logger of ours writes each conversion once; another's program may have asked more often.
    repeated = _repeated(load, run.usable) if not run.number else np.zeros(len(load), dtype=np.bool_)
    usable = run.usable & ~repeated
    return LoadCurve(
        name=run.name,
        time_s=run.time_s,
        load_n=_frozen(load),
        usable=_frozen(usable),
        clipped=_frozen(run.clipped),
        period_s=float(np.median(np.diff(run.time_s[usable]))) if repeated.any() else run.period_s,
        gaps=run.gaps,
        counts=run.counts,
        converter=run.converter,
        calibration=calibration,
        flags=(*((REPEATS,) if repeated.any() else ()), *_flags(run)),
        number=run.number,
        start_utc_s=run.start_utc_s,
        start_utc_uncertainty_s=run.start_utc_uncertainty_s,
        response=run.response if response is None else response,
        moments=run.moments,
    )


def _from_means(run: Run, means: MeanTable, calibration: "Calibration") -> LoadCurve:
    """A slow run: a mean stands at the middle of its samples; where a peak window holds samples, they stand instead.

    What a window does not hold is still not lost: the highest count of all is put where its mean lies. No filter is
    known of such a curve, since most of its values are no conversions.
    """
    start = means.time_s
    span = np.diff(start, append=start[-1] + (np.median(np.diff(start)) if len(start) > 1 else 1.0))
    middle = start + span * (means.number - 1) / (2.0 * np.maximum(means.number, 1))
    first = np.searchsorted(run.time_s, start, side="left")
    past = np.searchsorted(run.time_s, start + span, side="left")
    alone = first == past
    counts, time, quality = means.mean[alone], middle[alone], means.quality[alone]
    highest = np.where(alone, means.highest, np.iinfo(np.int32).min)
    top = int(np.argmax(highest)) if alone.any() else 0
    extra = bool(alone.any()) and int(highest[top]) > int(run.counts.max(initial=np.iinfo(np.int32).min))
    if extra:
        at = int(np.searchsorted(time, middle[top]))
        counts = counts.copy()
        counts[at] = highest[top]
    time = np.concatenate([time, run.time_s])
    order = np.argsort(time, kind="stable")
    counts = np.concatenate([counts, run.counts])[order]
    quality = np.concatenate([quality, run.quality])[order]
    time = time[order]
    kept = np.concatenate([[True], np.diff(time) > 0.0]) if len(time) else np.zeros(0, dtype=np.bool_)
    time, counts, quality = time[kept], counts[kept], quality[kept]
    _check_length(run.name, len(time))
    clipped = (quality == Quality.RAIL) | (counts <= RAIL_LOW) | (counts >= RAIL_HIGH)
    return LoadCurve(
        name=run.name,
        time_s=_frozen(time),
        load_n=_frozen(calibration.load_n(counts, 0.0)),
        usable=_frozen((quality <= Quality.LATE) & ~clipped),
        clipped=_frozen(clipped),
        period_s=float(np.median(np.diff(time))),
        counts=_frozen(counts.astype(np.int32)),
        calibration=calibration,
        flags=(MEANS, *_flags(run)),
        number=run.number,
        start_utc_s=run.start_utc_s,
        start_utc_uncertainty_s=run.start_utc_uncertainty_s,
        moments=run.moments,
    )


def _with_converter(run: Run, calibration: "Calibration") -> Run:
    """An imported run with the converter that made it, where that is sure.

    The calibration of a logger of ours names its gain, and counts are only worth something with the calibration of
    their own converter. Else a count that lies exactly on a 24-bit rail tells the kind, if the rate is one of its.
    """
    if run.converter is not None or run.number:
        return run
    if calibration.gain is not None:
        return replace(run, converter=Converter(calibration.gain))
    return replace(run, converter=Converter(128)) if on_our_rail(run.counts, run.period_s) else run


def on_our_rail(counts: NDArray[np.int32], period_s: float) -> bool:
    """Whether a count lies exactly on a 24-bit rail, at a rate of converters of our kind."""
    on_rail = bool(((counts == RAIL_LOW) | (counts == RAIL_HIGH)).any())
    low, high = CONVERTER_RATES_HZ
    return on_rail and low <= 1.0 / period_s <= high


def _flags(run: Run) -> tuple[str, ...]:
    full = run.end is not None and run.end.samples_not_stored > 0
    return ((STORE_FULL,) if full else ()) + (() if run.loss.complete else ("incomplete",))


def curve_from_columns(
    time_s: ArrayLike,
    load_n: ArrayLike,
    *,
    name: str,
    accuracy: float | None = None,
    extension_m: ArrayLike | None = None,
) -> LoadCurve:
    """Take another instrument's recording of force as it is: uneven steps stay uneven.

    accuracy: relative standard uncertainty of the force, as a fraction (0.005 for 0.5 %); None if not stated.
    Raises: NoPull if there are too few samples; DataError if the columns do not fit together or time runs back.
    """
    time = np.asarray(time_s, dtype=np.float64)
    load = np.asarray(load_n, dtype=np.float64)
    if time.ndim != 1 or time.shape != load.shape:
        raise DataError(f"{name}: time and load must be columns of the same length")
    _check_length(name, len(time))
    if not np.isfinite(time).all():
        raise DataError(f"{name}: row {int(np.argmin(np.isfinite(time))) + 1} has no time; remove the row")
    steps = np.diff(time)
    if (steps <= 0).any():
        row = int(np.argmax(steps <= 0)) + 2
        raise DataError(f"{name}: time does not increase at row {row}; sort the recording or remove the row")
    if accuracy is not None and not 0 <= accuracy < 1:
        raise DataError(
            f"{name}: accuracy is a fraction of the load from 0 to 1 (0.005 for 0.5 %), not {accuracy:g}"
        )
    extension = None
    if extension_m is not None:
        extension = np.asarray(extension_m, dtype=np.float64)
        if extension.shape != time.shape:
            raise DataError(f"{name}: the extension must have as many rows as the load")
    usable = np.isfinite(load) & (np.abs(load) < LARGEST_N)
    repeated = _repeated(load, usable)
    if repeated.any():
        usable &= ~repeated
        steps = np.diff(time[usable])
    return LoadCurve(
        name=name,
        time_s=_frozen(time - time[0]),
        load_n=_frozen(np.where(usable | repeated, load, 0.0)),
        usable=_frozen(usable),
        clipped=_frozen(np.zeros(len(time), dtype=np.bool_)),
        period_s=float(np.median(steps)),
        gaps=_gaps(time - time[0], usable),
        accuracy=accuracy,
        extension_m=None if extension is None else _frozen(extension),
        flags=(REPEATS,) if repeated.any() else (),
    )


def _repeated(load: NDArray[np.float64], usable: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which of the usable samples repeat the reading before them; none where too few would be left."""
    repeated = np.zeros(len(load), dtype=np.bool_)
    repeated[usable] = copies(load[usable])
    return repeated if (usable & ~repeated).sum() >= MINIMUM_SAMPLES else np.zeros_like(repeated)


def _gaps(time_s: NDArray[np.float64], usable: NDArray[np.bool_]) -> tuple[Gap, ...]:
    """Steps much longer than those around them, judged among the samples that carry a load.

    An instrument may change its rate on purpose, so a step is compared with its neighbours' median as well as
    with the whole recording's.
    """
    index = np.flatnonzero(usable)
    if len(index) < MINIMUM_SAMPLES:
        return ()
    steps = np.diff(time_s[index])
    usual = float(np.median(steps))
    gaps = []
    for k in np.flatnonzero(steps > GAP_STEPS * usual):
        around = np.concatenate([steps[max(0, k - 4) : k], steps[k + 1 : k + 5]])
        local = float(np.median(around)) if len(around) else usual
        if steps[k] > GAP_STEPS * local:
            missing = max(1, round(float(steps[k]) / local) - 1)
            first, last = int(index[k]), int(index[k + 1])
            gaps.append(Gap(first, float(time_s[first]), float(time_s[last]), missing, "conversion"))
    return tuple(gaps)


def _check_length(name: str, samples: int) -> None:
    if samples < MINIMUM_SAMPLES:
        raise NoPull(
            f"{name}: {samples} samples are too few to show a pull; at least {MINIMUM_SAMPLES} are needed"
        )


def _frozen(array: NDArray[_T]) -> NDArray[_T]:
    copy = np.array(array)
    copy.flags.writeable = False
    return copy
