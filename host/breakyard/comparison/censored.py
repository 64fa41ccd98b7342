"""Next specimen against next, where some specimens only held "at least"."""

import math
from collections.abc import Sequence

import numpy as np

from breakyard.comparison.observations import Observation
from breakyard.comparison.pairwise import Beats
from breakyard.comparison.pivots import MANY, Pattern, pattern_of, standard_fits, thinned
from breakyard.comparison.weibull import fit_weibull, sample_of


def beats_censored(
    first: Sequence[Observation], second: Sequence[Observation], *, coverage: float = 0.95
) -> Beats | None:
    """Next specimen against next, each group with a Weibull curve of its own; None with fewer than two breaks each.

    Generalised pivots (Weerahandi 1993): the fits to standard samples of the same pattern tell how far shape and scale
    may lie from those fitted.
    """
    fits = [fit_weibull([p.value_n for p in pulls], [p.at_least for p in pulls]) for pulls in (first, second)]
    if fits[0] is None or fits[1] is None:
        return None
    unit = max(fits[0].scale_n, fits[1].scale_n)
    generator = np.random.default_rng(19930601)
    curves = []
    for fit, pulls in ((fits[0], first), (fits[1], second)):
        pattern = _pattern(pulls)
        _, _, shapes, scales = standard_fits(_short(pattern))
        # Beyond MANY breaks the pivots shrink towards (1, 0) with the root of their number.
        shrink = math.sqrt(min(MANY / len(pattern), 1.0))
        drawn = generator.integers(len(shapes), size=4_000)
        shape = fit.shape * np.exp(-shrink * np.log(shapes[drawn]))
        curves.append(
            (shape, math.log(fit.scale_n / unit) - shrink * scales[drawn] * shapes[drawn] / fit.shape)
        )
    (shape_a, log_a), (shape_b, log_b) = curves
    # P(A > B) is the mean of A's survival at B's loads, over B's own survival u: midpoint rule in u.
    u = (np.arange(100) + 0.5) / 100
    log_load = log_b[:, None] + np.log(-np.log(u))[None, :] / shape_b[:, None]
    chance = np.exp(-np.exp(np.clip(shape_a[:, None] * (log_load - log_a[:, None]), -700.0, 700.0))).mean(
        axis=1
    )
    low, high = np.quantile(chance, [0.5 - coverage / 2.0, 0.5 + coverage / 2.0])
    return Beats(float(chance.mean()), float(low), float(high), "weibull")


def _pattern(pulls: Sequence[Observation]) -> Pattern:
    return pattern_of(sample_of([p.value_n for p in pulls], [p.at_least for p in pulls]))


def _short(pattern: Pattern) -> Pattern:
    return pattern if len(pattern) <= MANY else thinned(pattern)
