"""Families of random pulls, for the question whether an interval covers the truth as often as it says.

Each draw has its own instrument: a 2000 kgf cell within its rated 0.05 % non-linearity, a converter at 75 to
95/s with a filter of order 3 or 4. Breaks lie between 200 and 1500 kgf. A family's seed fixes everything, and
the calibrations of the same seed use the same instrument.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final
from zlib import crc32

import numpy as np

from breakyard.errors import UsageError
from breakyard.simulate import recipes
from breakyard.simulate.cell import Cell, draw_cell
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import (
    NO_FAULTS,
    WRONG_PATTERNS,
    Conversions,
    Converter,
    Faults,
    Glitch,
    counts_per_mv_v,
)
from breakyard.simulate.phases import Phase
from breakyard.simulate.pull import PullTruth, pull
from breakyard.simulate.recipes import Rig
from breakyard.simulate.releases import FALL_SHAPES

KGF: Final = 9.80665
CAPACITY_N: Final = 2000 * KGF
DRIFT_PER_S: Final = 0.0005 / 60
"""0.05 % of the capacity per minute."""

Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Case:
    """One draw of a family."""

    family: str
    seed: int
    conversions: Conversions
    truth: PullTruth
    cell: Cell
    converter: Converter
    assumed_order: int | None = None
    """For the family "wrong_filter": the order the analysis is to be told, which is not the true one."""


def family(name: str, seed: int, *, cell: Cell | None = None) -> Case:
    """Draw number `seed` of a family, felt by the cell of the seed or by another one.

    Raises: UsageError for a name that is not in FAMILIES.
    """
    try:
        draw = FAMILIES[name]
    except KeyError:
        raise UsageError(f'no family "{name}"; there are {", ".join(FAMILIES)}') from None
    rng = np.random.default_rng([seed, crc32(name.encode())])
    own, converter = instrument(seed)
    cell = own if cell is None else cell
    phases, clear = draw(rng)
    truth = pull(phases, seed=int(rng.integers(2**31)), clear=clear)
    faults = NO_FAULTS
    if name == "clipped":
        cell = _too_small(rng, cell, truth)
    elif name == "zero_drift":
        cell = replace(cell, zero_drift_per_s=float(rng.choice((-1.0, 1.0))) * DRIFT_PER_S)
    elif name == "missing":
        faults = Faults(missed_fraction=0.05)
    elif name == "glitch_at_peak":
        faults = Faults(glitches=(_glitch_at_peak(rng, truth, cell, converter),))
    conversions = measure(truth, cell, converter, seed=int(rng.integers(2**31)), faults=faults)
    assumed = 7 - converter.filter_order if name == "wrong_filter" else None
    return Case(name, seed, conversions, truth, cell, converter, assumed)


def instrument(seed: int) -> tuple[Cell, Converter]:
    """The cell and the converter of a seed."""
    rng = np.random.default_rng([seed, crc32(b"instrument")])
    cell = draw_cell(rng, capacity_n=CAPACITY_N, plate_mv_v=2.0, nonlinearity=0.0005)
    converter = Converter(
        rate_hz=rng.uniform(75.0, 95.0),
        filter_order=int(rng.integers(3, 5)),
        phase=1.0 - rng.uniform(0.0, 1.0),
    )
    return cell, converter


def _log(rng: Rng, low: float, high: float) -> float:
    """Uniform in the logarithm."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _peak(rng: Rng) -> float:
    return rng.uniform(200.0, 1500.0) * KGF


def _rig(rng: Rng, **given: float) -> Rig:
    drawn = {
        "quiet_s": rng.uniform(6.0, 8.0),
        "bump_n": rng.uniform(0.0, 3.0) * KGF,
        "slack_s": rng.uniform(1.0, 2.5),
        "line_n": rng.uniform(1.0, 5.0) * KGF,
        "take_up_s": rng.uniform(0.2, 1.0),
        "ring": rng.uniform(0.03, 0.15),
        "ring_hz": rng.uniform(8.0, 25.0),
        "ring_decay_s": rng.uniform(0.08, 0.25),
        "fall_s": rng.uniform(0.0003, 0.0015),
    }
    return Rig(bumps=int(rng.integers(0, 4)), **(drawn | given))


def _brittle(low: float, high: float, **rig: float) -> Callable[[Rng], tuple[list[Phase], bool]]:
    """A brittle ramp with a rate between two limits, in kgf/s."""

    def draw(rng: Rng) -> tuple[list[Phase], bool]:
        peak = _peak(rng)
        residual = peak * max(0.0, rng.uniform(-0.02, 0.02))
        rate = _log(rng, low, high) * KGF
        return recipes.brittle(_rig(rng, **rig), peak_n=peak, rate_n_per_s=rate, residual_n=residual), True

    return draw


def _recoil(rng: Rng) -> tuple[list[Phase], bool]:
    hard = {
        "ring": rng.uniform(0.2, 0.6),
        "ring_hz": _log(rng, 5.0, 30.0),
        "ring_decay_s": rng.uniform(0.1, 0.4),
    }
    return _brittle(20.0, 500.0, **hard)(rng)


def _slow_fall(rng: Rng) -> tuple[list[Phase], bool]:
    """Falls of 5 to 60 ms at the end of fast ramps, half of which bend over before."""
    peak, rate = _peak(rng), _log(rng, 200.0, 1000.0) * KGF
    bends = bool(rng.random() < 0.5)
    return recipes.slow_fall(
        _rig(rng),
        peak_n=peak,
        rate_n_per_s=rate,
        round_s=rng.uniform(0.01, 0.08) if bends else 0.0,
        last_rate=rng.uniform(0.0, 0.7),
        fall_s=_log(rng, 0.005, 0.06),
        shape=str(rng.choice(sorted(FALL_SHAPES))),
        residual_n=peak * max(0.0, rng.uniform(-0.02, 0.02)),
    ), True


def _ductile(rng: Rng) -> tuple[list[Phase], bool]:
    peak, rate = _peak(rng), _log(rng, 20.0, 200.0) * KGF
    return recipes.ductile(
        _rig(rng),
        peak_n=peak,
        rate_n_per_s=rate,
        round_s=rng.uniform(0.15, 0.6) * peak / rate,
        plateau_s=max(0.0, rng.uniform(-1.0, 3.0)),
        soften_s=rng.uniform(0.4, 2.0),
        soften_n=rng.uniform(0.04, 0.15) * peak,
        fall_s=rng.uniform(0.01, 0.06),
    ), True


def _progressive(rng: Rng) -> tuple[list[Phase], bool]:
    peak, rate = _peak(rng), _log(rng, 20.0, 200.0) * KGF
    number = int(rng.integers(2, 5))
    levels = np.append(np.sort(rng.uniform(0.5, 0.95, number - 1)), 1.0) * peak
    falls = rng.uniform(0.08, 0.2, number) * peak
    last = peak
    if rng.random() < 0.4:  # the peak is the last drop; what is left carries less
        last = float(levels[-1] - rng.uniform(0.2, 0.8) * falls[-1])
    else:
        levels, falls = levels[:-1], falls[:-1]
        if number == 2:  # one drop alone is no progressive failure
            levels = (
                np.array([0.6 * peak, *levels])
                if levels[0] > 0.65 * peak
                else np.array([*levels, 0.9 * peak])
            )
            falls = rng.uniform(0.08, 0.2, 2) * peak
    drops = tuple((float(at), float(fall)) for at, fall in zip(levels, falls, strict=True))
    return recipes.progressive(_rig(rng), drops=drops, last_n=last, rate_n_per_s=rate), True


def _towing(rng: Rng) -> tuple[list[Phase], bool]:
    return recipes.towed(
        _rig(rng),
        peak_n=_peak(rng),
        rate_n_per_s=_log(rng, 50.0, 300.0) * KGF,
        surge=rng.uniform(0.3, 0.8),
        jerks_per_s=rng.uniform(0.1, 0.8),
    ), True


def _snatch(rng: Rng) -> tuple[list[Phase], bool]:
    breaks = bool(rng.random() < 0.5)
    return recipes.snatch(
        _rig(rng), peak_n=_peak(rng), duration_s=rng.uniform(0.01, 0.1), breaks=breaks
    ), False


def _let_go(rng: Rng) -> tuple[list[Phase], bool]:
    return recipes.let_go(
        _rig(rng),
        peak_n=_peak(rng),
        rate_n_per_s=_log(rng, 20.0, 200.0) * KGF,
        hold_s=rng.uniform(0.5, 5.0),
        unload_s=rng.uniform(2.0, 8.0),
    ), True


FAMILIES: Final[Mapping[str, Callable[[Rng], tuple[list[Phase], bool]]]] = MappingProxyType(
    {
        "slow_brittle": _brittle(20.0, 100.0),
        "fast_brittle": _brittle(200.0, 1000.0),
        "very_fast": _brittle(1000.0, 5000.0),
        "slow_fall": _slow_fall,
        "ductile": _ductile,
        "progressive": _progressive,
        "towing": _towing,
        "snatch": _snatch,
        "clipped": _brittle(20.0, 500.0),
        "let_go": _let_go,
        "zero_drift": _brittle(20.0, 500.0),
        "missing": _brittle(20.0, 500.0),
        "glitch_at_peak": _brittle(20.0, 500.0),
        "wrong_filter": _brittle(200.0, 1000.0),
        "recoil": _recoil,
    }
)
"""Name -> how the phases are drawn. Rates, and the durations of slow falls, are drawn uniform in their logarithm,
peaks uniform."""


def _too_small(rng: Rng, cell: Cell, truth: PullTruth) -> Cell:
    """A 3 mV/V cell so small that the peak exceeds the converter's range but not the safe overload."""
    return replace(
        cell,
        capacity_n=truth.peak_n / rng.uniform(1.34, 1.48),
        rated_output_mv_v=cell.rated_output_mv_v * 1.5,
        zero_mv_v=abs(cell.zero_mv_v),
        plate_output_mv_v=3.0,
    )


def _glitch_at_peak(rng: Rng, truth: PullTruth, cell: Cell, converter: Converter) -> Glitch:
    """One wrong reading within a few conversions of the peak: 3 to 60 % of it added, or lost bits."""
    at = truth.peak_time_s + rng.uniform(-1.0, 4.0) * converter.period_s
    if rng.random() < 0.3:
        return Glitch(at, value=int(rng.choice(WRONG_PATTERNS)))
    size = truth.peak_n / cell.capacity_n * cell.rated_output_mv_v * counts_per_mv_v(converter.gain)
    return Glitch(at, add=round(rng.choice((-1.0, 1.0)) * _log(rng, 0.03, 0.6) * size))
