"""The coverage interval of a sum of independent terms, by propagating their distributions.

The root sum of squares times a factor is right for a sum of many like terms. Where one limit dominates it claims
too much: a rectangle holds 95 % within 1.65 standard deviations, not 1.96 (JCGM 100:2008, 4.3.7 and G.6.5;
JCGM 101:2008, 9.2.4). Here the distribution of the sum is computed (JCGM 101:2008, clause 5.2), not drawn: each
term becomes probabilities on a common grid, and convolution is a product of Fourier transforms. The same terms
give the same interval, to about a thousandth of its width.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.calibration.terms import Distribution, Term, coverage_factor

Floats = NDArray[np.float64]

CELLS: Final = 4096
BEYOND: Final = 50.0
"""The grid leaves out this part of what each end of the interval leaves out."""

SMALLEST: Final = 1e-290
"""Newtons below which arithmetic itself gives out."""

STANDARD_STEP: Final = 1.25
"""Parts of a mixture whose standard deviations differ by less than this factor are spread together."""


def coverage_interval(terms: Iterable[Term], coverage: float = 0.95) -> tuple[float, float]:
    """Ends of the interval of true value less estimate, newtons, with equal probability beyond either.

    A one-sided doubt may be nothing at all: it moves the upper end up, and the lower end nowhere (averaged over all
    that it may be, it would raise the lower end as well, and so tighten what it makes less sure).
    No terms at all: 0, 0. Raises: UsageError if the coverage or degrees of freedom make no interval.
    """
    listed = [part for term in terms for part in (term.parts or (term,)) if part.standard_n > 0.0]
    low, high = _equal_tails(listed, coverage)
    certain = [term for term in listed if term.shape != "one-sided"]
    if len(certain) < len(listed):
        low = min(low, _equal_tails(certain, coverage)[0])
    return low, high


def _equal_tails(listed: Sequence[Term], coverage: float) -> tuple[float, float]:
    normal = math.hypot(*(term.standard_n for term in listed if _is_normal(term)))
    others = [term for term in listed if not _is_normal(term)]
    if not others:
        half = coverage_factor(math.inf, coverage) * normal
        return -half, half
    if len(others) == 1 and normal == 0.0 and others[0].shape == "normal":
        half = coverage_factor(others[0].degrees_of_freedom, coverage) * others[0].standard_n
        return -half, half
    inside = 1.0 - (1.0 - coverage) / BEYOND
    reach = coverage_factor(math.inf, inside) * normal
    ends = [_ends(term, inside) for term in others]
    low, high = sum(end[0] for end in ends) - reach, sum(end[1] for end in ends) + reach
    step = (high - low) / (CELLS - 4)
    if step < SMALLEST:
        return low, high
    turn = 2.0 * np.pi * np.fft.rfftfreq(CELLS)
    spectrum = np.exp(-0.5 * (turn * (normal / step)) ** 2).astype(np.complex128)
    for term, (start, end) in zip(others, ends, strict=True):
        spectrum *= np.fft.rfft(_cells(term, start, end, step))
    first = math.floor(low / step) - 1
    density = np.roll(np.fft.irfft(spectrum, CELLS), -first)
    below = np.cumsum(np.maximum(density, 0.0))
    edges = (np.arange(first, first + CELLS) + 0.5) * step
    tail = 0.5 * (1.0 - coverage) * below[-1]
    return float(np.interp(tail, below, edges)), float(np.interp(below[-1] - tail, below, edges))


def half_width_n(terms: Iterable[Term], coverage: float = 0.95) -> float:
    """The farther end of the interval: what a symmetrical "+-" has to say."""
    low, high = coverage_interval(terms, coverage)
    return max(-low, high)


def mixture_table(weights: Floats, means_n: Floats, standards_n: Floats, cells: int = 1024) -> Distribution:
    """A mixture of Gaussians as a table, evenly spaced. Arrays (n,), weights summing to 1."""
    kept = weights > 1e-9
    weights, means, standards = weights[kept] / weights[kept].sum(), means_n[kept], standards_n[kept]
    reach = 6.5 * standards
    low, high = float(np.min(means - reach)), float(np.max(means + reach))
    if high - low <= max(1e-12 * max(abs(low), abs(high)), SMALLEST):
        return Distribution(np.array([float(weights @ means)]), np.ones(1))
    step = (high - low) / (cells - 1)
    turn = 2.0 * np.pi * np.fft.rfftfreq(2 * cells)
    spectrum = np.zeros(turn.size, dtype=np.complex128)
    smallest = max(float(standards.min()), 0.1 * step)
    group = np.rint(np.log(np.maximum(standards, smallest) / smallest) / math.log(STANDARD_STEP))
    for value in np.unique(group):
        here = group == value
        variance = float(weights[here] @ (standards[here] / step) ** 2) / float(weights[here].sum())
        spread = _placed(means[here] - low, weights[here], step, 2 * cells)
        spectrum += np.fft.rfft(spread) * np.exp(-0.5 * turn**2 * variance)
    found = np.maximum(np.fft.irfft(spectrum, 2 * cells)[:cells], 0.0)
    return Distribution(np.asarray(low + step * np.arange(cells)), np.asarray(found / found.sum()))


def lopsided_table(below_n: float, above_n: float, cells: int = 4096) -> Distribution:
    """Half a Gaussian of standard deviation below_n on the lower side, half one of above_n on the upper."""
    from scipy.special import ndtri

    deviates = ndtri((np.arange(cells) + 0.5) / cells)
    values = deviates * np.where(deviates < 0.0, below_n, above_n)
    return Distribution(np.asarray(values), np.full(cells, 1.0 / cells))


def _is_normal(term: Term) -> bool:
    return term.shape == "normal" and math.isinf(term.degrees_of_freedom)


def _ends(term: Term, inside: float) -> tuple[float, float]:
    """The stretch, nothing included, that holds all of a term, or as much as matters of an endless one."""
    if term.table is not None:
        return min(float(term.table.values_n.min()), 0.0), max(float(term.table.values_n.max()), 0.0)
    if term.shape == "normal":
        reach = coverage_factor(term.degrees_of_freedom, inside) * term.standard_n
        return -reach, reach
    reach = math.sqrt(3.0) * term.standard_n
    return (0.0, reach) if term.shape == "one-sided" else (-reach, reach)


def _cells(term: Term, low: float, high: float, step: float) -> Floats:
    """(CELLS,) probabilities of a term in cells around 0, step, 2 step ..., negative ones at the far end."""
    if term.table is not None:
        return _placed(term.table.values_n, term.table.weights, step, CELLS)
    first, last = math.floor(low / step), math.ceil(high / step)
    edges = (np.arange(first, last + 2) - 0.5) * step
    if term.shape == "normal":
        from scipy.special import stdtr

        upper = stdtr(term.degrees_of_freedom, np.abs(edges) / term.standard_n)
        below = np.where(edges < 0.0, 1.0 - upper, upper)
        below[0], below[-1] = 0.0, 1.0
    else:
        below = np.clip((edges - low) / (high - low), 0.0, 1.0)
    cells = np.zeros(CELLS)
    cells[np.arange(first, last + 1) % CELLS] = np.diff(below)
    return cells


def _placed(values: Floats, weights: Floats, step: float, cells: int) -> Floats:
    """Weights shared between the two nearest cells, so that the mean stays where it is."""
    at = values / step
    left = np.floor(at)
    right = weights * (at - left)
    index = left.astype(np.int64)
    placed = np.bincount(index % cells, weights - right, cells)
    return np.asarray(placed + np.bincount((index + 1) % cells, right, cells))
