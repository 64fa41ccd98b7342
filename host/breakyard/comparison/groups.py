"""One group: how much its specimens carry, how much they scatter, and what may be claimed about the next one."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from breakyard.comparison.bounds import CurveBound, Loads, curve_bounds, loads_of, lowest, plausible_curves
from breakyard.comparison.goodness import CURVES, Curve
from breakyard.comparison.instrument import own_standard_n, shared_standard
from breakyard.comparison.observations import Observation
from breakyard.comparison.survival import SurvivalStep, kaplan_meier, median_load
from breakyard.comparison.tolerance import (
    BOUNDS,
    BoundKind,
    Outlier,
    normed_residual,
    share_surviving,
    spread_n,
)
from breakyard.comparison.weibull import Sample, WeibullFit, fit_weibull, sample_of
from breakyard.comparison.weibull_intervals import (
    SCALE,
    quantile_interval,
    shape_interval,
)


@dataclass(frozen=True, slots=True)
class Interval:
    """An interval in newtons, for the group's mean (or median) as an absolute claim."""

    low_n: float
    high_n: float | None
    coverage: float


@dataclass(frozen=True, slots=True)
class Bound:
    """A load that a stated share of such parts bears, with a stated confidence; None with the reason why not."""

    name: str
    content: float
    confidence: float
    method: str
    """The curve that gives it, the lowest of the plausible ones: "normal", "log-normal", "weibull"; or "none"."""
    value_n: float | None
    reason: str = ""
    curves: tuple[CurveBound, ...] = ()
    """What each plausible curve gives."""


@dataclass(frozen=True, slots=True)
class Weibull:
    """The group's Weibull curve; intervals are profile-likelihood, for the scatter alone."""

    shape: float
    shape_low: float | None
    shape_high: float | None
    scale_n: float
    scale_low_n: float | None
    scale_high_n: float | None
    median_n: float
    median_low_n: float | None
    median_high_n: float | None
    failures: int


@dataclass(frozen=True, slots=True)
class Doubt:
    """A pull that should be looked at again. It is in every number all the same."""

    specimen: str
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Slip:
    """Loads so far from their group's others that a slip is likelier than scatter: a decimal point, a unit."""

    specimens: tuple[str, ...]
    times: float
    """How many times the others (above 1), or a share of them (below 1)."""


@dataclass(frozen=True, slots=True)
class Survived:
    """What a group shows in which nothing broke: this share of such parts bears the lowest load that was held."""

    load_n: float
    share: float
    confidence: float


@dataclass(frozen=True, slots=True, repr=False)
class Group:
    """Everything said of one group. Where a field is None the data cannot say it; `notes` say why.

    `mean_n`, `sd_n`, `cv`: only where every specimen broke. `interval`: of the mean where all broke, else of the
    Weibull median; it includes the instrument's shared error, which more specimens do not shrink.
    """

    name: str
    n: int
    at_least: int
    mean_n: float | None
    sd_n: float | None
    cv: float | None
    median_n: float | None
    min_n: float
    max_n: float
    interval: Interval | None
    spread: Interval | None
    """Holds the share `coverage` of such parts, with the same confidence (normal, two-sided)."""
    own_n: float
    """Typical standard uncertainty of one pull by itself; it is part of the scatter."""
    shared_relative: float
    """Relative standard uncertainty that all pulls have in common (calibration)."""
    bounds: tuple[Bound, ...]
    weibull: Weibull | None
    survived: Survived | None
    survival: tuple[SurvivalStep, ...]
    outlier: Outlier | None
    slip: Slip | None
    doubts: tuple[Doubt, ...]
    pulls: tuple[Observation, ...]
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        bounds = f' ({self.at_least} only "at least")' if self.at_least else ""
        mean = "" if self.mean_n is None else f", mean_n={self.mean_n:.5g}"
        return f"Group {self.name!r}: n={self.n}{bounds}{mean}, {self.min_n:.5g} to {self.max_n:.5g}"


def describe(name: str, pulls: Sequence[Observation], *, coverage: float = 0.95) -> Group:
    """Describe one group of one observation or more."""
    ordered = tuple(pulls)
    values = [pull.value_n for pull in ordered]
    censored = [pull.at_least for pull in ordered]
    complete = not any(censored)
    n, shared, own = len(values), shared_standard(ordered), own_standard_n(ordered)
    mean = float(np.mean(values)) if complete else None
    sd = scatter_n(values) if complete and n >= 2 else None
    fit = fit_weibull(values, censored)
    sample = sample_of(values, censored)
    curves, fitting = plausible_curves(values) if complete else (CURVES, True)
    loads = loads_of(values, censored, own, shared)
    bounds = tuple(_bound(kind, loads, curves) for kind in BOUNDS)
    weibull = None if fit is None else _weibull(sample, fit, coverage)
    steps = kaplan_meier(values, censored, coverage=coverage)
    if mean is not None and sd is not None:
        interval = _mean_interval(mean, max(sd, own), n, shared, coverage)
    else:
        interval = None if weibull is None else _median_interval(weibull, shared, coverage)
    return Group(
        name=name,
        n=n,
        at_least=sum(censored),
        mean_n=mean,
        sd_n=sd,
        cv=None if sd is None or mean is None else sd / mean,
        median_n=float(np.median(values)) if complete else median_load(steps),
        min_n=min(values),
        max_n=max(values),
        interval=interval,
        spread=_spread(mean, sd, loads, curves, coverage),
        own_n=own,
        shared_relative=shared,
        bounds=bounds,
        weibull=weibull,
        survived=None
        if not all(censored)
        else Survived(min(pull.sure_n for pull in pulls), share_surviving(n, coverage), coverage),
        survival=steps,
        outlier=_outlier([pull for pull in ordered if not pull.at_least]),
        slip=_slip([pull for pull in ordered if not pull.at_least]),
        doubts=tuple(Doubt(pull.specimen, pull.doubts) for pull in ordered if pull.doubts),
        pulls=ordered,
        notes=_notes(n, sum(censored), sd, own, fit, fitting),
    )


def scatter_n(values: Sequence[float]) -> float:
    """Standard deviation (n - 1), without losing digits that all values share."""
    data = np.asarray(values, dtype=np.float64)
    return float(np.std(data - data[0], ddof=1))


def _mean_interval(mean: float, sd: float, n: int, shared: float, coverage: float) -> Interval | None:
    """Student's t on the scatter, and the shared error in quadrature.

    Not by effective degrees of freedom (JCGM 100, G.4): with two or three specimens those would let an added error
    shorten the interval.
    """
    from scipy import special

    upper = 0.5 + coverage / 2.0
    of_scatter = float(special.stdtrit(n - 1, upper)) * sd / n**0.5
    of_instrument = float(special.ndtri(upper)) * shared * mean
    half = float(np.hypot(of_scatter, of_instrument))
    # A load is never below nothing.
    return None if half == 0.0 else Interval(max(mean - half, 0.0), mean + half, coverage)


def _spread(
    mean: float | None, sd: float | None, loads: Loads, curves: tuple[Curve, ...], coverage: float
) -> Interval | None:
    """Two-sided normal; its lower end is that of the lowest plausible curve, as the bounds'."""
    n = len(loads.values)
    if mean is None or sd is None or max(sd, loads.own_n) == 0.0:
        return None
    low, high = spread_n(mean, max(sd, loads.own_n), n, share=coverage, shared_relative=loads.shared)
    # All but half of what may lie outside must lie above the lower end.
    kind = BoundKind("spread", 0.5 + coverage / 2.0, coverage)
    below = lowest(curve_bounds(loads, kind, [curve for curve in curves if curve != "normal"]))
    if below is not None:
        low = min(low, below.value_n or 0.0)
    return Interval(low, high, coverage)


def _median_interval(weibull: Weibull, shared: float, coverage: float) -> Interval | None:
    from scipy import special

    if weibull.median_low_n is None:
        return None
    z_shared = float(special.ndtri(0.5 + coverage / 2.0)) * shared
    return Interval(
        _widened(weibull.median_n, weibull.median_low_n, -z_shared),
        None
        if weibull.median_high_n is None
        else _widened(weibull.median_n, weibull.median_high_n, z_shared),
        coverage,
    )


def _widened(estimate: float, end: float, relative: float) -> float:
    """An end of an interval of the scatter, with a shared relative error added in quadrature on the log scale."""
    if relative == 0.0:
        return end
    way = float(np.hypot(np.log(end / estimate), relative))
    return estimate * float(np.exp(way if relative > 0.0 else -way))


def _bound(kind: BoundKind, loads: Loads, curves: tuple[Curve, ...]) -> Bound:
    def made(method: str, value: float | None, reason: str = "", each: tuple[CurveBound, ...] = ()) -> Bound:
        return Bound(kind.name, kind.content, kind.confidence, method, value, reason, each)

    if loads.complete and len(loads.values) < 2:
        return made("none", None, "one specimen shows no scatter")
    if loads.complete and min(loads.values) == max(loads.values) and loads.own_n == 0.0:
        return made("none", None, "the loads show no scatter at all; were they rounded?")
    if not loads.complete and loads.weibull is None:
        return made("none", None, "fewer than two specimens broke at different loads")
    each = curve_bounds(loads, kind, [c for c in curves if c != "weibull" or loads.weibull is not None])
    least = lowest(each)
    assert least is not None
    why = "" if least.value_n is not None else f"by the {least.curve} curve too few broke to claim any load"
    return made(least.curve, least.value_n, why, each)


def _weibull(sample: Sample, fit: WeibullFit, coverage: float) -> Weibull:
    shape = shape_interval(sample, fit, coverage=coverage)
    scale = quantile_interval(sample, fit, SCALE, coverage=coverage)
    median = quantile_interval(sample, fit, 0.5, coverage=coverage)
    return Weibull(
        shape=fit.shape,
        shape_low=shape.low,
        shape_high=shape.high,
        scale_n=fit.scale_n,
        scale_low_n=scale.low,
        scale_high_n=scale.high,
        median_n=fit.quantile_n(0.5),
        median_low_n=median.low,
        median_high_n=median.high,
        failures=fit.failures,
    )


def _outlier(broken: Sequence[Observation]) -> Outlier | None:
    if len(broken) < 3:
        return None
    index, statistic, critical = normed_residual([pull.value_n for pull in broken])
    if statistic <= critical or _rounded(broken, index):
        return None
    return Outlier(broken[index].specimen, broken[index].value_n, statistic, critical)


ROUNDED: Final = 0.10
"""Of the loads: nearer to others that all agree, one differs by a step or two of what they were rounded to."""


def _rounded(broken: Sequence[Observation], index: int) -> bool:
    """Do the others agree to the last digit, so that the scatter it is held against is rounding alone?"""
    others = [pull.value_n for place, pull in enumerate(broken) if place != index]
    return max(others) == min(others) and abs(broken[index].value_n - others[0]) <= ROUNDED * others[0]


SLIP: Final = 4.0
"""This many times its group's other loads, while these lie within a factor of SLIP_OTHERS: no scatter of like parts."""
SLIP_OTHERS: Final = 2.0


def _slip(broken: Sequence[Observation]) -> Slip | None:
    """The load to look at first, if one lies absurdly far from the others; of two far apart, both."""
    if len(broken) < 2:
        return None
    ordered = sorted(broken, key=lambda pull: pull.value_n)
    if len(ordered) == 2:
        times = ordered[1].value_n / ordered[0].value_n
        return Slip(tuple(pull.specimen for pull in ordered), times) if times >= SLIP else None
    for odd, others in ((ordered[-1], ordered[:-1]), (ordered[0], ordered[1:])):
        times = odd.value_n / float(np.median([pull.value_n for pull in others]))
        if others[-1].value_n < SLIP_OTHERS * others[0].value_n and not 1.0 / SLIP < times < SLIP:
            return Slip((odd.specimen,), times)
    return None


def _notes(
    n: int, censored: int, sd: float | None, own: float, fit: WeibullFit | None, fitting: bool
) -> tuple[str, ...]:
    notes = []
    if n == 1:
        notes.append("One specimen: its scatter is unknown, so nothing can be said about the next one.")
    if censored:
        which = "all" if censored == n else f"{censored} of {n}"
        notes.append(
            f'{which} did not break or went off scale: their loads are "at least", and mean and SD are not defined'
            + ("." if fit is None else "; the Weibull curve takes them as bounds.")
        )
    if not fitting:
        notes.append(
            "No usual curve (normal, log-normal, Weibull) fits these loads, as where two kinds of parts are mixed: "
            "look at them one by one before trusting a bound."
        )
    if sd is not None and sd == 0.0 and own == 0.0:
        notes.append(
            "The loads show no scatter at all; they were probably rounded, and no interval is given."
        )
    elif sd is not None and sd < own:
        notes.append(
            "The specimens scatter less than the instrument by itself would; its own uncertainty is used instead."
        )
    return tuple(notes)
