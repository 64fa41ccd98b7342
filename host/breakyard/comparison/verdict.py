"""One pair of groups: every test that applies, and what may honestly be said, in plain words with numbers.

"Carries more" needs a probability below 1 - coverage over the whole family of pairs. Without it: "no difference shown"
only if the interval of the ratio rules out the difference that matters, otherwise "can't tell: too few".
"""

import math
from dataclasses import dataclass, replace
from typing import Final, Literal

from breakyard.comparison.censored import CommonShape, beats_censored, common_shape
from breakyard.comparison.groups import Group
from breakyard.comparison.instrument import ratio_standard
from breakyard.comparison.pairwise import Beats, Means, Ranks, beats, ranks, welch
from breakyard.comparison.single import Single, single
from breakyard.comparison.survival import LogRank, log_rank
from breakyard.comparison.words import sentence
from breakyard.errors import UsageError
from breakyard.plan.specimens import specimens_per_group

Verdict = Literal["first_more", "second_more", "no_difference_shown", "too_few"]
Method = Literal["games_howell", "log_rank", "weibull", "none"]

ROOM: Final = 10.0
"""The log-rank test decides where its smallest possible probability is this many times below the risk: about 6 against
6. With fewer, the order alone is too coarse to show even a large difference."""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two groups compared. Ratios are first over second; fields are None where the data cannot carry them."""

    first: str
    second: str
    verdict: Verdict
    sentence: str
    method: Method
    """What the verdict rests on. "weibull": on both groups scattering alike."""
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
    """Specimens per group that would show the difference that matters, at the scatter seen."""
    means: Means | None
    ranks: Ranks | None
    log_rank: LogRank | None
    common_shape: CommonShape | None
    beats: Beats | None
    single: Single | None


def pair_of(
    first: Group, second: Group, *, groups: int = 2, coverage: float = 0.95, matters: float = 0.1
) -> Pair:
    """Compare two groups of a family of `groups`; `matters` is the relative difference worth knowing about."""
    risk = 1.0 - coverage
    means = welch(first.pulls, second.pulls, groups=groups, coverage=coverage)
    family = groups * (groups - 1) // 2
    censored = first.at_least + second.at_least > 0
    logs = _log_rank(first, second) if censored and min(first.n, second.n) > 1 else None
    instrument = ratio_standard(first.pulls, second.pulls)
    common = (
        common_shape(first.pulls, second.pulls, coverage=coverage ** (1.0 / family), instrument=instrument)
        if censored
        else None
    )
    method, p = _decide(means, logs, common, family, risk)
    ratio, low, high = _ratio(first, second, means, common)
    separated = _separated(first, second)
    needed = _needed(first, second, groups, coverage, matters)
    verdict = _verdict(p, risk, ratio, low, high, _surely(first, second), matters)
    if method == "log_rank" and instrument > 0.0 and (low is None or high is None or low <= 1.0 <= high):
        verdict = "too_few"  # ranks know nothing of two calibrations; the ratio's interval does
    alone = single(first, second, coverage=coverage) if min(first.n, second.n) == 1 else None
    pair = Pair(
        first=first.name,
        second=second.name,
        verdict=verdict,
        sentence="",
        method=method,
        p=p,
        ratio=ratio,
        ratio_low=low,
        ratio_high=high,
        separated=separated,
        instrument_relative=instrument,
        needed_per_group=needed,
        means=means,
        ranks=ranks(first.pulls, second.pulls) if min(first.n, second.n) >= 2 else None,
        log_rank=logs,
        common_shape=common,
        beats=_beats(first, second, coverage),
        single=alone,
    )
    return replace(pair, sentence=sentence(pair, first, second, coverage=coverage, matters=matters))


def _log_rank(first: Group, second: Group) -> LogRank | None:
    if first.at_least + second.at_least == first.n + second.n:
        return None
    return log_rank(
        [pull.value_n for pull in first.pulls],
        [pull.at_least for pull in first.pulls],
        [pull.value_n for pull in second.pulls],
        [pull.at_least for pull in second.pulls],
    )


def _decide(
    means: Means | None, logs: LogRank | None, common: CommonShape | None, family: int, risk: float
) -> tuple[Method, float | None]:
    """Games-Howell where all broke; else log-rank where it has room for strong evidence; else the Weibull test."""
    if means is not None:
        return "games_howell", means.p
    if logs is not None and (logs.exact is None or _of_family(logs.exact.smallest_p, family) <= risk / ROOM):
        return "log_rank", _of_family(logs.p, family)
    if common is not None:
        return "weibull", _of_family(common.p, family)
    if logs is not None:
        return "log_rank", _of_family(logs.p, family)
    return "none", None


def _of_family(p: float, family: int) -> float:
    """Sidak: the chance that any of so many pairs shows it."""
    return 1.0 if p >= 1.0 else -math.expm1(family * math.log1p(-p))


def _ratio(
    first: Group, second: Group, means: Means | None, common: CommonShape | None
) -> tuple[float | None, float | None, float | None]:
    if means is not None:
        return means.ratio, means.ratio_low, means.ratio_high
    if common is not None:
        return common.ratio, common.ratio_low, common.ratio_high
    if first.mean_n is not None and second.mean_n is not None:
        return first.mean_n / second.mean_n, None, None
    return None, None, None


def _separated(first: Group, second: Group) -> Literal["first", "second"] | None:
    if first.min_n > second.max_n:
        return "first"
    return "second" if second.min_n > first.max_n else None


def _surely(first: Group, second: Group) -> Literal["first_more", "second_more"] | None:
    """Which group lies higher where the weaker one's loads are all known, or its median is."""
    a, b = first.median_n, second.median_n
    if a is not None and b is not None and a != b:
        return "first_more" if a > b else "second_more"
    if b is not None and a is None:
        return "first_more" if _half_above(first, b) else None
    if a is not None and b is None:
        return "second_more" if _half_above(second, a) else None
    return None


def _half_above(group: Group, load_n: float) -> bool:
    return 2 * sum(pull.value_n > load_n for pull in group.pulls) > group.n


def _needed(first: Group, second: Group, groups: int, coverage: float, matters: float) -> int | None:
    known = [(group.cv, group.n) for group in (first, second) if group.cv]
    if not known:
        return None
    freedom = sum(n - 1 for _, n in known)
    scatter = math.sqrt(sum((n - 1) * cv * cv for cv, n in known if cv) / freedom)
    try:
        return specimens_per_group(matters, min(scatter, 1.0), confidence=coverage, groups=groups)
    except UsageError:
        return None  # more than anyone would break


def _beats(first: Group, second: Group, coverage: float) -> Beats | None:
    known = beats(first.pulls, second.pulls, coverage=coverage)
    if known is None and first.at_least + second.at_least > 0:
        return beats_censored(first.pulls, second.pulls, coverage=coverage)
    return known


def _verdict(
    p: float | None,
    risk: float,
    ratio: float | None,
    low: float | None,
    high: float | None,
    surely: Literal["first_more", "second_more"] | None,
    matters: float,
) -> Verdict:
    if p is not None and p <= risk:
        if ratio is not None:
            return "first_more" if ratio > 1.0 else "second_more"
        if surely is not None:
            return surely
        return "too_few"  # the curves differ, but which one lies higher is not known
    if low is not None and high is not None and low > 1.0 / (1.0 + matters) and high < 1.0 + matters:
        return "no_difference_shown"
    return "too_few"
