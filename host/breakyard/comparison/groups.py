"""One group: how much its specimens carry, how much they scatter, and what may be claimed about the next one."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from breakyard.comparison.instrument import own_standard_n, shared_standard
from breakyard.comparison.observations import Observation
from breakyard.comparison.survival import SurvivalStep, kaplan_meier, median_load
from breakyard.comparison.tolerance import (
    BOUNDS,
    BoundKind,
    Outlier,
    lower_bound_n,
    normed_residual,
    one_sided_factor,
    share_surviving,
    spread_n,
)
from breakyard.comparison.weibull import Sample, WeibullFit, fit_weibull, sample_of
from breakyard.comparison.weibull_intervals import (
    SCALE,
    quantile_interval,
    quantile_lower_bound,
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
    """ "normal": mean - factor x SD. "weibull": profile likelihood with censoring. "none"."""
    factor: float | None
    value_n: float | None
    reason: str = ""


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
class Survived:
    """What a group shows in which nothing broke: this share of such parts bears the lowest load that was held."""

    load_n: float
    share: float
    confidence: float


@dataclass(frozen=True, slots=True)
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
    doubts: tuple[Doubt, ...]
    pulls: tuple[Observation, ...]
    notes: tuple[str, ...]


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
        spread=_spread(mean, sd, own, n, shared, coverage),
        own_n=own,
        shared_relative=shared,
        bounds=tuple(_bound(kind, mean, sd, own, n, shared, fit, sample) for kind in BOUNDS),
        weibull=weibull,
        survived=None if not all(censored) else Survived(min(values), share_surviving(n, coverage), coverage),
        survival=steps,
        outlier=_outlier([pull for pull in ordered if not pull.at_least]),
        doubts=tuple(Doubt(pull.specimen, pull.doubts) for pull in ordered if pull.doubts),
        pulls=ordered,
        notes=_notes(n, sum(censored), sd, own, fit),
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
    return None if half == 0.0 else Interval(mean - half, mean + half, coverage)


def _spread(
    mean: float | None, sd: float | None, own: float, n: int, shared: float, coverage: float
) -> Interval | None:
    if mean is None or sd is None or max(sd, own) == 0.0:
        return None
    low, high = spread_n(mean, max(sd, own), n, share=coverage, shared_relative=shared)
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


def _bound(
    kind: BoundKind,
    mean: float | None,
    sd: float | None,
    own: float,
    n: int,
    shared: float,
    fit: WeibullFit | None,
    sample: Sample,
) -> Bound:
    def made(method: str, factor: float | None, value: float | None, reason: str = "") -> Bound:
        return Bound(kind.name, kind.content, kind.confidence, method, factor, value, reason)

    if n < 2:
        return made("none", None, None, "one specimen shows no scatter")
    if mean is not None and sd is not None:
        if max(sd, own) == 0.0:
            return made("none", None, None, "the loads show no scatter at all; were they rounded?")
        factor = one_sided_factor(n, kind.content, kind.confidence)
        value = lower_bound_n(mean, max(sd, own), n, kind, shared_relative=shared)
        why = (
            ""
            if value is not None
            else f"{factor:.2f} standard deviations below the mean is less than nothing"
        )
        return made("normal", factor, value, why)
    if fit is None:
        return made("none", None, None, "fewer than two specimens broke at different loads")
    value = quantile_lower_bound(sample, fit, 1.0 - kind.content, kind.confidence)
    if value is None:
        return made("weibull", None, None, "too few breaks for a bound")
    from scipy import special

    z_shared = float(special.ndtri(kind.confidence)) * shared
    return made("weibull", None, _widened(fit.quantile_n(1.0 - kind.content), value, -z_shared))


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
    if statistic <= critical:
        return None
    return Outlier(broken[index].specimen, broken[index].value_n, statistic, critical)


def _notes(n: int, censored: int, sd: float | None, own: float, fit: WeibullFit | None) -> tuple[str, ...]:
    notes = []
    if n == 1:
        notes.append("One specimen: its scatter is unknown, so nothing can be said about the next one.")
    if censored:
        which = "all" if censored == n else f"{censored} of {n}"
        notes.append(
            f'{which} did not break or went off scale: their loads are "at least", and mean and SD are not defined'
            + ("." if fit is None else "; the Weibull curve takes them as bounds.")
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
