"""How many specimens per group settle a question.

Differences and scatter are relative (0.1 is 10 %): scatter is the coefficient of variation of the strengths. Power is
exact for normal strengths with equal scatter (noncentral t, Cohen, Statistical Power Analysis, ch. 2) and simulated for
Weibull strengths and for what the instrument adds.
"""

import math
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
    check(difference=difference, cv=cv, confidence=confidence, groups=groups)
    if n < 2:
        raise UsageError(
            "one specimen per group shows no scatter, so it cannot show a difference: take 2 or more"
        )
    return _power(float(n), difference / cv, pair_risk(confidence, groups))


def specimens_per_group(
    difference: float, cv: float, *, confidence: float = 0.95, power_wanted: float = 0.8, groups: int = 2
) -> int:
    """Smallest number per group with the wanted power. Raises: UsageError, also above MOST_SPECIMENS."""
    check(difference=difference, cv=cv, confidence=confidence, groups=groups)
    check_share("power", power_wanted)
    risk, effect = pair_risk(confidence, groups), difference / cv
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
    check_share("power", power_wanted)
    risk = pair_risk(confidence, groups)
    high = 1.0
    while _power(float(n), high, risk) < power_wanted:
        high *= 2.0
    return cv * float(
        optimize.brentq(lambda x: _power(float(n), x, risk) - power_wanted, 1e-9, high, xtol=1e-12)
    )


@lru_cache(maxsize=4096)
def _power(n: float, effect: float, risk: float) -> float:
    """Chance that |t| passes its limit, for a true difference of `effect` standard deviations."""
    from scipy import special

    freedom = 2.0 * (n - 1.0)
    limit = float(special.stdtrit(freedom, 1.0 - risk / 2.0))
    shift = effect * math.sqrt(n / 2.0)
    if shift > limit + 38.0:
        return 1.0  # the far tail of the noncentral t is past what the routine can do, and certain anyway
    # The routine gives NaN in tails that are zero for every purpose: below 1e-46 wherever it was looked for.
    within = float(special.nctdtr(freedom, shift, limit))
    below = float(special.nctdtr(freedom, shift, -limit)) if shift < 8.0 else 0.0
    above = 1.0 - (within if math.isfinite(within) else 0.0)
    return min(max(above + (below if math.isfinite(below) else 0.0), 0.0), 1.0)


def pair_risk(confidence: float, groups: int) -> float:
    """Risk of one pair so that all pairs of the groups together keep 1 - confidence (Sidak)."""
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

    Each pull has its own relative error; each calibration one that all its pulls share. The test allows for what does
    not cancel, as the comparison does. Raises: UsageError.
    """
    check(difference=difference, cv=cv, confidence=confidence, groups=groups)
    if n < 2:
        raise UsageError(
            "one specimen per group shows no scatter, so it cannot show a difference: take 2 or more"
        )
    errors = instrument or Instrument()
    generator = np.random.default_rng(seed)
    risk = pair_risk(confidence, groups)
    shares = []
    for true in (difference, 0.0):
        first = _pulls(generator, n, sessions, cv, strengths, errors.own)
        second = (1.0 + true) * _pulls(generator, n, sessions, cv, strengths, errors.own)
        one = generator.standard_normal(sessions)
        other = one if errors.one_calibration else generator.standard_normal(sessions)
        first *= (1.0 + errors.shared * one)[:, None]
        second *= (1.0 + errors.shared * other)[:, None]
        shares.append(
            _found(first, second, risk, 0.0 if errors.one_calibration else math.sqrt(2.0) * errors.shared)
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


def _found(first: NDArray[np.float64], second: NDArray[np.float64], risk: float, residual: float) -> float:
    """Share of rows in which Welch's test finds a difference; `residual`: the instrument's, relative, in the ratio."""
    from scipy import special

    n = first.shape[1]
    a, b = first.var(axis=1, ddof=1) / n, second.var(axis=1, ddof=1) / n
    left = (residual * 0.5 * (first.mean(axis=1) + second.mean(axis=1))) ** 2
    t = (second.mean(axis=1) - first.mean(axis=1)) / np.sqrt(a + b + left)
    freedom = (a + b) ** 2 / (a**2 + b**2) * (n - 1)
    return float(np.mean(2.0 * special.stdtr(freedom, -np.abs(t)) <= risk))


def check(*, difference: float, cv: float, confidence: float, groups: int) -> None:
    """Refuse what cannot be planned with. Raises: UsageError."""
    if not 0.0 < cv <= 1.0:
        raise UsageError(
            f"a scatter of {cv:g} is not possible here: give the SD over the mean, as 8% or 0.08"
        )
    if not 0.0 < difference < 10.0:
        raise UsageError(
            f"a difference of {difference:g} cannot be planned for: give a share of the mean, as 10%"
        )
    check_share("confidence", confidence)
    if groups < 2:
        raise UsageError("a comparison needs two groups or more")


def check_share(name: str, value: float) -> None:
    """Refuse a confidence or power that is none. Raises: UsageError."""
    if not 0.5 <= value < 1.0:
        raise UsageError(f"a {name} of {value:g} is not possible: give a share from 0.5 to below 1, as 95%")


@dataclass(frozen=True, slots=True)
class Plan:
    """Specimens per group, and how sure they are to show the difference."""

    per_group: int
    exact_per_group: int
    """By the exact formula: normal strengths, equal scatter, a perfect instrument."""
    exact_power: float
    """Of `per_group` specimens, by that formula."""
    simulated: Simulated
    """The same with the instrument's errors and the strengths asked for."""


def plan_specimens(
    difference: float,
    cv: float,
    *,
    instrument: Instrument | None = None,
    strengths: Strengths = "normal",
    confidence: float = 0.95,
    power_wanted: float = 0.8,
    groups: int = 2,
    seed: int = 1,
) -> Plan:
    """Smallest number per group by the exact formula, raised until the simulation reaches the wanted power as well.

    The simulation lets each group scatter by the same share of its own mean and uses Welch's test, so it often asks for
    one more. Raises: UsageError; also where the instrument hides the difference however many are pulled.
    """
    exact = specimens_per_group(
        difference, cv, confidence=confidence, power_wanted=power_wanted, groups=groups
    )

    def simulated(n: int) -> Simulated:
        return simulate_power(
            n,
            difference,
            cv,
            instrument=instrument,
            strengths=strengths,
            confidence=confidence,
            groups=groups,
            seed=seed,
            sessions=max(2_000, min(20_000, 2_000_000 // n)),
        )

    ceiling = _most_power(difference, instrument or Instrument(), pair_risk(confidence, groups))
    n, found = exact, simulated(exact)
    while found.power < power_wanted - 2.0 * found.standard_error:
        n += max(1, n // 8)
        if ceiling < power_wanted or n > 20 * exact + 20:
            raise UsageError(
                f"the instrument's own doubt hides a difference of {difference:.1%}: no number of specimens reaches "
                f"{power_wanted:.0%} power; use one calibration for all groups, or ask for a larger difference"
            )
        found = simulated(n)
    return Plan(n, exact, power(n, difference, cv, confidence=confidence, groups=groups), found)


def _most_power(difference: float, instrument: Instrument, risk: float) -> float:
    """Power of countless specimens: only what the calibrations leave on the ratio is left to doubt."""
    from scipy import special

    if instrument.one_calibration or instrument.shared == 0.0:
        return 1.0
    left = math.sqrt(2.0) * instrument.shared * (1.0 + difference / 2.0)
    return float(special.ndtr(difference / left - special.ndtri(1.0 - risk / 2.0)))
