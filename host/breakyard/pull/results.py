"""What is known about one pull: frozen values, and their JSON face for programs.

Forces are newtons (names end in `_n`), times are seconds from the first sample (names end in `_s`). A field's
name here is its key in JSON, except `Summary.failure`, which is "break" there ("break" is a word of Python).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import ClassVar, Literal

from breakyard.curve import LoadCurve
from breakyard.document import NOT_IN_JSON, Document, face
from breakyard.shown import Form, Mode, Picture, View, notebook
from breakyard.units import from_newtons

Bound = Literal["two-sided", "lower"]
Manner = Literal["brittle", "ductile", "progressive", "none"]
Regime = Literal["slow", "ramp_and_break", "too_short"]
Shape = Literal["normal", "rectangular", "one-sided", "tabulated", "several"]


@dataclass(frozen=True, slots=True)
class Source:
    """Which recording, and which calibration made newtons of it."""

    name: str
    number: int | None
    """Run number of the logger."""
    samples: int
    duration_s: float
    rate_hz: float
    """One over the median step."""
    missing_samples: int
    start_utc_s: float | None
    start_utc_uncertainty_s: float | None
    calibration: str | None
    calibration_hash: str | None


@dataclass(frozen=True, slots=True)
class Zero:
    """The unloaded reading: level at the peak, drift, noise of one sample, and its shift after the break."""

    load_n: float
    standard_n: float
    drift_n_per_s: float
    noise_n: float
    shift_n: float | None
    """Unloaded reading after the pull minus before; None where nothing unloaded was recorded after it."""
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Peak:
    """The load that was measured.

    `bound` is "lower" when the peak is only known to lie above `low_n` (clipped, or too short for the rate);
    `high_n` is None then, and `estimate_n` is the best value that the samples support, not the likeliest.
    """

    estimate_n: float
    low_n: float
    high_n: float | None
    largest_sample_n: float
    time_s: float
    bound: Bound
    coverage: float
    regime: Regime
    """slow: the largest samples are the peak. ramp_and_break: recovered through the converter's filter."""
    shortest_event_s: float
    """Shortest event whose peak this rate supports to 1 % (ASTM STP19268S)."""

    @property
    def interval_n(self) -> tuple[float, float]:
        """`low_n` and `high_n`; above a lower bound it is open, to infinity."""
        return self.low_n, math.inf if self.high_n is None else self.high_n


@dataclass(frozen=True, slots=True)
class Filter:
    """What was taken for the converter's filter.

    none: no filter is known. assumed: order 3 and 4 allowed for. stated: by the user, 0 if there is none. measured: the
    logger's own step response, named by its hash.
    """

    source: Literal["none", "assumed", "stated", "measured"]
    order: int | None = None
    """None where more than one is allowed for, or where the measured response is that of no such filter."""
    response_hash: str | None = None


@dataclass(frozen=True, slots=True)
class Smoothing:
    """How noise was averaged out of the peak: a parabola through `samples` samples, the middle one at its crest."""

    samples: int
    bandwidth_hz: float
    """-3 dB bandwidth of that; it is as low as the pull's own curve allows."""


@dataclass(frozen=True, slots=True)
class Recovery:
    """How the peak was recovered, for the close-up of the break; times like those of the samples.

    `force_n` is the likeliest force until the break, `seen_n` the likeliest curve that samples would show of it
    and of what came after. Zero subtracted.
    """

    force_s: tuple[float, ...]
    force_n: tuple[float, ...]
    seen_s: tuple[float, ...]
    seen_n: tuple[float, ...]
    third_order: float
    """Probability of a third-order filter; nearly all of the rest is fourth order."""


@dataclass(frozen=True, slots=True)
class Strength:
    """What the specimen can bear: the peak if it broke there, else "at least" the peak."""

    value_n: float
    low_n: float
    high_n: float | None
    at_least: bool


@dataclass(frozen=True, slots=True)
class Settled:
    """What the specimen still held after its peak, before it let go."""

    load_n: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One source of uncertainty of a load, as a standard uncertainty in newtons (JCGM 100)."""

    source: str
    standard_n: float
    degrees_of_freedom: float | None = None
    """None: as good as known (infinite)."""
    shape: Shape = "normal"
    """Of its distribution (JCGM 101): the interval comes from these, not from the root sum of squares alone."""


@dataclass(frozen=True, slots=True)
class FirstPeak:
    """First maximum that is followed by a reduction of at least 0.5 % of the load (ISO 6892-1), not by ripple."""

    load_n: float
    time_s: float
    low_n: float | None = None
    """Ends of its interval, at the coverage of the peak's; None below and above where none is known."""
    high_n: float | None = None
    """None alone: it is only known to lie above `low_n`."""
    budget: tuple[BudgetLine, ...] = ()
    """Its own sources of uncertainty; empty where no interval is known, and in older summaries."""


@dataclass(frozen=True, slots=True)
class Ripple:
    """Swings of the load that are the drive's: strokes of a winch, surges of a vehicle, stops."""

    size_n: float
    """From top to bottom, of a middling one."""
    rate_hz: float


@dataclass(frozen=True, slots=True)
class Break:
    """How and when the specimen let go."""

    manner: Manner
    time_s: float | None
    load_n: float | None
    """Load just before it let go."""
    residual_n: float | None
    """Load that was left after it let go."""
    sure: bool
    """False where the rules for the manner of break nearly say something else."""
    reason: str
    """The rule that decided, in words."""


@dataclass(frozen=True, slots=True)
class Jerk:
    """A rise much faster than the pull's usual loading rate."""

    time_s: float
    rise_n: float
    rate_n_per_s: float


@dataclass(frozen=True, slots=True)
class Rate:
    """How the load was put on."""

    median_n_per_s: float
    at_peak_n_per_s: float
    unsteadiness: float
    """Spread of the loading rate over its median: half the 16 to 84 % range; 0 is a perfectly steady ramp."""
    fastest_for_one_percent_n_per_s: float
    """Fastest loading at which this recording's rate meets ISO 6892-1 Annex A for 1 % of the peak."""
    steady_enough: bool
    jerks: tuple[Jerk, ...] = ()


@dataclass(frozen=True, slots=True)
class Drop:
    """A partial drop: the load fell and the specimen went on holding."""

    time_s: float
    from_n: float
    to_n: float


@dataclass(frozen=True, slots=True)
class Cycle:
    """One of several loadings of one specimen."""

    number: int
    """From 1; the last is the one that was read, and may have ended in the break."""
    top_n: float
    top_s: float
    valley_n: float
    """The lowest load before it."""
    rate_n_per_s: float
    hysteresis_j: float | None = None
    """Work that stayed in the specimen from this valley to the next; None where no extension is known."""
    extension_at_top_m: float | None = None
    extension_at_valley_m: float | None = None


@dataclass(frozen=True, slots=True)
class Plateau:
    """A stretch of nearly constant load (yielding, or the machine held)."""

    load_n: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Slope:
    """Slope of a straight line through points, with its interval at the coverage of the peak's."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Energy:
    """Work under the load; only where the extension is known. No interval is claimed for it."""

    work_to_peak_j: float
    work_to_break_j: float | None
    extension_at_peak_m: float
    stated_speed_m_per_s: float | None = None
    """The extension is this speed times the time from onset, the rig's stretch included; None: it was recorded."""
    stiffness: Slope | None = None
    """At a stated speed: of rig and specimen together, newtons per metre between 10 and 40 % of the peak. That of
    recorded lengths is `Extension.stiffness`."""


@dataclass(frozen=True, slots=True)
class Extension:
    """What lengths that were taken beside the pull say; metres from the length before the pull. None: not known."""

    points: int
    at_10_percent_m: float | None
    at_50_percent_m: float | None
    at_peak_m: float | None
    """At 10, 50 and 100 % of the peak, where it was first reached."""
    gauge_m: float | None
    """The length before the pull, where lengths were read from a tape."""
    stiffness: Slope | None
    """Newtons per metre, between 10 and 40 % of the peak."""
    first_movement_n: float | None
    """Load from which it moved more than before; None where no such corner is clear."""
    permanent_m: float | None
    """What was left after it was let down."""
    creep_m_per_decade: Slope | None
    """In the longest hold, per tenfold time."""
    unit: str = "mm"
    """In which it was written down."""
    accuracy: float | None = None
    """Relative standard uncertainty of the lengths' scale, as stated; None: `extension.UNSTATED` was assumed."""


@dataclass(frozen=True, slots=True)
class AtCell:
    """Where lever, legs or pulleys lie between cell and specimen: the peak of the load on the cell."""

    factor: float
    """Load at the specimen over load at the cell."""
    relative_standard: float
    peak_n: float
    low_n: float
    high_n: float | None
    words: str


@dataclass(frozen=True, slots=True)
class MarkedMoment:
    """A moment that somebody marked, with the load at it."""

    time_s: float
    load_n: float
    text: str


@dataclass(frozen=True, slots=True)
class Glitch:
    """One sample that no force could make through the converter's filter; it is not used."""

    time_s: float
    load_n: float
    expected_n: float


@dataclass(frozen=True, slots=True, repr=False)
class Summary(Document):
    """Everything that one pull's recording says, with its intervals and doubts. Made by `summarize`.

    Example:
        >>> import breakyard as by
        >>> by.summarize("demo-session/runs/S1.run").failure.manner
        'progressive'
    """

    SCHEMA: ClassVar = "breakyard.summary/1"
    NOUN: ClassVar = "pull's summary"
    AGAIN: ClassVar = "summarize the run again"

    run: Source
    peak: Peak
    strength: Strength
    settled: Settled | None
    first_peak: FirstPeak | None
    """None where no fall of the specimen followed any load, as in a recording that ends while the load rises."""
    failure: Break = field(metadata=face("break"))
    rate: Rate
    drops: tuple[Drop, ...]
    energy: Energy | None
    flags: tuple[str, ...]
    budget: tuple[BudgetLine, ...]
    zero: Zero
    onset_s: float
    end_load_n: float
    """Load when the recording ended."""
    recovery: Recovery | None = None
    plateaus: tuple[Plateau, ...] = ()
    glitches: tuple[Glitch, ...] = ()
    notes: tuple[str, ...] = ()
    """Sentences for people: why a flag was raised and what to do about it."""
    ripple: Ripple | None = None
    extension: Extension | None = None
    """From lengths that were recorded or taken beside the pull."""
    marks: tuple[MarkedMoment, ...] = ()
    at_cell: AtCell | None = None
    """The load at the cell, where that is not the specimen's; None: it is."""
    cycles: tuple[Cycle, ...] = ()
    """Every loading of a specimen that was loaded again and again; the summary is that of the last."""
    protocol: str = ""
    """What was meant to be done, in the words of the notes."""
    filter: Filter | None = None
    """None in summaries made before it was kept."""
    smoothing: Smoothing | None = None
    """None where noise was small enough for the samples themselves, and in older summaries."""
    assumptions: tuple[str, ...] = ()
    """Sentences for people: what the numbers take for granted about angle, temperature and filter."""
    extrapolation: float | None = None
    """The peak in parts of the highest known load of the calibration; None without one, and in older summaries."""
    curve: LoadCurve | None = field(default=None, compare=False, metadata=NOT_IN_JSON)
    """What was read; None in summaries read from a file."""

    def __repr__(self) -> str:
        return f"Summary {self.run.name!r}: {self.text()}"

    def text(self, unit: str = "N") -> str:
        """The peak with its interval, how it broke, and the flags, in a line. Raises: UnitError."""
        peak = self.peak

        def load(value_n: float, way: Callable[[float], float] = round) -> str:
            value = from_newtons(value_n, unit)
            if not value or not math.isfinite(value):
                return f"{value:g}"
            fine = 10.0 ** (4 - math.floor(math.log10(abs(value))))  # five digits
            return f"{way(value * fine) / fine:.5g}"

        # Ends are rounded outwards and bounds downwards, so that nothing is promised that was not computed.
        low = load(peak.low_n, math.floor)
        shown = (
            f"peak at least {low} {unit}"
            if peak.high_n is None
            else f"peak {load(peak.estimate_n)} {unit} ({low} to {load(peak.high_n, math.ceil)})"
        )
        broke = "no break" if self.failure.manner == "none" else f"{self.failure.manner} break"
        return ", ".join([shown, broke, *([f"flags: {' '.join(self.flags)}"] if self.flags else [])])

    def _repr_html_(self) -> str:
        html: str = notebook().summary_html(self)
        return html

    def plot(
        self,
        curve: LoadCurve | None = None,
        *,
        view: View = "pull",
        unit: str = "N",
        title: str = "",
        mode: Mode = "light",
        form: Form = "wide",
    ) -> Picture:
        """Draw the pull with what was read of it, or the moment of its break.

        Args:
            curve: the load curve, for a summary that was read from a file.

        Raises: UsageError (no curve), UnitError.
        """
        picture: Picture = notebook().summary_picture(
            self, curve or self.curve, view=view, unit=unit, title=title, mode=mode, form=form
        )
        return picture

    @property
    def has_first_peak(self) -> bool:
        """Whether the first peak is another one than the peak."""
        first = self.first_peak
        return first is not None and abs(first.time_s - self.peak.time_s) > 2.0 / self.run.rate_hz
