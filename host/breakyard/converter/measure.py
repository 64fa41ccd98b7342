"""Cuts -> StepResponse: the shape finer than one conversion, the order that fits, and whether to believe it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.cuts import Cut
from breakyard.converter.fit import CANDIDATES, STAMP_S, Fit, fit_orders
from breakyard.converter.response import filtered_power
from breakyard.converter.step import FitsVerdict, StepQuality, StepResponse, StepSource
from breakyard.errors import DataError

Array = NDArray[np.float64]

FEWEST: Final = 6
"""Fewer cuts than this decide nothing; 10 to 20 are asked for."""

QUICK: Final = 0.4
"""A fall within this many conversions hardly changes the shape: 0.4 adds 0.16 to the order."""

WIDEST_GAP: Final = 0.5
"""Part of a conversion without a cut beyond which the shape is not known between the samples."""

SURE: Final = 0.999
MOST_OF_ONE: Final = 8.0
"""No single cut weighs more than this, in the logarithm of the odds."""

WORST_MISFIT: Final = 2.5
LOUDEST: Final = 0.01
"""Noise of one sample, as a share of the mass, beyond which the ends of the fall drown."""

STRONGEST_RING: Final = 0.02
"""Ringing during the fall, as a share of the mass, beyond which it may hide which order it is: the shapes of order 3
and 4 differ by up to 0.034."""
WORST_DEPARTURE: Final = 0.015
"""A measured shape further than this from the best order's, and clearly so, is not that order's."""

KNOTS: Final = 0.5
GRID: Final = np.arange(-1.0, 6.01, 0.25)
DATA_SHEET: Final = (3, 4)


def measure(
    cuts: Sequence[Cut], *, logger: str, created: str, gain: int | None, sources: Sequence[StepSource]
) -> StepResponse:
    """Estimate the step response from all cuts of one logger.

    Raises: DataError if there is no cut, or if cuts of different rates are mixed.
    """
    if not cuts:
        raise DataError(
            "no cut found: each needs a mass that hangs still for a second, a sudden fall, and three quiet seconds"
        )
    periods = np.array([cut.period_s for cut in cuts])
    if np.ptp(periods) > 0.1 * float(periods.mean()):
        raise DataError("the recordings have different rates; measure each rate apart")
    whole = [cut for cut in cuts if cut.missing == 0]
    tables = [fit_orders(cut) for cut in whole]
    weights, best = _weigh(tables)
    fits = [table[CANDIDATES.index(best)] for table in tables]
    at, left, standard = _shape(whole, fits, best)
    quality = _quality(cuts, whole, fits, best, (at, left, standard))
    verdict, sentences = _judge(quality, weights, best)
    return StepResponse(
        logger=logger,
        created=created,
        rate_hz=float(1.0 / periods.mean()),
        gain=gain,
        verdict=verdict,
        order=best,
        order_weights=tuple(zip(CANDIDATES, weights.tolist(), strict=True)),
        at=tuple(at.tolist()),
        left=tuple(left.tolist()),
        standard=tuple(standard.tolist()),
        quality=quality,
        sentences=sentences,
        sources=tuple(sources),
    )


def _weigh(tables: Sequence[Sequence[Fit]]) -> tuple[Array, int]:
    """Posterior weights of the candidate orders, and the best of them."""
    total = np.zeros(len(CANDIDATES))
    for table in tables:
        evidence = np.array([fit.log_evidence for fit in table])
        total += np.maximum(evidence - evidence.max(), -MOST_OF_ONE)
    weights = np.exp(total - total.max())
    return weights / weights.sum(), CANDIDATES[int(np.argmax(weights))]


def _shape(cuts: Sequence[Cut], fits: Sequence[Fit], order: int) -> tuple[Array, Array, Array]:
    """The shares left on a grid of times since the cut, with standard uncertainties: a cubic spline with knots half
    a conversion apart through the samples of the quick cuts, put on one another.
    """
    from scipy.interpolate import BSpline

    used = [pair for pair in zip(cuts, fits, strict=True) if pair[1].duration <= QUICK]
    if len(used) < 2:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    at = np.concatenate([cut.at - fit.half_way + 0.5 * order for cut, fit in used])
    left = np.concatenate([fit.left for _, fit in used])
    noise = np.concatenate(
        [
            np.hypot(cut.noise, np.abs(np.gradient(cut.left, cut.at)) * STAMP_S / cut.period_s)
            for cut, _ in used
        ]
    )
    inside = (at >= GRID[0] - 1.0) & (at <= GRID[-1] + 1.0)
    at, left, noise = at[inside], left[inside], noise[inside]
    inner = np.arange(GRID[0] - 1.0, GRID[-1] + 1.0 + KNOTS / 2, KNOTS)
    knots = np.concatenate([[inner[0]] * 3, inner, [inner[-1]] * 3])
    design = BSpline.design_matrix(at, knots, 3).toarray() / noise[:, None]
    # Where no cut left a sample a weak pull towards straightness stands in; it shows as a large uncertainty.
    bend = 1e-2 * np.diff(np.eye(design.shape[1]), 2, axis=0) / float(np.median(noise))
    inverse = np.linalg.inv(design.T @ design + 1e-4 * bend.T @ bend)
    factors = inverse @ (design.T @ (left / noise))
    rest = left / noise - design @ factors
    freedom = max(len(left) - design.shape[1], 1)
    scatter = max(1.0, float(np.sqrt((rest**2).sum() / freedom)))
    look = BSpline.design_matrix(GRID, knots, 3).toarray()
    standard = scatter * np.sqrt(np.einsum("ij,jk,ik->i", look, inverse, look))
    return GRID.copy(), look @ factors, standard


def _quality(
    found: Sequence[Cut],
    used: Sequence[Cut],
    fits: Sequence[Fit],
    order: int,
    shape: tuple[Array, Array, Array],
) -> StepQuality:
    phases = np.sort([(cut.phase + fit.half_way) % 1.0 for cut, fit in zip(used, fits, strict=True)])
    gaps = np.diff(np.append(phases, phases[0] + 1.0)) if len(phases) else np.ones(1)
    at, left, standard = shape
    off = np.abs(left - (1.0 - filtered_power(at, 0, order)))
    clear = off[(off > 4.0 * standard) & (at > 0.0) & (at < order + 1.0)]

    def middle(values: Sequence[float]) -> float:
        return float(np.median(values)) if len(values) else 0.0

    return StepQuality(
        found=len(found),
        used=len(used),
        with_missing=len(found) - len(used),
        largest_phase_gap=float(gaps.max()),
        quick=sum(fit.duration <= QUICK for fit in fits),
        median_duration=middle([fit.duration for fit in fits]),
        ringing=middle([_ringing(cut, fit) for cut, fit in zip(used, fits, strict=True)]),
        noise=middle([cut.noise for cut in used]),
        misfit=middle([fit.misfit for fit in fits]),
        departure=float(clear.max(initial=0.0)),
    )


def _ringing(cut: Cut, fit: Fit) -> float:
    """The most that is put down to ringing (or to anything else but the filter) during the fall."""
    since = cut.at - fit.half_way + 0.5 * fit.order
    during = (since > 0.0) & (since < fit.order)
    return float(np.abs(cut.left - fit.left)[during].max(initial=0.0))


@dataclass(frozen=True, slots=True)
class _Doubt:
    holds: bool
    sentence: str


def _judge(quality: StepQuality, weights: Array, best: int) -> tuple[FitsVerdict, tuple[str, ...]]:
    """The verdict, and sentences for people: what is in the way, or what was found."""
    doubts = (
        _Doubt(
            quality.used < FEWEST,
            f"{quality.used} usable cuts are too few: make 10 to 20, in one recording or several.",
        ),
        _Doubt(
            quality.with_missing > quality.found / 4,
            f"Conversions are missing in {quality.with_missing} of {quality.found} falls: see to the logger first.",
        ),
        _Doubt(
            quality.largest_phase_gap > WIDEST_GAP,
            f"The cuts fell at nearly the same moment between two conversions (a gap of "
            f"{quality.largest_phase_gap:.2f} of one): make more.",
        ),
        _Doubt(
            quality.noise > LOUDEST,
            f"The noise of one sample is {100 * quality.noise:.1f} % of the mass: hang a larger mass.",
        ),
        _Doubt(
            quality.quick < max(quality.used / 2, 4),
            f"Only {quality.quick} of {quality.used} cuts let go at once (median: {quality.median_duration:.1f} "
            "conversions): use thin cord that does not stretch, and cut in one go.",
        ),
        _Doubt(
            quality.ringing > STRONGEST_RING,
            f"Ringing of the rig, or a slow tail, is {100 * quality.ringing:.1f} % of the mass while it falls: "
            "shorter cord, stiffer beam.",
        ),
    )
    said = tuple(doubt.sentence for doubt in doubts if doubt.holds)
    if said:
        return "unsure", said
    if float(weights.max()) < SURE:
        told = ", ".join(
            f"{100 * w:.0f} % order {o}" for o, w in zip(CANDIDATES, weights, strict=True) if w > 0.005
        )
        return "unsure", (f"The cuts do not agree on one order ({told}): make more, and quicker ones.",)
    wider = "Peaks of sudden breaks get wider intervals and a flag."
    if quality.misfit > WORST_MISFIT or quality.departure > WORST_DEPARTURE:
        off = f"off by up to {100 * quality.departure:.1f} % of the step"
        return "neither", (f"No sinc filter fits: the best, of order {best}, is {off}. {wider}",)
    if best not in DATA_SHEET:
        found = f"It answers as a filter of order {best}, not of order 3 or 4 as the data sheet's settling time says."
        return "neither", (f"{found} {wider}",)
    return "order", (f"It answers as a filter of order {best}: the mean over {best} times one conversion.",)
