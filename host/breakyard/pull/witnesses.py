"""What the witnesses of a zero say together.

Up to three are heard: the quiet part before the pull, the unloaded part after it, and a zero known beforehand (what
an instrument was zeroed to, or a calibration's own). Each may be wrong: a hold or a preload looks quiet, something
may hang on the cell after the break, a scale may never have been zeroed, an overloaded cell has another zero after.
Every way to believe some and not the others is an explanation; Bayes' rule says how likely it is.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.calibration import Point
from breakyard.calibration.propagate import mixture_table
from breakyard.calibration.terms import Distribution
from breakyard.curve import LoadCurve

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Prior:
    """A zero known before any sample is looked at: what an instrument was zeroed to, or a calibration's own zero."""

    name: str
    level_n: float
    standard_n: float
    trust: float
    """Probability that it holds for this recording at all."""
    relative: float = 0.0
    """More standard uncertainty, as a fraction of the peak."""
    shifts: float = 0.05
    """Probability that the zero itself moved between before and after the pull."""
    nearly: float = 0.4
    """Of a zero that does not hold, the probability that it is off by a few percent only; else by anything."""


INSTRUMENT: Final = Prior("instrument", 0.0, 0.0, 0.85, relative=0.001, shifts=0.01, nearly=0.9)
"""An instrument that gives forces was most likely zeroed by its owner, and reads 0 within 0.1 % of what it was used
for; in a machine nothing jolts the cell, and what is left after the break is mostly friction or half a specimen. One
in seven was zeroed with other things on it, or some time before: its owner did not say, so that this stays possible
unless something unloaded was recorded. Common practice, no source."""


REMOUNTED: Final = 0.005
"""Standard uncertainty, as a fraction of the cell's capacity, of the zero of a calibration when the cell has been
mounted anew, with other shackles on it. Common practice, no source."""


def prior_of(curve: LoadCurve) -> Prior | None:
    """What is known of a curve's zero before any sample: that of its instrument, or of its calibration."""
    calibration = curve.calibration
    if calibration is None:
        return INSTRUMENT if curve.converter is None else None
    empty = [point.counts for point in calibration.points if _empty(point)]
    if not empty:
        return None
    level = float(calibration.load_n(float(np.mean(empty)), 0.0))
    plate = calibration.plate
    capacity = calibration.highest_known_n if plate is None else plate.capacity_n
    factor = 1.0 if curve.line is None else curve.line.factor
    return Prior("calibration", factor * level, factor * REMOUNTED * capacity, 0.8)


def _empty(point: Point) -> bool:
    return point.load.kilograms == 0.0 and point.load.reference_n == 0.0


@dataclass(frozen=True, slots=True)
class Witness:
    """What one part of the evidence says the zero was at the time of the peak."""

    name: str
    level_n: float
    standard_n: float
    trust: float
    """Probability, before the others are heard, that nothing was on the cell."""
    nearly: float = 0.4
    """Of a zero known beforehand: as in `Prior`."""


@dataclass(frozen=True, slots=True)
class Begins:
    """What the recording reads when it begins in the rise, so that nothing quiet lies before it.

    No witness of its own, since a load may be on already; but whoever pulls starts from nothing or a little more, and
    hardly ever from less: this tells the others apart.
    """

    level_n: float
    standard_n: float

    def density(self, zero_n: float, h: float) -> float:
        """How likely such a beginning is if the zero is there, per newton; h: height of the pull."""
        d = self.level_n - zero_n
        at_zero = _normal(d, math.hypot(self.standard_n, BEGINS_WITHIN * h))
        anywhere = BEGINS_ANYWHERE / h if 0.0 <= d < h else 0.0
        under = anywhere + (1.0 - BEGINS_ANYWHERE) * _load_density(d, h)
        return BEGINS_AT_ZERO * at_zero + (1.0 - BEGINS_AT_ZERO) * under


BEGINS_AT_ZERO: Final = 0.5
"""Chance that a recording without a quiet part begins at the zero. Common practice, no source."""

BEGINS_ANYWHERE: Final = 0.7
"""Chance that one that begins under load begins at any load alike; else at a small one, as of a trigger."""

BEGINS_WITHIN: Final = 0.002
"""What the load may have risen by in the first sample of such a recording, as a fraction of the peak."""


@dataclass(frozen=True, slots=True)
class WeighedZero:
    """What the witnesses say together."""

    level_n: float
    standard_n: float
    table: Distribution | None
    """True zero less `level_n`, where more than one explanation counts; else it is a Gaussian."""
    believed: tuple[str, ...]
    """Names of the witnesses that the likeliest explanation believes."""
    moved: bool
    """Whether the likeliest explanation is that the zero moved between before and after."""


# How likely a load d on the cell is where one was taken for none, per newton; h is the height of the pull. What hangs
# on a cell by mistake (hook, shackle, half a specimen, a preload) is mostly a few percent of the peak; a hold may be
# anything. Common practice, no source: the sizes matter where witnesses contradict each other, and little there.
_USUAL_LOAD: Final = 0.02
_PULLED_DOWN: Final = 0.05
"""Chance that the load on an "unloaded" cell is negative: pushed, held up, heated, or another cell than before."""
_SHIFTS: Final = 0.05
"""Chance that the zero itself moved between before and after, where no zero is known beforehand."""
MOVED_AT: Final = (0.5, 0.35)
"""A zero that moved did so at once, after the peak (the break jolts the cell) or before it (the line came taut), with
these chances; else bit by bit, so that it lay anywhere between at the peak."""
_KEPT_TAUT: Final = 0.15
"""Chance that a rig which begins under load is kept at that load until the recording ends, if nothing broke; ..."""
_ALIGNMENT: Final = (0.02, 0.12)
"""... in parts of the peak: anchors are tested from and to an alignment load of some 5 to 10 % (from memory)."""
_LEFT_OUT: Final = 0.03
"""Explanations less likely than this are left out of the zero's distribution."""


def _load_density(d: float, h: float) -> float:
    scale = _USUAL_LOAD * h
    side = math.exp(-min(abs(d) / scale, 700.0)) / scale
    size = 0.9 * side + (0.1 / h if abs(d) < h else 0.0)
    return (_PULLED_DOWN if d < 0.0 else 1.0 - _PULLED_DOWN) * size


def _never_zeroed_density(d: float, h: float, nearly: float) -> float:
    """Of the zero of an instrument that was not zeroed, or of a calibration made in another mounting."""
    scale = _USUAL_LOAD * h
    near = math.exp(-min(abs(d) / scale, 700.0)) / (2.0 * scale)
    return nearly * near + (0.5 * (1.0 - nearly) / h if abs(d) < h else 0.0)


def _wrong_density(one: "Witness", zero_n: float, h: float) -> float:
    """Of what a witness says that is not believed, if the zero is there."""
    if one.name in ("before", "after"):
        return _load_density(one.level_n - zero_n, h)
    return _never_zeroed_density(one.level_n - zero_n, h, one.nearly)


def _normal(d: float, standard: float) -> float:
    return math.exp(-0.5 * min((d / standard) ** 2, 1400.0)) / (standard * math.sqrt(2.0 * math.pi))


def weigh(
    witnesses: Sequence[Witness],
    height_n: float,
    lowest_n: float,
    *,
    begins: Begins | None = None,
    shifts: float = _SHIFTS,
    broke: bool = False,
) -> WeighedZero:
    """Hear all witnesses together (Bayes): every way to believe some of them and not the others is an explanation.

    With z the zero at the peak, a believed witness says N(z, standard). One that is not believed had a load on it
    (density `_load_density`), or, for a zero known beforehand, was wrong (`_never_zeroed_density`). One explanation
    more: nothing was on the cell either time, but its zero moved from the one to the other; then z lies anywhere
    between. height_n: of the pull; lowest_n: lowest lasting load of the recording, above which no zero lies. begins:
    how it begins, where nothing quiet lies before the pull. shifts: chance that the zero moved. broke: whether the load
    went at once, so that nothing was kept at one load until the end.
    """
    h = height_n
    found: list[
        tuple[float, tuple[str, ...], float, float, float]
    ] = []  # weight, heard, mean, standard, width
    unloaded = {one.name: one for one in witnesses if one.name in ("before", "after")}
    for believed in itertools.product((True, False), repeat=len(witnesses)):
        heard = [one for one, yes in zip(witnesses, believed, strict=True) if yes]
        others = [one for one, yes in zip(witnesses, believed, strict=True) if not yes]
        chance = math.prod([one.trust for one in heard] + [1.0 - one.trust for one in others])
        if chance == 0.0 or not heard:
            if not heard and chance > 0.0:
                if len(others) > 1:
                    down, weight = _below(witnesses, lowest_n, h)
                    chance *= float(np.trapezoid(weight, down))
                if begins is not None:  # nothing is known of the zero: the beginning tells nothing either
                    chance *= (1.0 - BEGINS_AT_ZERO) * BEGINS_ANYWHERE / h
                found.append((chance, (), lowest_n, 0.0, 0.0))
            continue
        if len(unloaded) == 2 and all(one in heard for one in unloaded.values()):
            chance *= 1.0 - shifts
        mean, variance = heard[0].level_n, max(heard[0].standard_n, 1e-9 * h) ** 2
        for one in heard[1:]:
            own = max(one.standard_n, 1e-9 * h) ** 2
            chance *= _normal(one.level_n - mean, math.sqrt(variance + own))
            mean = (mean * own + one.level_n * variance) / (variance + own)
            variance = variance * own / (variance + own)
        for one in others:
            chance *= _wrong_density(one, mean, h)
        if begins is not None:
            chance *= begins.density(mean, h)
        found.append((chance, tuple(one.name for one in heard), mean, math.sqrt(variance), 0.0))
    if len(unloaded) == 2:
        found += _moved(unloaded["before"], unloaded["after"], witnesses, h, shifts)
        found += [
            _kept_taut(unloaded["before"], unloaded["after"], one, h)
            for one in witnesses
            if one.name == INSTRUMENT.name and not broke
        ]
    return _combined(found, h, lowest_n, witnesses)


def _moved(
    before: Witness, after: Witness, witnesses: Sequence[Witness], h: float, shifts: float
) -> list[tuple[float, tuple[str, ...], float, float, float]]:
    """The explanation that the zero moved, with and without the zero known beforehand."""
    by = after.level_n - before.level_n
    size = 0.5 * _normal(by, 0.01 * h) + 0.5 * _normal(by, 0.04 * h)
    chance = before.trust * after.trust * shifts * size
    either = math.hypot(before.standard_n, after.standard_n)
    names = ("before", "after")
    prior = [one for one in witnesses if one not in (before, after)]
    if not prior:
        return [(chance, names, before.level_n, either, by)]
    own = math.hypot(prior[0].standard_n, before.standard_n, 1e-9 * h)
    away = before.level_n - prior[0].level_n
    right = prior[0].trust * _normal(away, own)
    wrong = (1.0 - prior[0].trust) * _wrong_density(prior[0], before.level_n, h)
    return [
        (chance * right, (*names, prior[0].name), before.level_n, either, by),
        (chance * wrong, names, before.level_n, either, by),
    ]


def _kept_taut(
    before: Witness, after: Witness, instrument: Witness, h: float
) -> tuple[float, tuple[str, ...], float, float, float]:
    """The explanation that the instrument's zero is right, and the rig was kept at one small load before and after."""
    d = before.level_n - instrument.level_n
    low, high = (share * h for share in _ALIGNMENT)
    likely = 1.0 / (high - low) if low <= d <= high else 0.0
    same = _normal(after.level_n - before.level_n, math.hypot(before.standard_n, after.standard_n, 1e-9 * h))
    chance = instrument.trust * (1.0 - before.trust) * _KEPT_TAUT * likely * same
    return chance, (instrument.name,), instrument.level_n, max(instrument.standard_n, 1e-9 * h), 0.0


def _combined(
    found: Sequence[tuple[float, tuple[str, ...], float, float, float]],
    h: float,
    lowest: float,
    witnesses: Sequence[Witness],
) -> WeighedZero:
    """The likeliest explanation's zero, and what all that count leave open."""
    total = sum(one[0] for one in found)
    if not found or total <= 0.0:
        return WeighedZero(lowest, 0.0, None, (), False)
    kept = [(one[0] / total, *one[1:]) for one in found if one[0] >= _LEFT_OUT * total]
    best = max(kept, key=lambda one: one[0])
    level = best[2]
    if len(kept) == 1 and best[1] and not best[4]:
        return WeighedZero(level, best[3], None, best[1], False)
    values, weights = [], []
    for weight, heard, mean, standard, width in kept:
        if not heard:
            down, likely = _below(witnesses, lowest, h)
            part = Distribution(lowest - down, likely / likely.sum())
        elif width:
            share = np.concatenate([np.array(MOVED_AT), np.full(32, (1.0 - sum(MOVED_AT)) / 32)])
            steps = np.concatenate([[0.0, 1.0], (np.arange(32) + 0.5) / 32])
            part = mixture_table(share, mean + width * steps, np.full(34, max(standard, 1e-9 * h)))
        else:
            part = mixture_table(np.ones(1), np.array([mean]), np.array([max(standard, 1e-9 * h)]))
        values.append(part.values_n - level)
        weights.append(weight * part.weights)
    joined = np.concatenate(weights)
    table = Distribution(np.concatenate(values), joined / joined.sum())
    return WeighedZero(level, table.standard_n, table, best[1], bool(best[4]))


def _below(witnesses: Sequence[Witness], lowest: float, h: float) -> tuple[Array, Array]:
    """How likely the zero lies so far below all that was recorded, if no witness is believed: each was wrong by what it
    says less the zero."""
    down = h * np.linspace(0.0, 1.0, 512)
    likely = [math.prod(_wrong_density(one, lowest - float(d), h) for one in witnesses) for d in down]
    return down, np.array(likely)
