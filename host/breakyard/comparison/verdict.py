"""One pair of groups: what may honestly be said, in plain words with numbers.

"Carries more" where the interval of the ratio leaves out 1: of the model with one scatter for all groups, in each
family that the data leave plausible, and, where every specimen of both groups broke, of Welch's test with a scatter
for each as well. The widest of them is shown and the largest probability, over the whole family of pairs, so that the
verdict, the interval and the probability always say the same. Otherwise "no difference shown" only if the interval
rules out the difference that matters, else "can't tell: too few".
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from breakyard.comparison.censored import beats_censored
from breakyard.comparison.common_scatter import Contrast, Model
from breakyard.comparison.groups import Group
from breakyard.comparison.instrument import ratio_standard
from breakyard.comparison.many_pairs import ManyPairs
from breakyard.comparison.pairwise import Beats, OwnScatter, Ranks, beats, own_scatter, ranks
from breakyard.comparison.single import Single, single
from breakyard.comparison.survival import LogRank, log_rank
from breakyard.comparison.words import sentence
from breakyard.errors import UsageError
from breakyard.plan.specimens import specimens_per_group

Verdict = Literal["first_more", "second_more", "no_difference_shown", "too_few"]
Method = Literal["common_scatter", "own_scatter", "survivors", "none"]

POWER: Final = 0.8
"""Chance that the number of specimens named would show the difference that matters."""


@dataclass(frozen=True, slots=True, repr=False)
class Pair:
    """Two groups compared. Ratios are first over second; fields are None where the data cannot carry them."""

    first: str
    second: str
    verdict: Verdict
    sentence: str
    method: Method
    """What the verdict rests on. "common_scatter": all groups scatter alike; "own_scatter": each by itself;
    "survivors": nothing of one group broke, and the bounds that it held are held against the other's scatter."""
    p: float | None
    """Probability of so large a difference by chance, for the whole family of pairs."""
    ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    separated: Literal["first", "second"] | None
    """Every specimen of this group held more than any of the other is known to have held."""
    instrument_relative: float
    """Relative standard uncertainty that the instrument leaves on the ratio, after what cancels."""
    needed_per_group: int | None
    """Specimens per group that would show the difference that matters, at the scatter seen, with POWER."""
    scatter: float | None
    """The scatter seen (a coefficient of variation) that this number rests on."""
    own_scatter: OwnScatter | None
    common_scatter: tuple[Contrast, ...]
    ranks: Ranks | None
    log_rank: LogRank | None
    beats: Beats | None
    single: Single | None

    def __repr__(self) -> str:
        return f"Pair {self.first!r}, {self.second!r}: {self.sentence.partition(';')[0].rstrip('.')}"


def pair_of(
    first: Group,
    second: Group,
    *,
    model: tuple[Model, int, int] | None = None,
    groups: int = 2,
    pairs: int | None = None,
    coverage: float = 0.95,
    matters: float = 0.1,
) -> Pair:
    """Compare two groups of a family of `groups`, of which `pairs` pairs are looked at (all of them if None).

    model: all groups of the family, prepared, and these two groups' numbers in it; made from the two alone if None.
    matters: the relative difference worth knowing about.
    """
    looked = pairs or groups * (groups - 1) // 2
    prepared, a, b = model or (Model([first.pulls, second.pulls]), 0, 1)
    weighed = weigh(prepared, a, b, ManyPairs(groups, looked, coverage))
    alike = prepared.scatter is not None and prepared.scatter.alike
    scatter = _scatter(prepared, first, second, alike)
    pair = Pair(
        first=first.name,
        second=second.name,
        verdict=verdict_of(weighed.low, weighed.high, matters),
        sentence="",
        method=weighed.method,
        p=weighed.p,
        ratio=weighed.ratio if weighed.method != "none" else _seen(first, second),
        ratio_low=weighed.low,
        ratio_high=weighed.high,
        separated=_separated(first, second),
        instrument_relative=ratio_standard(first.pulls, second.pulls),
        needed_per_group=_needed(scatter, groups, coverage, matters),
        scatter=scatter,
        own_scatter=weighed.own,
        common_scatter=weighed.common,
        ranks=ranks(first.pulls, second.pulls) if min(first.n, second.n) >= 2 else None,
        log_rank=_log_rank(first, second),
        beats=_beats(first, second, coverage),
        single=single(first, second, coverage=coverage) if min(first.n, second.n) == 1 else None,
    )
    return replace(pair, sentence=sentence(pair, first, second, coverage=coverage, matters=matters))


@dataclass(frozen=True, slots=True)
class CautiousRatio:
    """Two groups' ratio by everything that applies, the most cautious of it: widest interval, largest probability."""

    method: Method
    p: float | None
    ratio: float | None
    low: float | None
    high: float | None
    own: OwnScatter | None
    common: tuple[Contrast, ...]


def weigh(model: Model, first: int, second: int, among: ManyPairs) -> CautiousRatio:
    """Weigh two groups of a model, by their numbers in it."""
    pulls = model.groups[first], model.groups[second]
    instrument = ratio_standard(*pulls)
    alike = model.scatter is not None and model.scatter.alike
    own = own_scatter(*pulls, groups=among.groups_counted, coverage=among.coverage)
    found: list[Contrast | OwnScatter] = []
    if alike:
        found += model.contrasts(first, second, among=among, instrument=instrument)
    else:
        # Two that happen to agree look unlike the others, too: the pair's own common scatter has a say all the same.
        found += Model(pulls).contrasts(0, 1, among=among, instrument=instrument)
        if own is None and found and found[0].ratio is not None:
            apart = model.own_contrasts(first, second, among=among, instrument=instrument)
            found = [*apart, *found] if apart else []
    common = tuple(one for one in found if isinstance(one, Contrast))
    if own is not None:
        found.append(own)
    if not found:
        return CautiousRatio("none", None, None, None, None, None, ())
    method: Method = "common_scatter" if alike and common else "own_scatter"
    if found[0].ratio is None:
        method = "survivors"
    return CautiousRatio(
        method=method,
        p=max(one.p for one in found),
        ratio=found[0].ratio,
        low=_least([one.ratio_low for one in found]),
        high=_most([one.ratio_high for one in found]),
        own=own,
        common=common,
    )


def _least(ends: Sequence[float | None]) -> float | None:
    known = [end for end in ends if end is not None]
    return min(known) if len(known) == len(ends) else None


def _most(ends: Sequence[float | None]) -> float | None:
    known = [end for end in ends if end is not None]
    return max(known) if len(known) == len(ends) else None


def check_shares(coverage: float, matters: float) -> None:
    """Refuse a coverage or a difference that matters which is none. Raises: UsageError."""
    if not 0.5 <= coverage < 1.0:
        raise UsageError(
            f"a coverage of {coverage:g} is not possible: give a share from 0.5 to below 1, as 0.95"
        )
    if not 0.0 < matters < 10.0:
        raise UsageError(f"a difference that matters of {matters:g} is not possible: give a share, as 10%")


def verdict_of(low: float | None, high: float | None, matters: float) -> Verdict:
    """What an interval of a ratio says; `matters` is the relative difference worth knowing about."""
    if low is not None and low > 1.0:
        return "first_more"
    if high is not None and high < 1.0:
        return "second_more"
    if low is not None and high is not None and low > 1.0 / (1.0 + matters) and high < 1.0 + matters:
        return "no_difference_shown"
    return "too_few"


def _seen(first: Group, second: Group) -> float | None:
    """The ratio of what was seen, where no model carries one."""
    if first.mean_n is not None and second.mean_n is not None:
        return first.mean_n / second.mean_n
    return None


def _log_rank(first: Group, second: Group) -> LogRank | None:
    """It assumes nothing of the scatter's form and stands beside the verdict; with few specimens it shows little."""
    held = first.at_least + second.at_least
    if held in (0, first.n + second.n) or min(first.n, second.n) < 2:
        return None
    return log_rank(
        [pull.value_n for pull in first.pulls],
        [pull.at_least for pull in first.pulls],
        [pull.value_n for pull in second.pulls],
        [pull.at_least for pull in second.pulls],
    )


def _separated(first: Group, second: Group) -> Literal["first", "second"] | None:
    if first.min_n > second.max_n:
        return "first"
    return "second" if second.min_n > first.max_n else None


def _scatter(model: Model, first: Group, second: Group, alike: bool) -> float | None:
    """The scatter of all groups where they scatter alike, else these two groups' own."""
    if alike and model.scatter is not None:
        return model.scatter.cv
    known = [(group.cv, group.n) for group in (first, second) if group.cv]
    if not known:
        return None
    freedom = sum(n - 1 for _, n in known)
    return math.sqrt(sum((n - 1) * cv * cv for cv, n in known if cv) / freedom)


def _needed(scatter: float | None, groups: int, coverage: float, matters: float) -> int | None:
    if scatter is None:
        return None
    try:
        return specimens_per_group(
            matters, min(scatter, 1.0), confidence=coverage, power_wanted=POWER, groups=groups
        )
    except UsageError:
        return None  # more than anyone would break


def _beats(first: Group, second: Group, coverage: float) -> Beats | None:
    known = beats(first.pulls, second.pulls, coverage=coverage)
    if known is None and first.at_least + second.at_least > 0:
        return beats_censored(first.pulls, second.pulls, coverage=coverage)
    return known
