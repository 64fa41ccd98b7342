"""How many specimens settle a question, what one, two or three can show, and in which order to pull them.

Differences and scatter are relative (0.1 is 10 %): scatter is the coefficient of variation of the strengths. Power is
exact for normal strengths with equal scatter (noncentral t, Cohen, Statistical Power Analysis, ch. 2) and simulated for
Weibull strengths and for what the instrument adds.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import UsageError

MOST_SPECIMENS: Final = 10_000
"""More per group is not a plan for someone who breaks parts outdoors; the question must change instead."""

Strengths = Literal["normal", "weibull"]


@dataclass(frozen=True, slots=True)
class Instrument:
    """Relative standard uncertainties of one pull: its own, and what all pulls of one calibration share."""

    own: float = 0.0
    shared: float = 0.0
    one_calibration: bool = True
    """False: each group is pulled with a calibration of its own, and the shared errors do not cancel."""


def power(n: int, difference: float, cv: float, *, confidence: float = 0.95, groups: int = 2) -> float:
    """Chance that n specimens per group show a relative difference of two means, two-sided t test.

    With more than two groups every pair is looked at, so each pair's risk is shared out (Sidak).
    Raises: UsageError for a share out of range or fewer than 2 specimens.
    """
    _check(difference=difference, cv=cv, confidence=confidence, groups=groups)
    if n < 2:
        raise UsageError(
            "one specimen per group shows no scatter, so it cannot show a difference: take 2 or more"
        )
    return _power(float(n), difference / cv, _pair_risk(confidence, groups))


def specimens_per_group(
    difference: float, cv: float, *, confidence: float = 0.95, power_wanted: float = 0.8, groups: int = 2
) -> int:
    """Smallest number per group with the wanted power. Raises: UsageError, also above MOST_SPECIMENS."""
    _check(difference=difference, cv=cv, confidence=confidence, groups=groups)
    _check_share("power", power_wanted)
    risk, effect = _pair_risk(confidence, groups), difference / cv
    high = 2
    while _power(float(high), effect, risk) < power_wanted:
        high *= 2
        if high > 2 * MOST_SPECIMENS:
            raise UsageError(
                f"a difference of {difference:.2%} at a scatter of {cv:.1%} needs more than {MOST_SPECIMENS} specimens "
                "per group: ask for a larger difference, or make the specimens more alike"
            )
    low = max(high // 2, 2)
    while low < high:
        middle = (low + high) // 2
        if _power(float(middle), effect, risk) < power_wanted:
            low = middle + 1
        else:
            high = middle
    return high


def smallest_difference(
    n: int, cv: float, *, confidence: float = 0.95, power_wanted: float = 0.8, groups: int = 2
) -> float:
    """Smallest relative difference that n specimens per group show with the wanted power."""
    from scipy import optimize

    power(n, cv, cv, confidence=confidence, groups=groups)
    _check_share("power", power_wanted)
    risk = _pair_risk(confidence, groups)
    high = 1.0
    while _power(float(n), high, risk) < power_wanted:
        high *= 2.0
    effect = optimize.brentq(lambda x: _power(float(n), x, risk) - power_wanted, 1e-9, high, xtol=1e-12)
    return float(effect) * cv


@lru_cache(maxsize=4096)
def _power(n: float, effect: float, risk: float) -> float:
    """Chance that |t| passes its limit, for a true difference of `effect` standard deviations."""
    from scipy import special

    freedom = 2.0 * (n - 1.0)
    limit = float(special.stdtrit(freedom, 1.0 - risk / 2.0))
    shift = effect * math.sqrt(n / 2.0)
    if shift > limit + 38.0:
        return 1.0  # the far tail of the noncentral t is past what the routine can do, and certain anyway
    above = 1.0 - float(special.nctdtr(freedom, shift, limit))
    below = float(special.nctdtr(freedom, shift, -limit)) if shift < 8.0 else 0.0
    return min(max(above + (below if math.isfinite(below) else 0.0), 0.0), 1.0)


def _pair_risk(confidence: float, groups: int) -> float:
    pairs = groups * (groups - 1) // 2
    return -math.expm1(math.log(confidence) / pairs)


@dataclass(frozen=True, slots=True)
class Simulated:
    """Shares of simulated sessions in which Welch's test found a difference."""

    power: float
    false_alarms: float
    """The same with no difference at all; 1 - confidence is what was promised."""
    standard_error: float
    """Of the power, from the number of sessions simulated."""
    sessions: int


def simulate_power(
    n: int,
    difference: float,
    cv: float,
    *,
    instrument: Instrument | None = None,
    strengths: Strengths = "normal",
    confidence: float = 0.95,
    groups: int = 2,
    seed: int = 1,
    sessions: int = 20_000,
) -> Simulated:
    """Pull n specimens of two groups many times over, with the instrument's errors, and count what Welch's test says.

    Each pull has its own relative error; each calibration one that all its pulls share. Raises: UsageError.
    """
    _check(difference=difference, cv=cv, confidence=confidence, groups=groups)
    if n < 2:
        raise UsageError(
            "one specimen per group shows no scatter, so it cannot show a difference: take 2 or more"
        )
    errors = instrument or Instrument()
    generator = np.random.default_rng(seed)
    risk = _pair_risk(confidence, groups)
    shares = []
    for true in (difference, 0.0):
        first = _pulls(generator, n, sessions, cv, strengths, errors.own)
        second = (1.0 + true) * _pulls(generator, n, sessions, cv, strengths, errors.own)
        one = generator.standard_normal(sessions)
        other = one if errors.one_calibration else generator.standard_normal(sessions)
        shares.append(
            _found(
                first * (1.0 + errors.shared * one)[:, None],
                second * (1.0 + errors.shared * other)[:, None],
                risk,
            )
        )
    return Simulated(shares[0], shares[1], math.sqrt(shares[0] * (1.0 - shares[0]) / sessions), sessions)


def _pulls(
    generator: np.random.Generator, n: int, sessions: int, cv: float, strengths: Strengths, own: float
) -> NDArray[np.float64]:
    """Measured strengths around 1, (sessions, n)."""
    if strengths == "weibull":
        shape = weibull_shape(cv)
        true = generator.weibull(shape, (sessions, n)) / math.gamma(1.0 + 1.0 / shape)
    else:
        true = 1.0 + cv * generator.standard_normal((sessions, n))
    return np.asarray(true * (1.0 + own * generator.standard_normal((sessions, n))))


def weibull_shape(cv: float) -> float:
    """Shape of the Weibull curve with this coefficient of variation."""
    from scipy import optimize

    def excess(log_shape: float) -> float:
        x = math.exp(-log_shape)
        return math.expm1(math.lgamma(1.0 + 2.0 * x) - 2.0 * math.lgamma(1.0 + x)) - cv * cv

    return math.exp(float(optimize.brentq(excess, math.log(0.1), math.log(1e5))))


def _found(first: NDArray[np.float64], second: NDArray[np.float64], risk: float) -> float:
    """Share of rows in which Welch's test finds a difference."""
    from scipy import special

    n = first.shape[1]
    a, b = first.var(axis=1, ddof=1) / n, second.var(axis=1, ddof=1) / n
    t = (second.mean(axis=1) - first.mean(axis=1)) / np.sqrt(a + b)
    freedom = (a + b) ** 2 / (a**2 + b**2) * (n - 1)
    return float(np.mean(2.0 * special.stdtr(freedom, -np.abs(t)) <= risk))


@dataclass(frozen=True, slots=True)
class Shows:
    """What n specimens of a group can and can't show, at a given scatter; shares of the mean."""

    n: int
    mean_within: float | None
    """Half width of the interval of the mean."""
    difference: float | None
    """Smallest difference to an equal group that is found with the wanted power."""
    bound: float | None
    """The 95/95 bound as a share of the mean; None where there is none above zero."""
    scatter_low: float | None
    scatter_high: float | None
    """The true scatter may be so many times the one seen."""
    weakest_is_weak: float
    """Chance that the weakest of them is among the weakest 5 % of all such parts."""


def shows(
    n: int, cv: float, *, confidence: float = 0.95, power_wanted: float = 0.8, groups: int = 2
) -> Shows:
    """What n specimens per group tell. One tells its own load, and nothing about scatter or the next one."""
    _check(difference=cv, cv=cv, confidence=confidence, groups=groups)
    if n < 1:
        raise UsageError("a group needs at least one specimen")
    weakest = 1.0 - 0.95**n
    if n == 1:
        return Shows(1, None, None, None, None, None, weakest)
    from scipy import special, stats

    t = float(special.stdtrit(n - 1, 0.5 + confidence / 2.0))
    root = math.sqrt(n)
    factor = float(stats.nct.ppf(0.95, n - 1, stats.norm.ppf(0.95) * root) / root)
    bound = 1.0 - factor * cv
    low, high = (
        float(stats.chi2.ppf(share, n - 1)) for share in (0.5 - confidence / 2.0, 0.5 + confidence / 2.0)
    )
    return Shows(
        n,
        t * cv / root,
        smallest_difference(n, cv, confidence=confidence, power_wanted=power_wanted, groups=groups),
        bound if bound > 0.0 else None,
        math.sqrt((n - 1) / high),
        math.sqrt((n - 1) / low),
        weakest,
    )


@dataclass(frozen=True, slots=True)
class SinglePull:
    """What has to be true for one specimen against one to mean anything."""

    cv: float
    difference: float
    """Smallest relative difference of two single specimens that scatter alone rarely makes (1 - confidence)."""


def single_pull(cv: float, *, confidence: float = 0.95) -> SinglePull:
    """One against one, with a scatter that is known from elsewhere: exp(z sqrt 2 CV) - 1."""
    from scipy import special

    _check(difference=cv, cv=cv, confidence=confidence, groups=2)
    return SinglePull(cv, math.expm1(float(special.ndtri(0.5 + confidence / 2.0)) * math.sqrt(2.0) * cv))


@dataclass(frozen=True, slots=True)
class PlannedPull:
    """One place in the pulling order."""

    order: int
    block: int
    group: str
    specimen: str


def pulling_order(specimens: Sequence[tuple[str, str]], *, seed: int) -> tuple[PlannedPull, ...]:
    """Order (group, specimen) pairs into blocks that hold each group once, shuffled within each block.

    So warmth, a tiring cell or a learning crew act on all groups alike. A group with fewer specimens is spread evenly
    over the blocks. Which specimen of a group comes first is drawn as well. The same seed gives the same order.
    Raises: UsageError if there are none, or one is listed twice.
    """
    if not specimens:
        raise UsageError("no specimens to order: name the groups and how many of each")
    if len(set(specimens)) < len(specimens):
        raise UsageError("a specimen is listed twice; each is broken once")
    generator = np.random.default_rng(seed)
    by_group: dict[str, list[str]] = {}
    for group, specimen in specimens:
        by_group.setdefault(group, []).append(specimen)
    blocks = max(len(names) for names in by_group.values())
    placed: list[list[tuple[str, str]]] = [[] for _ in range(blocks)]
    for group, names in by_group.items():
        shuffled = [names[i] for i in generator.permutation(len(names))]
        offset = float(generator.random())
        for place, name in enumerate(shuffled):
            placed[int((place + offset) * blocks / len(names)) % blocks].append((group, name))
    planned: list[PlannedPull] = []
    for number, block in enumerate(placed):
        for i in generator.permutation(len(block)):
            planned.append(PlannedPull(len(planned) + 1, number + 1, *block[i]))
    return tuple(planned)


def _check(*, difference: float, cv: float, confidence: float, groups: int) -> None:
    if not 0.0 < cv <= 1.0:
        raise UsageError(
            f"a scatter of {cv:g} is not possible here: give the SD over the mean, as 8% or 0.08"
        )
    if not 0.0 < difference < 10.0:
        raise UsageError(
            f"a difference of {difference:g} cannot be planned for: give a share of the mean, as 10%"
        )
    _check_share("confidence", confidence)
    if groups < 2:
        raise UsageError("a comparison needs two groups or more")


def _check_share(name: str, value: float) -> None:
    if not 0.5 <= value < 1.0:
        raise UsageError(f"a {name} of {value:g} is not possible: give a share from 0.5 to below 1, as 95%")
