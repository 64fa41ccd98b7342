"""Energy in the stretched line, and what it could do.

A line that stretches linearly to d under a load F holds F d / 2. Real ropes stiffen: with d growing as the square root
of the load it is F d / 3. Both bound the answer; where the line's own strength is known, its stretch under F follows
from its stretch at break the same two ways.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from breakyard.document import face
from breakyard.errors import UsageError
from breakyard.plan import rules
from breakyard.plan.rules import Rule
from breakyard.units import STANDARD_GRAVITY

MATERIALS: Final[Mapping[str, tuple[tuple[float, float], Rule]]] = MappingProxyType(
    {
        "nylon": ((0.25, 0.35), rules.STRETCH),
        "polyester": ((0.15, 0.25), rules.STRETCH),
        "polypropylene": ((0.20, 0.25), rules.STRETCH),
        "hmpe": ((0.02, 0.035), rules.STRETCH),
        "wire rope": ((0.01, 0.02), rules.STRETCH_STEEL),
        "chain": ((0.01, 0.02), rules.STRETCH_STEEL),
        "unknown": ((0.01, 0.35), rules.STRETCH),
    }
)
"""Stretch at break as a share of the length. HMPE is published as "about 2 %"; its upper end is a rule of thumb."""

FITTING_KG: Final = 1.0


@dataclass(frozen=True, slots=True)
class LineStretch:
    """A stretch of the line: its length without load, and how it gives.

    One of stiffness, `stretch` (share of the length at the expected peak) or the material's stretch at break decides;
    `breaking_n` is its own strength where known.
    """

    length_m: float
    material: str = "unknown"
    stretch: tuple[float, float] | None = None
    stiffness_n_per_m: float | None = None
    breaking_n: float | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.length_m <= 2000.0:
            raise UsageError(
                f"a line {self.length_m:g} m long; give its length without load in metres, up to 2000"
            )
        if self.material not in MATERIALS:
            raise UsageError(
                f'unknown material of a line "{self.material}"; use one of {", ".join(MATERIALS)}'
            )
        if self.stretch is not None and not 0.0 <= self.stretch[0] <= self.stretch[1] <= 1.0:
            raise UsageError("a stretch is a share of the length from 0 to 1 (3 % is 0.03), the lower first")
        if self.stiffness_n_per_m is not None and not 0.0 < self.stiffness_n_per_m < math.inf:
            raise UsageError("a stiffness must be more than zero")
        if self.breaking_n is not None and not 0.0 < self.breaking_n < math.inf:
            raise UsageError("the line's breaking strength must be more than zero")

    @property
    def is_guess(self) -> bool:
        """Nothing was said about how it gives."""
        return self.stretch is None and self.stiffness_n_per_m is None and self.material == "unknown"


@dataclass(frozen=True, slots=True)
class StoredEnergy:
    """Energy stored at the peak, in joules, as a range; `fitting_m_per_s` is what the upper end gives to 1 kg."""

    low_j: float
    high_j: float
    stretch_low_m: float
    stretch_high_m: float
    fitting_m_per_s: float
    rules: tuple[Rule, ...] = field(metadata=face(names=True))
    fitting_kg: float = FITTING_KG


def stored_energy(lines: Iterable[LineStretch], load_n: float) -> StoredEnergy | None:
    """Energy in the stretches of a line under `load_n`; None without a line. Upper ends are upper figures."""
    parts = [(_one(line, load_n), line) for line in lines]
    if not parts:
        return None
    low, high, short, long = (sum(part[i] for part, _ in parts) for i in range(4))
    named = [
        rules.GIVEN if line.stretch or line.stiffness_n_per_m else MATERIALS[line.material][1]
        for _, line in parts
    ]
    return StoredEnergy(low, high, short, long, speed_m_per_s(high, FITTING_KG), tuple(dict.fromkeys(named)))


def speed_m_per_s(energy_j: float, mass_kg: float) -> float:
    """Speed of a mass that takes all of an energy: sqrt(2 E / m)."""
    return math.sqrt(2.0 * energy_j / mass_kg)


def as_fall(energy_j: float) -> str:
    """An energy as a mass that falls: "like 50 kg falling from 1.4 m" (m g h)."""
    mass_kg = next(
        (m for m in (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0) if energy_j < 3.0 * m * STANDARD_GRAVITY),
        2000.0,
    )
    return f"like {mass_kg:g} kg falling from {energy_j / (mass_kg * STANDARD_GRAVITY):.2g} m"


def _one(line: LineStretch, load_n: float) -> tuple[float, float, float, float]:
    """Energy low and high in J, stretch low and high in m, of one stretch of line."""
    if line.stiffness_n_per_m is not None:
        stretch_m = load_n / line.stiffness_n_per_m
        energy_j = load_n * stretch_m / 2.0
        return energy_j, energy_j, stretch_m, stretch_m
    if line.stretch is not None:
        short, long = (share * line.length_m for share in line.stretch)
        return load_n * short / 3.0, load_n * long / 2.0, short, long
    (least, most), _ = MATERIALS[line.material]
    used = 1.0 if line.breaking_n is None else min(1.0, load_n / line.breaking_n)
    short, long = least * line.length_m * used, most * line.length_m * math.sqrt(used)
    low_j = load_n * least * line.length_m * min(used / 2.0, math.sqrt(used) / 3.0)
    return low_j, load_n * long / 2.0, short, long
