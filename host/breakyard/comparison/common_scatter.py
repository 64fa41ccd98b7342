"""Groups of few specimens, some only "at least", that scatter alike: one scatter learnt from all of them.

Three specimens say little of their own scatter; three groups of three, taken together, say a good deal. The log-linear
model with one scatter (log_linear.py) is fitted with both families that strengths are usually given, Weibull and
log-normal. What two groups' ratio may be is the interval of all ratios that the likelihood-ratio test does not refuse,
its small-sample law simulated (reference.py); a verdict must hold in every family that the data leave plausible, so the
interval is the wider of theirs. Whether the groups do scatter alike is tested first; if not, each keeps its own.

A test and its interval agree because one is made from the other: p is below the risk where the interval leaves out 1.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.comparison.log_linear import FAMILIES, Family, Floats, fit_rows
from breakyard.comparison.many_pairs import ManyPairs
from breakyard.comparison.observations import Observation
from breakyard.comparison.pivots import Pattern, pattern_of
from breakyard.comparison.reference import (
    as_t_squared,
    contrast_factor,
    indicator,
    merged,
    scatter_ratios,
    standard_group,
    survivor_pivots,
)
from breakyard.comparison.weibull import sample_of

IMPLAUSIBLE: Final = 4.0
"""A family is left aside if its log likelihood lies this far below the other's: 55 times less likely."""
UNALIKE: Final = 0.05
"""Groups are taken to scatter differently below this probability."""
FARTHEST: Final = 10.0
"""Logarithm of the farthest ratio looked at; an interval beyond a factor of 20 000 is open."""
LOG_SD: Final = {"weibull": math.pi / math.sqrt(6.0), "log-normal": 1.0}
"""Standard deviation of the logarithm in scales."""
LOG_MEDIAN: Final = {"weibull": math.log(math.log(2.0)), "log-normal": 0.0}
"""Median of the standard curve's logarithm."""


@dataclass(frozen=True, slots=True)
class FamilyFit:
    """One family fitted to all groups with one scatter."""

    family: Family
    scale: float
    """Of the logarithm: 1 / shape for Weibull, its SD for log-normal."""
    cv: float
    """The same as a coefficient of variation (of the logarithms)."""
    log_likelihood: float
    p_alike: float | None
    """Of groups that scatter alike differing so much in scatter; None where fewer than two show any."""


@dataclass(frozen=True, slots=True)
class Contrast:
    """Two groups in one family. Ratio of the loads, first over second; an end is None where it is open."""

    family: Family
    ratio: float | None
    """None where nothing of one group broke: its load is only known from below."""
    ratio_low: float | None
    ratio_high: float | None
    statistic: float | None
    """Likelihood ratio (twice the difference of the logarithms)."""
    p: float
    """Over all pairs that are looked at."""


@dataclass(frozen=True, slots=True)
class CommonScatter:
    """What all groups show of their scatter together."""

    families: tuple[FamilyFit, ...]
    """The likelier first; only those that the data leave plausible."""
    breaks: int
    degrees_of_freedom: int
    alike: bool
    """False: the groups scatter differently, and each keeps its own."""

    @property
    def cv(self) -> float:
        """Coefficient of variation of the likelier family."""
        return self.families[0].cv


class Model:
    """All groups of two specimens or more, prepared; groups are numbered as given."""

    def __init__(self, groups: Sequence[Sequence[Observation]]) -> None:
        self.groups = [tuple(pulls) for pulls in groups]
        self.samples = [
            sample_of([p.value_n for p in pulls], [p.at_least for p in pulls]) for pulls in self.groups
        ]
        self.patterns: list[Pattern] = [
            pattern_of(sample) if sample.failures else () for sample in self.samples
        ]
        # One specimen ranks nothing and shows no scatter; a group in which nothing broke shows no level.
        self.fitted = [
            n for n, sample in enumerate(self.samples) if sample.failures and len(self.groups[n]) > 1
        ]
        self.column = {number: place for place, number in enumerate(self.fitted)}
        self.breaks = sum(self.samples[n].failures for n in self.fitted)
        self.freedom = self.breaks - len(self.fitted)
        self.logs, self.broke, self.group = self._stacked()
        self.design = indicator(self.group, len(self.fitted))
        self.scatter = self._scatter()

    def _stacked(self) -> tuple[Floats, NDArray[np.bool_], NDArray[np.intp]]:
        """Logs about the first load of all, so that digits that all share are not lost; below a first break nothing."""
        logs: list[Floats] = []
        broke: list[NDArray[np.bool_]] = []
        group: list[NDArray[np.intp]] = []
        unit = self.groups[0][0].value_n if self.groups else 1.0
        for place, number in enumerate(self.fitted):
            values = np.array([p.value_n for p in self.groups[number]])
            logs.append(np.log(values / unit))
            broke.append(self.samples[number].broke)
            group.append(np.full(len(values), place))
        if not logs:
            return np.empty(0), np.empty(0, dtype=np.bool_), np.empty(0, dtype=np.intp)
        return np.concatenate(logs), np.concatenate(broke), np.concatenate(group)

    def _least(self, family: Family) -> float:
        """The scatter that the pulls' own uncertainty alone would make, as a scale: never less is believed."""
        pulls = [pull for number in self.fitted for pull in self.groups[number]]
        relative = math.sqrt(sum((p.own_n / p.value_n) ** 2 for p in pulls) / len(pulls))
        return relative / LOG_SD[family]

    def _scatter(self) -> CommonScatter | None:
        if self.freedom < 1:
            return None
        found = []
        for family in FAMILIES:
            fit = fit_rows(
                self.design, self.logs[None, :], self.broke, family, least_scale=self._least(family)
            )
            scale, height = float(fit.scale[0]), float(fit.height[0])
            if not scale > 1e-9 or not math.isfinite(height):
                return None
            sd = scale * LOG_SD[family]
            found.append(FamilyFit(family, scale, sd, height, self._alike(family, height)))
        found.sort(key=lambda one: -one.log_likelihood)
        plausible = tuple(one for one in found if one.log_likelihood > found[0].log_likelihood - IMPLAUSIBLE)
        p = plausible[0].p_alike
        return CommonScatter(plausible, self.breaks, self.freedom, p is None or p > UNALIKE)

    def _alike(self, family: Family, height: float) -> float | None:
        """Probability of so different scatters between groups that scatter alike; simulated."""
        shown = [place for place, number in enumerate(self.fitted) if self.samples[number].failures > 1]
        if len(shown) < 2:
            return None
        if len(shown) < len(self.fitted):
            among = np.isin(self.group, shown)
            design = indicator(self.group[among], len(self.fitted))[:, shown]
            height = float(fit_rows(design, self.logs[None, among], self.broke[among], family).height[0])
        alone, least = 0.0, self._least(family)
        for place in shown:
            own = self.group == place
            fit = fit_rows(
                np.ones((int(own.sum()), 1)),
                self.logs[None, own],
                self.broke[own],
                family,
                least_scale=max(least, 1e-9),
            )
            alone += float(fit.height[0])
        patterns = tuple(sorted(self.patterns[self.fitted[place]] for place in shown))
        ratios = scatter_ratios(family, patterns)
        above = int(np.sum(ratios >= 2.0 * (alone - height)))
        return (1 + above) / (1 + len(ratios))

    def contrasts(
        self, first: int, second: int, *, among: ManyPairs, instrument: float = 0.0
    ) -> tuple[Contrast, ...]:
        """Two groups that scatter alike, in every plausible family, the likelier first; none without any scatter.

        instrument: relative standard uncertainty that it leaves on the ratio.
        """
        if min(len(self.groups[first]), len(self.groups[second])) < 2:
            return ()
        broke = [self.samples[n].failures > 0 for n in (first, second)]
        if self.scatter is None or not any(broke):
            return ()
        made: list[Contrast] = []
        for one in self.scatter.families:
            if not all(broke):
                made.append(self._survivors(one, first, second, among, instrument))
            else:
                made.append(self._contrast(one, first, second, among, instrument))
        return tuple(made)

    def own_contrasts(
        self, first: int, second: int, *, among: ManyPairs, instrument: float = 0.0
    ) -> tuple[Contrast, ...]:
        """The same with a scatter for each group; none unless two or more broke in both."""
        if self.scatter is None or min(self.samples[n].failures for n in (first, second)) < 2:
            return ()
        return tuple(
            self._own_scatter(one.family, first, second, among, instrument) for one in self.scatter.families
        )

    def _contrast(
        self, fitted: FamilyFit, first: int, second: int, among: ManyPairs, instrument: float
    ) -> Contrast:
        """Likelihood ratio with the scatter of all groups; T / factor is F(1, v) by chance."""
        family, least = fitted.family, self._least(fitted.family)
        a, b = self.column[first], self.column[second]
        fit = fit_rows(self.design, self.logs[None, :], self.broke, family, least_scale=least)
        best = float(fit.coefficients[0, a] - fit.coefficients[0, b])
        tied = merged(self.design, a, b)
        others = self.freedom - (len(self.patterns[first]) + len(self.patterns[second]) - 2)
        factor = contrast_factor(family, self.patterns[first], self.patterns[second], others)

        def t_squared(shifts: Floats) -> tuple[Floats, Floats]:
            logs = self.logs[None, :] - shifts[:, None] * (self.group == a)
            held = fit_rows(tied, logs, self.broke, family, least_scale=least).height
            ratio = np.maximum(2.0 * (fitted.log_likelihood - held), 0.0)
            seen = as_t_squared(ratio, self.breaks, self.freedom) / factor
            # The instrument makes every standard error of the ratio longer, whatever the ratio asked for.
            away = (shifts - best) ** 2
            with np.errstate(divide="ignore", invalid="ignore"):
                seen = np.where(seen > 0.0, away / (away / seen + instrument**2), 0.0)
            return np.nan_to_num(seen), ratio

        limit = among.limit_of_t(self.freedom) ** 2
        seen, ratio = t_squared(np.zeros(1))
        p = among.probability_of_t(math.sqrt(float(seen[0])), self.freedom)
        ends = _ends(lambda x: t_squared(x)[0] - limit, best)
        low, high = (None if end is None else math.exp(end) for end in ends)
        return Contrast(family, math.exp(best), low, high, float(ratio[0]), p)

    def _survivors(
        self, fitted: FamilyFit, first: int, second: int, among: ManyPairs, instrument: float
    ) -> Contrast:
        """Nothing of one group broke: how likely is it that as many of the other would all have held its least bound?

        Exact for the fitted patterns: the weakest of m further specimens against the other group's fit is pivotal.
        """
        from scipy import special

        family = fitted.family
        whole = first if self.samples[first].failures == 0 else second
        other = second if whole == first else first
        fit = fit_rows(self.design, self.logs[None, :], self.broke, family, least_scale=self._least(family))
        least = math.log(min(p.value_n for p in self.groups[whole]) / self.groups[0][0].value_n)
        away = least - float(fit.coefficients[0, self.column[other]])
        freedom = self.freedom if self.scatter is not None and self.scatter.alike else 0
        others = max(freedom - (len(self.patterns[other]) - 1), 0)
        pivots = survivor_pivots(family, self.patterns[other], len(self.groups[whole]), others)
        # Both sides share the risk, though bounds can only ever show one of them.
        need = float(np.quantile(pivots, 0.5 + among.of_one / 2.0))
        allowance = float(special.stdtrit(self.freedom, 0.5 + among.of_one / 2.0)) * instrument
        # Where such a bound would lie below the other's level, the instrument's doubt is taken off whole.
        scale = math.hypot(fitted.scale, allowance / need) if need > 0.0 else fitted.scale
        away -= 0.0 if need > 0.0 else allowance
        low, z = away - need * scale, away / scale
        p = among.probability(min(1.0, 2.0 * max(_above(pivots, z), 1.0 / len(pivots))))
        ratio_low = math.exp(low)
        if whole == first:
            return Contrast(family, None, ratio_low, None, None, p)
        return Contrast(family, None, None, 1.0 / ratio_low, None, p)

    def _own_scatter(
        self, family: Family, first: int, second: int, among: ManyPairs, instrument: float
    ) -> Contrast:
        """Medians of two groups that each have a scatter of their own, by generalised pivots (Weerahandi 1993)."""
        drawn: list[Floats] = []
        best = 0.0
        for number, sign, seed in ((first, 1.0, 1), (second, -1.0, 2)):
            own = self.group == self.column[number]
            fit = fit_rows(
                np.ones((int(own.sum()), 1)),
                self.logs[None, own],
                self.broke[own],
                family,
                least_scale=max(self._least(family), 1e-9),
            )
            middle, scale = LOG_MEDIAN[family], float(fit.scale[0])
            standard = standard_group(family, self.patterns[number], seed)
            pivot = (standard.coefficients[:, 0] + middle * (standard.scale - 1.0)) / standard.scale
            at = float(fit.coefficients[0, 0]) + middle * scale
            best += sign * at
            drawn.append(sign * (at - scale * pivot))
        both = drawn[0] + drawn[1]
        if instrument > 0.0:
            both = both + instrument * np.random.default_rng(3).standard_normal(len(both))
        both = np.sort(both)
        low, high = np.quantile(both, [0.5 - among.of_one / 2.0, 0.5 + among.of_one / 2.0])
        below = 1.0 - _above(both, 0.0)
        p = among.probability(min(1.0, 2.0 * max(min(below, 1.0 - below), 1.0 / len(both))))
        return Contrast(
            family,
            math.exp(best),
            math.exp(float(np.clip(low, -700.0, 700.0))),
            math.exp(float(np.clip(high, -700.0, 700.0))),
            None,
            p,
        )


def _above(ordered: Floats, x: float) -> float:
    """Share of a simulated law above x: the inverse of numpy's quantile, so that both always agree."""
    return 1.0 - float(np.interp(x, ordered, np.linspace(0.0, 1.0, len(ordered))))


def _ends(beyond: Callable[[Floats], Floats], best: float) -> tuple[float | None, float | None]:
    """Where a function of shifts, below 0 at `best` and rising away from it, crosses 0 below and above; else None."""
    ways = np.array([-1.0, 1.0])
    steps = np.tile(np.geomspace(1e-5, FARTHEST, 24), (2, 1))
    open_end: NDArray[np.bool_] = np.zeros(2, dtype=np.bool_)
    for turn in range(8):
        above = (beyond((best + ways[:, None] * steps).ravel()) > 0.0).reshape(steps.shape)
        if turn == 0:
            open_end = np.logical_not(above.any(axis=1))
        place = np.argmax(above, axis=1)
        far = steps[[0, 1], place]
        near = np.where(place > 0, steps[[0, 1], np.maximum(place - 1, 0)], 0.0 if turn == 0 else steps[:, 0])
        if turn and np.all((far - near <= 1e-8 * np.maximum(far, 1e-4)) | open_end):
            break
        # The lower end of each bracket is known to lie below 0, and is looked at again only for its place in the row.
        steps = np.linspace(near, far, 12, axis=1)
    low, high = (
        None if gone else best + way * end for gone, way, end in zip(open_end, ways, far, strict=True)
    )
    return low, high
