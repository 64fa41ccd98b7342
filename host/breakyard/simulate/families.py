"""Families of random pulls, for the question whether an interval covers the truth as often as it says.

Each draw has its own instrument: a 2000 kgf cell within its rated 0.05 % non-linearity, a converter at 75 to
95/s with a filter of order 3 or 4. Breaks lie between 200 and 1500 kgf. A family's seed fixes everything, and
the calibrations of the same seed use the same instrument. The families of `untidy` are recorded in part, by other
instruments, or with what disturbs them.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import UsageError
from breakyard.simulate import recipes
from breakyard.simulate.cell import Cell, draw_cell
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import (
    WRONG_PATTERNS,
    Conversions,
    Converter,
    Faults,
    Glitch,
    counts_per_mv_v,
    part,
)
from breakyard.simulate.draws import (
    CAPACITY_N,
    KGF,
    Drawn,
    Recorded,
    Recorder,
    Rng,
    brittle,
    ductile,
    log_uniform,
    peak,
    rig,
)
from breakyard.simulate.pull import PullTruth, pull
from breakyard.simulate.releases import FALL_SHAPES
from breakyard.simulate.untidy import OTHER_STANDARD, UNTIDY

__all__ = ["CAPACITY_N", "FAMILIES", "KGF", "Case", "family", "instrument"]

DRIFT_PER_S: Final = 0.0005 / 60
"""0.05 % of the capacity per minute."""


@dataclass(frozen=True, slots=True)
class Case:
    """One draw of a family."""

    family: str
    seed: int
    conversions: Conversions
    truth: PullTruth
    """Of the whole pull, also of what was not recorded."""
    cell: Cell
    converter: Converter
    assumed_order: int | None = None
    """For the family "wrong_filter": the order the analysis is to be told, which is not the true one."""
    shows: str = "counts"
    """What the user has: "counts" of our kind of logger, or "force" as another instrument shows it."""
    polarity: int = 1
    """-1: the instrument shows a pull as negative."""
    ended: str = "stopped"
    """"store full": the logger had no room for the rest."""
    gain_error: float = 0.0
    """Relative, of what another instrument shows."""

    @property
    def shown_n(self) -> NDArray[np.float64]:
        """Newtons as another instrument, zeroed before the pull, shows them; shape (n,)."""
        newtons = self.cell.capacity_n / (self.cell.rated_output_mv_v * counts_per_mv_v(self.converter.gain))
        return np.asarray(self.polarity * (1.0 + self.gain_error) * newtons * self.conversions.counts)


def family(name: str, seed: int, *, cell: Cell | None = None) -> Case:
    """Draw number `seed` of a family, felt by the cell of the seed or by another one.

    Raises: UsageError for a name that is not in FAMILIES.
    """
    try:
        draw, recorded = FAMILIES[name]
    except KeyError:
        raise UsageError(f'no family "{name}"; there are {", ".join(FAMILIES)}') from None
    rng = np.random.default_rng([seed, crc32(name.encode())])
    own, converter = instrument(seed)
    recorder = Recorder(own if cell is None else cell, converter)
    phases, clear = draw(rng)
    truth = pull(phases, seed=int(rng.integers(2**31)), clear=clear)
    if recorded is not None:
        recorder = recorded(rng, truth, recorder)
    conversions = measure(
        truth, recorder.cell, recorder.converter, seed=int(rng.integers(2**31)), faults=recorder.faults
    )
    return Case(
        name,
        seed,
        part(conversions, from_s=recorder.from_s, until_s=recorder.until_s),
        truth,
        recorder.cell,
        recorder.converter,
        assumed_order=7 - converter.filter_order if name == "wrong_filter" else None,
        shows=recorder.shows,
        polarity=recorder.polarity,
        ended=recorder.ended,
        gain_error=OTHER_STANDARD * rng.standard_normal() if recorder.shows == "force" else 0.0,
    )


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


def _recoil(rng: Rng) -> Drawn:
    hard = {
        "ring": rng.uniform(0.2, 0.6),
        "ring_hz": log_uniform(rng, 5.0, 30.0),
        "ring_decay_s": rng.uniform(0.1, 0.4),
    }
    return brittle(20.0, 500.0, **hard)(rng)


def _slow_fall(rng: Rng) -> Drawn:
    """Falls of 5 to 60 ms at the end of fast ramps, half of which bend over before."""
    peak_n, rate = peak(rng), log_uniform(rng, 200.0, 1000.0) * KGF
    bends = bool(rng.random() < 0.5)
    return recipes.slow_fall(
        rig(rng),
        peak_n=peak_n,
        rate_n_per_s=rate,
        round_s=rng.uniform(0.01, 0.08) if bends else 0.0,
        last_rate=rng.uniform(0.0, 0.7),
        fall_s=log_uniform(rng, 0.005, 0.06),
        shape=str(rng.choice(sorted(FALL_SHAPES))),
        residual_n=peak_n * max(0.0, rng.uniform(-0.02, 0.02)),
    ), True


def _progressive(rng: Rng) -> Drawn:
    peak_n, rate = peak(rng), log_uniform(rng, 20.0, 200.0) * KGF
    number = int(rng.integers(2, 5))
    levels = np.append(np.sort(rng.uniform(0.5, 0.95, number - 1)), 1.0) * peak_n
    falls = rng.uniform(0.08, 0.2, number) * peak_n
    last = peak_n
    if rng.random() < 0.4:  # the peak is the last drop; what is left carries less
        last = float(levels[-1] - rng.uniform(0.2, 0.8) * falls[-1])
    else:
        levels, falls = levels[:-1], falls[:-1]
        if number == 2:  # one drop alone is no progressive failure
            levels = (
                np.array([0.6 * peak_n, *levels])
                if levels[0] > 0.65 * peak_n
                else np.array([*levels, 0.9 * peak_n])
            )
            falls = rng.uniform(0.08, 0.2, 2) * peak_n
    drops = tuple((float(at), float(fall)) for at, fall in zip(levels, falls, strict=True))
    return recipes.progressive(rig(rng), drops=drops, last_n=last, rate_n_per_s=rate), True


def _towing(rng: Rng) -> Drawn:
    return recipes.towed(
        rig(rng),
        peak_n=peak(rng),
        rate_n_per_s=log_uniform(rng, 50.0, 300.0) * KGF,
        surge=rng.uniform(0.3, 0.8),
        jerks_per_s=rng.uniform(0.1, 0.8),
    ), True


def _snatch(rng: Rng) -> Drawn:
    breaks = bool(rng.random() < 0.5)
    return recipes.snatch(rig(rng), peak_n=peak(rng), duration_s=rng.uniform(0.01, 0.1), breaks=breaks), False


def _let_go(rng: Rng) -> Drawn:
    return recipes.let_go(
        rig(rng),
        peak_n=peak(rng),
        rate_n_per_s=log_uniform(rng, 20.0, 200.0) * KGF,
        hold_s=rng.uniform(0.5, 5.0),
        unload_s=rng.uniform(2.0, 8.0),
    ), True


def _too_small(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """A 3 mV/V cell so small that the peak exceeds the converter's range but not the safe overload."""
    cell = given.cell
    small = replace(
        cell,
        capacity_n=truth.peak_n / rng.uniform(1.34, 1.48),
        rated_output_mv_v=cell.rated_output_mv_v * 1.5,
        zero_mv_v=abs(cell.zero_mv_v),
        plate_output_mv_v=3.0,
    )
    return replace(given, cell=small)


def _drifting(rng: Rng, _truth: PullTruth, given: Recorder) -> Recorder:
    """The zero drifts, one way or the other."""
    drift = float(rng.choice((-1.0, 1.0))) * DRIFT_PER_S
    return replace(given, cell=replace(given.cell, zero_drift_per_s=drift))


def _missing(_rng: Rng, _truth: PullTruth, given: Recorder) -> Recorder:
    """Five per cent of the conversions are not read in time."""
    return replace(given, faults=Faults(missed_fraction=0.05))


def _glitch_at_peak(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """One wrong reading within a few conversions of the peak: 3 to 60 % of it added, or lost bits."""
    cell, converter = given.cell, given.converter
    at = truth.peak_time_s + rng.uniform(-1.0, 4.0) * converter.period_s
    if rng.random() < 0.3:
        glitch = Glitch(at, value=int(rng.choice(WRONG_PATTERNS)))
    else:
        size = truth.peak_n / cell.capacity_n * cell.rated_output_mv_v * counts_per_mv_v(converter.gain)
        glitch = Glitch(at, add=round(rng.choice((-1.0, 1.0)) * log_uniform(rng, 0.03, 0.6) * size))
    return replace(given, faults=Faults(glitches=(glitch,)))


FAMILIES: Final[Mapping[str, tuple[Callable[[Rng], Drawn], Recorded | None]]] = MappingProxyType(
    {
        "slow_brittle": (brittle(20.0, 100.0), None),
        "fast_brittle": (brittle(200.0, 1000.0), None),
        "very_fast": (brittle(1000.0, 5000.0), None),
        "slow_fall": (_slow_fall, None),
        "ductile": (ductile, None),
        "progressive": (_progressive, None),
        "towing": (_towing, None),
        "snatch": (_snatch, None),
        "clipped": (brittle(20.0, 500.0), _too_small),
        "let_go": (_let_go, None),
        "zero_drift": (brittle(20.0, 500.0), _drifting),
        "missing": (brittle(20.0, 500.0), _missing),
        "glitch_at_peak": (brittle(20.0, 500.0), _glitch_at_peak),
        "wrong_filter": (brittle(200.0, 1000.0), None),
        "recoil": (_recoil, None),
        **UNTIDY,
    }
)
"""Name -> how the phases are drawn, and how they are recorded. Rates, and the durations of slow falls, are drawn
uniform in their logarithm, peaks uniform."""
