"""Exact permutation tests of scores: every way to deal the specimens out to two groups, listed and counted.

With few specimens this shows a limit that no formula can lift: three against three have 20 arrangements, so that no
order of the loads can be rarer than 2 in 20.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, combinations
from math import comb
from typing import Final

import numpy as np
from numpy.typing import NDArray

MOST_ARRANGEMENTS: Final = 50_000
"""Above this the normal approximation is used instead; 9 against 9 is just below."""


@dataclass(frozen=True, slots=True)
class Permutation:
    """Two-sided probability of a rank sum (or other score) at least as far out as the one seen."""

    p: float
    smallest_p: float
    """What the farthest arrangement of these scores would have given."""
    arrangements: int


@lru_cache(maxsize=16)
def _choices(total: int, chosen: int) -> NDArray[np.int64]:
    flat = np.fromiter(chain.from_iterable(combinations(range(total), chosen)), dtype=np.int64)
    flat.flags.writeable = False
    return flat.reshape(-1, chosen)


def permutation_test(scores: NDArray[np.float64], first: int) -> Permutation | None:
    """Test the sum of the first `first` scores against all arrangements; None where there are too many.

    Two-sided by distance from the expected sum; ties in the sum count in full.
    """
    total = len(scores)
    arrangements = comb(total, first)
    if arrangements > MOST_ARRANGEMENTS or first == 0 or first == total:
        return None
    # The smaller group's sum is as far from its expectation as the larger one's, and takes less room.
    few = min(first, total - first)
    sums = scores[_choices(total, few)].sum(axis=1)
    distance = np.abs(sums - few * scores.mean())
    own = scores[:first] if few == first else scores[first:]
    seen = abs(float(own.sum()) - few * float(scores.mean()))
    close = 1e-9 * max(float(np.abs(scores).max()), 1e-300) * total
    return Permutation(
        p=float(np.mean(distance >= seen - close)),
        smallest_p=float(np.mean(distance >= distance.max() - close)),
        arrangements=arrangements,
    )


def rank_test(first: NDArray[np.float64], second: NDArray[np.float64]) -> tuple[float, Permutation | None]:
    """Rank-sum test with midranks for ties: probability, and the exact enumeration where it was possible.

    Without it: the normal approximation with the permutation variance of the midranks (Lehmann, Nonparametrics,
    1.4), continuity corrected.
    """
    from math import erfc, sqrt

    _, place, number = np.unique(np.concatenate([first, second]), return_inverse=True, return_counts=True)
    ranks = (np.cumsum(number) - 0.5 * (number - 1))[place]
    exact = permutation_test(ranks, len(first))
    if exact is not None:
        return exact.p, exact
    m, n = len(first), len(second)
    variance = m * n / (m + n) * float(np.var(ranks, ddof=1))
    if variance == 0.0:
        return 1.0, None
    distance = abs(float(ranks[:m].sum()) - m * float(ranks.mean()))
    return erfc(max(distance - 0.5, 0.0) / sqrt(variance) / sqrt(2.0)), None
