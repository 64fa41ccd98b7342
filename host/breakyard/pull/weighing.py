"""A thing that hangs and swings -> its mass with an interval.

Swing is averaged out: the time in which it hangs is cut into batches longer than a swing, and the scatter of their
means says what the mean of all is worth (method of batch means: Schmeiser 1982, Operations Research 30, 556; with b
batches Student's t with b - 1 degrees of freedom). Then

    m = F / (g (1 - air / density))

with local gravity g and the air's buoyancy on a thing of that density (OIML R 111-1, 10.2, from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.calibration import Air, Gravity
from breakyard.calibration.propagate import coverage_interval
from breakyard.calibration.terms import Term, limits
from breakyard.calibration.weight import buoyancy_factor
from breakyard.errors import NoPull

Array = NDArray[np.float64]

BATCHES: Final = 8
"""Batches in a window: ten or so are usual; fewer make them longer, and a swing of 2 s needs 1.2 s at least."""

LIGHTEST: Final = 700.0
HEAVIEST: Final = 8000.0
"""kg/m3: what things that are weighed outdoors are made of, from wood to steel, where no density is said."""

HUNG: Final = 0.5
"""A window shows the thing if its mean lies above this fraction of the highest mean."""


@dataclass(frozen=True, slots=True)
class Steady:
    """The mean over a window: newtons, its standard uncertainty, how much it swung (standard deviation)."""

    mean_n: float
    standard_n: float
    swing_n: float
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Weighing:
    """A mass in kilograms with its interval, what was taken off, and the budget in kilograms."""

    mass_kg: float
    low_kg: float
    high_kg: float
    tare_kg: float
    force_n: float
    gravity: Gravity
    density_low: float
    density_high: float
    hung: Steady
    empty: Steady | None
    budget: tuple[tuple[str, float], ...]
    coverage: float


def batch_mean(time: Array, load: Array) -> Steady:
    """Mean of a window by batch means. Raises: NoPull for fewer samples than two to a batch."""
    if len(load) < 2 * BATCHES:
        raise NoPull(f"{len(load)} samples are too few to average a swing; weigh for longer")
    means = np.array([part.mean() for part in np.array_split(load, BATCHES)])
    return Steady(
        float(load.mean()),
        float(means.std(ddof=1)) / math.sqrt(BATCHES),
        float(load.std()),
        float(time[0]),
        float(time[-1]),
    )


def windows(time: Array, load: Array, for_s: float) -> list[Steady]:
    """Every window of this length, a tenth of it apart. Raises: NoPull where the recording is shorter."""
    if time[-1] - time[0] < for_s:
        raise NoPull(
            f"the recording has {time[-1] - time[0]:.0f} s; to average over {for_s:g} s it must be longer"
        )
    starts = np.arange(time[0], time[-1] - for_s + 1e-9, for_s / 10.0)
    found = []
    for start in starts:
        first, past = np.searchsorted(time, [start, start + for_s], side="left")
        if past - first >= 2 * BATCHES:
            found.append(batch_mean(time[first:past], load[first:past]))
    if not found:
        raise NoPull("too few samples to average a swing; weigh for longer")
    return found


def hanging(time: Array, load: Array, for_s: float) -> Steady:
    """The steadiest window in which the thing hung. Raises: NoPull."""
    found = windows(time, load, for_s)
    highest = max(one.mean_n for one in found)
    lowest = min(one.mean_n for one in found)
    level = lowest + HUNG * (highest - lowest)
    up = [one for one in found if one.mean_n >= level]
    return min(up, key=lambda one: one.standard_n)


def empty_before(time: Array, load: Array, for_s: float, before_s: float) -> Steady:
    """The steadiest window before the thing was hung: hook and slings, or nothing. Shorter ones will do.

    Raises: NoPull where nothing steady lies before it.
    """
    inside = time < before_s
    t, y = time[inside], load[inside]
    for length in (for_s, for_s / 2.0, for_s / 4.0):
        if len(t) and t[-1] - t[0] >= length:
            found = windows(t, y, length)
            lowest = min(one.mean_n for one in found)
            high = max(one.mean_n for one in found)
            low = [one for one in found if one.mean_n <= lowest + 0.02 * max(high - lowest, 1e-9)]
            return min(low, key=lambda one: one.standard_n)
    raise NoPull(
        f"nothing steady lies before it; record hook and slings for {for_s:g} s first, or say --tare none"
    )


def weigh(
    hung: Steady,
    empty: Steady | None,
    *,
    gravity: Gravity,
    gravity_shared: bool,
    air: Air,
    density: tuple[float, float] = (LIGHTEST, HEAVIEST),
    terms: Sequence[Term] = (),
    tare_kg: float = 0.0,
    zero_n: float = 0.0,
    coverage: float = 0.95,
) -> Weighing:
    """A mass from the mean of a window less that of the empty hook.

    zero_n: load of nothing, for the force where no empty window is given, and to tell what the tare weighs. terms: what
    cell and calibration leave open of the force, in newtons. gravity_shared: the calibration was made with masses at
    this very place: then gravity cancels.
    """
    force = hung.mean_n - (zero_n if empty is None else empty.mean_n)
    low_density, high_density = density
    low_left, high_left = (buoyancy_factor(air.density, one) for one in (low_density, high_density))
    left = 0.5 * (low_left + high_left)
    per_newton = 1.0 / (gravity.value * left)
    doubts = [
        Term("swing, averaged", hung.standard_n, BATCHES - 1, "A"),
        Term("empty hook", 0.0 if empty is None else empty.standard_n, BATCHES - 1, "A"),
        *(one for one in terms if not (gravity_shared and one.source == "gravity")),
        limits("buoyancy", force * (high_left - low_left) / 2.0 / left),
    ]
    if not gravity_shared:
        doubts.append(Term("gravity here", force * gravity.standard / gravity.value))
    doubts = [one for one in doubts if one.standard_n > 0.0]
    low, high = coverage_interval(doubts, coverage)
    mass = force * per_newton - tare_kg
    return Weighing(
        mass_kg=mass,
        low_kg=mass + low * per_newton,
        high_kg=mass + high * per_newton,
        tare_kg=tare_kg + (0.0 if empty is None else (empty.mean_n - zero_n) * per_newton),
        force_n=force,
        gravity=gravity,
        density_low=low_density,
        density_high=high_density,
        hung=hung,
        empty=empty,
        budget=tuple(
            (one.source, one.standard_n * per_newton)
            for one in sorted(doubts, key=lambda one: -one.standard_n)
        ),
        coverage=coverage,
    )
