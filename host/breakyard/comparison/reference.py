"""What the statistics of the common-scatter model would be by chance: simulated per pattern of breaks, seeds fixed.

For progressively censored samples the fits of a location-scale family are pivotal (Viveros and Balakrishnan,
Technometrics 36, 1994, 84), so that one simulation per pattern serves any loads. Samples come from the spacings of
exponential order statistics (pivots.py), carried to the normal family by their probabilities.

A likelihood ratio L of one contrast with r breaks and v = r - groups degrees of freedom is turned into
T = v (exp(L / r) - 1), which for complete log-normal groups is the square of Student's t. Everywhere else T is
t squared but for a factor near 1, which is what the simulation finds: 1.0 to 1.3, the same through the whole tail.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.comparison.log_linear import Family, Fits, Floats, fit_rows
from breakyard.comparison.pivots import MANY, Pattern, standard_samples, thinned

SEED: Final = 19860723
LEVELS: Final = (0.10, 0.05, 0.02)
"""Tails at which T is held against F(1, v); the factor is the mean of the three."""
DOUBT: Final = 1.6
"""Relative standard error of the factor times the root of the number of draws (found by repeating the simulation)."""
MOST_OTHERS: Final = 20
"""Degrees of freedom that the other groups lend; more change the factor by less than its simulation scatters."""
COUNTED: Final = 150
"""With more breaks than this the factor is 1, within 2 %."""
ROUGHLY: Final = 1e-7
"""How near its top a simulated likelihood is climbed, per break; a law of 1000 draws shows nothing finer."""


def draws_of(family: Family, pattern: Pattern, draws: int, generator: np.random.Generator) -> Floats:
    """Logarithms of the breaking loads (draws, breaks) of samples from the family's standard curve, rising."""
    logs = standard_samples(pattern, draws, generator)
    if family == "weibull":
        return logs
    from scipy import special

    # P(survives) of the standard exponential is exp(-x), x = exp(logs).
    return np.asarray(-special.ndtri(np.exp(-np.exp(logs))))


def samples_of(
    family: Family, patterns: Sequence[Pattern], draws: int
) -> tuple[NDArray[np.intp], NDArray[np.bool_], Floats]:
    """Group (specimens,), broke (specimens,) and logs (draws, specimens) of groups with these patterns.

    A specimen that left is known to have held the break before it.
    """
    generator = np.random.default_rng(SEED)
    group: list[int] = []
    broke: list[bool] = []
    columns = []
    for number, pattern in enumerate(patterns):
        logs = draws_of(family, pattern, draws, generator)
        for place, left in enumerate(pattern):
            columns += [logs[:, place]] * (1 + left)
            broke += [True] + [False] * left
            group += [number] * (1 + left)
    return np.array(group), np.array(broke), np.stack(columns, axis=1)


def indicator(group: NDArray[np.intp], groups: int) -> Floats:
    """A column of ones per group."""
    return np.asarray(group[:, None] == np.arange(groups), dtype=np.float64)


def merged(design: Floats, first: int, second: int) -> Floats:
    """The design in which two columns are one."""
    both = design[:, first] + design[:, second]
    return np.column_stack([both, np.delete(design, [first, second], axis=1)])


def as_t_squared(ratio: Floats, breaks: int, freedom: int) -> Floats:
    """T of likelihood ratios (twice the difference of the logarithms)."""
    return np.asarray(freedom * np.expm1(np.minimum(np.maximum(ratio, 0.0) / breaks, 600.0)))


def contrast_factor(family: Family, first: Pattern, second: Pattern, others: int) -> float:
    """How much larger T is than F(1, v) by chance, for two groups with these patterns.

    others: degrees of freedom (breaks less groups) that further groups lend to the common scatter.
    """
    breaks = len(first) + len(second) + others
    if breaks > COUNTED or (family == "log-normal" and not any(first) and not any(second)):
        return 1.0
    short = sorted(pattern if len(pattern) <= MANY else thinned(pattern) for pattern in (first, second))
    return _contrast_factor(family, short[0], short[1], min(others, MOST_OTHERS))


@lru_cache(maxsize=512)
def _contrast_factor(family: Family, first: Pattern, second: Pattern, others: int) -> float:
    from scipy import special

    patterns = [first, second] + ([(0,) * (others + 1)] if others else [])
    specimens = sum(len(pattern) + sum(pattern) for pattern in patterns)
    draws = int(np.clip(60_000 // specimens, 1000, 3000))
    group, broke, logs = samples_of(family, patterns, draws)
    design = indicator(group, len(patterns))
    top = fit_rows(design, logs, broke, family, near=ROUGHLY).height
    tied = fit_rows(merged(design, 0, 1), logs, broke, family, near=ROUGHLY).height
    breaks, freedom = int(broke.sum()), int(broke.sum()) - len(patterns)
    t_squared = as_t_squared(2.0 * (top - tied), breaks, freedom)
    seen = np.quantile(t_squared, [1.0 - level for level in LEVELS])
    promised = special.stdtrit(freedom, 1.0 - np.array(LEVELS) / 2.0) ** 2
    # One standard error of the simulation on top: its own doubt must never make a verdict easier.
    return float(np.mean(seen / promised) * (1.0 + DOUBT / draws**0.5))


@lru_cache(maxsize=64)
def scatter_ratios(family: Family, patterns: tuple[Pattern, ...]) -> Floats:
    """Sorted likelihood ratios of a scatter for each group against one for all, between groups that scatter alike.

    Every pattern has two breaks or more: one break has no scatter of its own.
    """
    short = [pattern if len(pattern) <= MANY else thinned(pattern) for pattern in patterns]
    specimens = sum(len(pattern) + sum(pattern) for pattern in short)
    draws = int(np.clip(30_000 // specimens, 400, 1500))
    group, broke, logs = samples_of(family, short, draws)
    common = fit_rows(indicator(group, len(short)), logs, broke, family, near=ROUGHLY).height
    alone = np.zeros(draws)
    for number in range(len(short)):
        own = group == number
        alone += fit_rows(np.ones((int(own.sum()), 1)), logs[:, own], broke[own], family, near=ROUGHLY).height
    ratios = np.sort(2.0 * (alone - common))
    ratios.flags.writeable = False
    return np.asarray(ratios)


@lru_cache(maxsize=64)
def standard_group(family: Family, pattern: Pattern, seed: int, draws: int = 4000) -> Fits:
    """Fits of one group alone to samples of the standard curve."""
    generator = np.random.default_rng([SEED, seed])
    short = pattern if len(pattern) <= MANY else thinned(pattern)
    logs = draws_of(family, short, draws, generator)
    repeat = 1 + np.asarray(short)
    broke = np.concatenate([[True] + [False] * left for left in short])
    return fit_rows(np.ones((len(broke), 1)), np.repeat(logs, repeat, axis=1), broke, family)


@lru_cache(maxsize=128)
def survivor_pivots(family: Family, pattern: Pattern, survivors: int, others: int) -> Floats:
    """Sorted (weakest of N further specimens - location) / scale, both fitted; equal strengths.

    The weakest of the survivors held its bound: an upper tail of this tells how likely equals would have.
    """
    patterns = [pattern if len(pattern) <= MANY else thinned(pattern)]
    if others:
        patterns.append((0,) * (min(others, MOST_OTHERS) + 1))
    specimens = sum(len(one) + sum(one) for one in patterns)
    draws = int(np.clip(120_000 // specimens, 2000, 8000))
    group, broke, logs = samples_of(family, patterns, draws)
    fits = fit_rows(indicator(group, len(patterns)), logs, broke, family)
    generator = np.random.default_rng([SEED, 7])
    weakest = draws_of(family, (survivors - 1,), draws, generator)[:, 0]
    pivots = np.sort((weakest - fits.coefficients[:, 0]) / fits.scale)
    pivots.flags.writeable = False
    return np.asarray(pivots)
