"""Range plan: cell, gain and rate against the load that is expected, before anything is pulled.

Loads are those on the specimen unless a name says "cell". Ratio is the load on all cells together per load on the
specimen (a lever or a purchase between them); cells in parallel share equally.
"""

import math
from dataclasses import dataclass, field, replace
from typing import ClassVar, Final, Literal

from breakyard.calibration.plate import COUNTS_PER_MV_V_AT_GAIN_1, DEFAULT_NONLINEARITY, Plate
from breakyard.document import NOT_IN_JSON, Document, face
from breakyard.errors import UsageError
from breakyard.plan import events, rules
from breakyard.plan.quantities import Finding, count_findings
from breakyard.plan.range_findings import range_findings
from breakyard.plan.recommend import Recommendation, recommend
from breakyard.plan.rules import LOADINGS, Loading
from breakyard.shown import Form, Mode, Picture, notebook

GAINS: Final = (128, 64, 32)
RAIL: Final = 2**23 - 1
NOISE_NV: Final = ((10.0, 50.0), (80.0, 90.0))
"""Data sheet, gain 128: conversions per second, nV rms at the input."""
PEAK_TO_PEAK: Final = 6.6
"""Of the standard deviation: one reading in 1000 lies outside (normal distribution)."""

LimitName = Literal["clip", "capacity", "safe overload", "ultimate"]


@dataclass(frozen=True, slots=True)
class RangeQuestion:
    """What is to be pulled, with what. `supply_v` is the excitation of the bridge; noise depends on it, nothing else.

    Raises: UsageError, one line, for what is not possible.
    """

    ALSO_IN_JSON: ClassVar = {
        "capacity_n": "plate.capacity_n",
        "rated_output_mv_v": "rated_output_mv_v",
        "loading": "loading.name",
        "fast_to_peak_s": "time_to_peak_s.0",
        "slow_to_peak_s": "time_to_peak_s.1",
    }

    expected_low_n: float
    expected_high_n: float
    plate: Plate = field(metadata=NOT_IN_JSON)
    gain: int = 128
    rate_hz: float = 80.0
    cells: int = 1
    ratio: float = 1.0
    sheaves: int = 0
    loading: Loading = field(default=LOADINGS["winch"], metadata=NOT_IN_JSON)
    seconds_to_peak: tuple[float, float] | None = field(default=None, metadata=NOT_IN_JSON)
    surprise: float = 2.0
    supply_v: float = 3.3
    safe_overload: float = 1.5
    ultimate: float = 3.0

    def __post_init__(self) -> None:
        if not 0.0 < self.expected_low_n <= self.expected_high_n < math.inf:
            raise UsageError("the expected load must be more than zero, its lower end first")
        if self.plate.rated_output_mv_v is None:
            raise UsageError("the cell's rated output is needed: its plate says 1, 2 or 3 mV/V")
        if self.gain not in GAINS:
            raise UsageError(f"gain {self.gain} does not exist: the converter has 128, 64 and 32 (channel B)")
        if not 1 <= self.cells <= 16:
            raise UsageError(f"{self.cells} cells in parallel: give 1 to 16")
        if not 0.001 <= self.ratio <= 1000.0:
            raise UsageError(
                f"a ratio of {self.ratio:g}: it is the load on the cell per load on the specimen, as 0.25"
            )
        if not 0 <= self.sheaves <= 16:
            raise UsageError(f"{self.sheaves} sheaves: give 0 to 16")
        if not 1.0 <= self.surprise <= 20.0:
            raise UsageError(f"a surprise factor of {self.surprise:g}: give 1 to 20")
        if not 1.0 <= self.supply_v <= 15.0:
            raise UsageError(f"an excitation of {self.supply_v:g} V: boards give 2.7 to 5")
        if not 1.0 <= self.safe_overload <= self.ultimate <= 20.0:
            raise UsageError("safe overload and ultimate are multiples of the capacity, as 1.5 and 3")
        slow_and_fast = self.seconds_to_peak or (1.0, 1.0)
        if not 0.0 < slow_and_fast[0] <= slow_and_fast[1] < math.inf:
            raise UsageError("the time from slack to the peak must be more than zero, the shorter first")
        events.shortest_event_s(self.rate_hz)

    @property
    def rated_output_mv_v(self) -> float:
        """Rated output without its sign, which only says which way the cell is wired."""
        return abs(self.plate.rated_output_mv_v or 0.0)

    @property
    def capacity_n(self) -> float:
        """Load on the specimen that puts every cell at its capacity."""
        return self.plate.capacity_n * self.cells / self.ratio

    @property
    def time_to_peak_s(self) -> tuple[float, float]:
        """Seconds from slack to the peak, fast and slow: as stated, else those of the loading."""
        return self.seconds_to_peak or self.loading.seconds_to_peak


@dataclass(frozen=True, slots=True)
class LoadPoint:
    """One load on the specimen and what it is to each part; shares are 1 at 100 %."""

    load_n: float
    cell_n: float
    """On each cell."""
    mv_v: float
    counts: int
    """What the converter says: the rail where it clips."""
    of_converter: float
    of_capacity: float
    of_safe_overload: float
    of_ultimate: float


@dataclass(frozen=True, slots=True)
class Limit:
    """A load on the specimen at which something ends. `low_n` allows for a plate that is 10 % out (clip only)."""

    name: LimitName
    load_n: float
    low_n: float


@dataclass(frozen=True, slots=True, repr=False)
class RangePlan(Document):
    """The answer. Limits are in the order in which a rising load meets them."""

    SCHEMA: ClassVar = "breakyard.range/1"
    NOUN: ClassVar = "range plan"
    RULES: ClassVar = (
        rules.RAILS,
        rules.NOISE,
        rules.CELL_LIMITS,
        rules.RATED_OUTPUT,
        rules.EVENT,
        rules.RAMP,
        rules.SAMPLING,
        rules.JERK,
        rules.LOADING_TIMES,
        rules.CELL_ERROR,
        rules.CELL_SIZE,
    )
    ALSO_IN_JSON: ClassVar = {
        "ok": "ok",
        "first": "first",
        "stop_n": "stop_n",
        "verdict": "verdict",
        "noise_peak_to_peak_n": "noise_peak_to_peak_n",
        "loading.slowest_n_per_s": "loading_n_per_s.0",
        "loading.fastest_n_per_s": "loading_n_per_s.1",
        "rules": "RULES",
    }

    question: RangeQuestion
    at_expected: LoadPoint
    at_surprise: LoadPoint
    limits: tuple[Limit, ...]
    step_n: float
    """One count, as load on the specimen."""
    noise_n: float
    """Standard deviation of one sample."""
    cell_error_n: float
    """Zero and non-linearity of the cell, from its sheet or the default."""
    shortest_event_s: float
    fastest_order_3_n_per_s: float = field(metadata=face("fastest_loading.order_3_n_per_s"))
    fastest_order_4_n_per_s: float = field(metadata=face("fastest_loading.order_4_n_per_s"))
    fastest_sampled_n_per_s: float = field(metadata=face("fastest_loading.sampling_only_n_per_s"))
    """For 1 % of the lower expected load: by the largest sample, filter of order 3 and 4, and without a filter."""
    loading_n_per_s: tuple[float, float] = field(metadata=NOT_IN_JSON)
    """Slowest and fastest loading that is to be expected."""
    miss: float = field(metadata=face("loading.largest_sample_low_by"))
    """Share of the peak by which the largest sample may be low at the fastest loading."""
    recommendation: Recommendation
    findings: tuple[Finding, ...] = ()

    def __repr__(self) -> str:
        low, high = self.question.expected_low_n, self.question.expected_high_n
        return f"RangePlan for {low:.5g} to {high:.5g} N: {count_findings(self.findings, 'fits', 'does not fit')}"

    def _repr_html_(self) -> str:
        html: str = notebook().findings_html(repr(self), self.findings)
        return html

    def plot(self, *, unit: str = "N", mode: Mode = "light", form: Form = "wide") -> Picture:
        """Draw the expected load over the ranges of cell and converter. Raises: UnitError."""
        picture: Picture = notebook().range_picture(self, unit=unit, mode=mode, form=form)
        return picture

    @property
    def ok(self) -> bool:
        """Nothing saturates and nothing is damaged at the expected load."""
        return all(finding.level != "no" for finding in self.findings)

    @property
    def first(self) -> Limit:
        """What a rising load meets first: the end of the converter's range or the cell's safe overload."""
        return next(limit for limit in self.limits if limit.name in ("clip", "safe overload"))

    @property
    def stop_n(self) -> float:
        """Stop load of the cell: its safe overload, or before that the lowest load at which the converter may clip."""
        return min(self.limit("safe overload").load_n, self.limit("clip").low_n)

    @property
    def noise_peak_to_peak_n(self) -> float:
        """Between the ends of 999 samples in 1000."""
        return PEAK_TO_PEAK * self.noise_n

    @property
    def verdict(self) -> str:
        """One line: does it fit?"""
        levels = [finding.level for finding in self.findings]
        if "no" in levels:
            return "does not fit: " + next(f.text for f in self.findings if f.level == "no")
        cautions = levels.count("caution")
        if cautions:
            return f"fits the expected load; {cautions} caution{'s' if cautions > 1 else ''} below"
        return "fits: cell, gain and rate suit the expected load, and twice the surprise is neither clipped nor harmful"

    def limit(self, name: LimitName) -> Limit:
        """The limit of this name."""
        return next(limit for limit in self.limits if limit.name == name)


def plan_range(question: RangeQuestion, *, unit: str = "N") -> RangePlan:
    """Answer a range question; `unit` is for the sentences only.

    Sources: HX711 data sheet (rails, noise), OIML R 60:2021 Annex C (150 %, 300 %), ASTM STP19268S (events).
    """
    capacity_n, peak_n = question.capacity_n, question.expected_high_n
    clip_n = rail_mv_v(question.gain) / question.rated_output_mv_v * capacity_n
    fast_s, slow_s = question.time_to_peak_s
    limits = (
        Limit("clip", clip_n, clip_n / (1.0 + question.plate.rated_output_tolerance)),
        Limit("capacity", capacity_n, capacity_n),
        Limit("safe overload", question.safe_overload * capacity_n, question.safe_overload * capacity_n),
        Limit("ultimate", question.ultimate * capacity_n, question.ultimate * capacity_n),
    )
    mv_v_per_n = question.rated_output_mv_v / capacity_n
    error = question.plate.nonlinearity
    bare = RangePlan(
        question=question,
        at_expected=_point(question, peak_n),
        at_surprise=_point(question, question.surprise * peak_n),
        limits=tuple(sorted(limits, key=lambda limit: limit.load_n)),
        step_n=1.0 / (counts_per_mv_v(question.gain) * mv_v_per_n),
        noise_n=noise_nv(question.rate_hz, question.gain) * 1e-6 / question.supply_v / mv_v_per_n,
        cell_error_n=(DEFAULT_NONLINEARITY if error is None else error) * capacity_n,
        shortest_event_s=events.shortest_event_s(question.rate_hz),
        fastest_order_3_n_per_s=events.fastest_ramp_n_per_s(
            question.expected_low_n, question.rate_hz, order=3
        ),
        fastest_order_4_n_per_s=events.fastest_ramp_n_per_s(
            question.expected_low_n, question.rate_hz, order=4
        ),
        fastest_sampled_n_per_s=events.fastest_sampled_n_per_s(question.expected_low_n, question.rate_hz),
        loading_n_per_s=(question.expected_low_n / slow_s, peak_n / fast_s),
        miss=min(1.0, events.largest_miss(1.0 / fast_s, question.rate_hz, order=4)),
        recommendation=recommend(
            expected=(question.expected_low_n, peak_n),
            surprise=question.surprise,
            cells=question.cells,
            ratio=question.ratio,
            clip_shares={gain: rail_mv_v(gain) / question.rated_output_mv_v for gain in GAINS},
            output_tolerance=question.plate.rated_output_tolerance,
            safe_overload=question.safe_overload,
            cell_error=DEFAULT_NONLINEARITY if error is None else error,
        ),
    )
    return replace(bare, findings=range_findings(bare, unit))


def counts_per_mv_v(gain: int) -> float:
    """Counts for one mV/V: 2 147 483.648 at gain 128, exact because the converter is ratiometric."""
    return gain * COUNTS_PER_MV_V_AT_GAIN_1


def rail_mv_v(gain: int) -> float:
    """Input in mV/V at the converter's upper rail, 0x7FFFFF: 3.906 at gain 128."""
    return RAIL / counts_per_mv_v(gain)


def noise_nv(rate_hz: float, gain: int) -> float:
    """Noise of one conversion at the input, nV rms: the data sheet's 50 (10/s) and 90 (80/s) at gain 128.

    Between them by a power law, above 80/s with the root of the rate, below 10/s not better. Lower gains are not
    stated: taken as the same number of counts, which is the worse case.
    """
    (slow, slow_nv), (fast, fast_nv) = NOISE_NV
    exponent = math.log(fast_nv / slow_nv) / math.log(fast / slow) if rate_hz <= fast else 0.5
    at_128 = fast_nv * math.pow(max(rate_hz, slow) / fast, exponent)
    return at_128 * 128.0 / gain


def _point(question: RangeQuestion, load_n: float) -> LoadPoint:
    share = load_n / question.capacity_n
    mv_v = share * question.rated_output_mv_v
    ideal = mv_v * counts_per_mv_v(question.gain)
    return LoadPoint(
        load_n=load_n,
        cell_n=load_n * question.ratio / question.cells,
        mv_v=mv_v,
        counts=min(RAIL, round(ideal)),
        of_converter=ideal / RAIL,
        of_capacity=share,
        of_safe_overload=share / question.safe_overload,
        of_ultimate=share / question.ultimate,
    )
