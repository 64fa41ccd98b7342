"""What a hanging mass really pulls with: local gravity and the buoyancy of air."""

import math
from dataclasses import dataclass
from typing import Final

AIR_KG_M3: Final = 1.2
STEEL_KG_M3: Final = 7850.0
CAST_IRON_KG_M3: Final = 7200.0


def normal_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """Gravity of the WGS84 ellipsoid in m/s2, with its second-order decrease with height.

    Source: Somigliana's closed formula with the constants of NIMA TR8350.2; real gravity lies within about
    5 parts in 100 000 of it.
    """
    sine = math.sin(math.radians(latitude_deg)) ** 2
    surface = 9.7803253359 * (1 + 0.00193185265241 * sine) / math.sqrt(1 - 0.00669437999013 * sine)
    flattening, radius_m, m = 1 / 298.257223563, 6378137.0, 0.00344978650684
    first = 2 / radius_m * (1 + flattening + m - 2 * flattening * sine) * height_m
    return surface * (1 - first + 3 * (height_m / radius_m) ** 2)


@dataclass(frozen=True, slots=True)
class Weights:
    """Known masses at a place: what was stated about them, and the truth.

    `stated_kg` is the total on the hook at each step; `true_kg` likewise. `local_gravity` is the truth, a few
    parts in 100 000 off the formula.
    """

    stated_kg: tuple[float, ...]
    true_kg: tuple[float, ...]
    standard_kg: float
    """Stated standard uncertainty of each single mass; those on the hook are independent."""
    singles_kg: tuple[float, ...]
    """Stated mass of each single one, in the order in which they are hung."""
    latitude_deg: float
    height_m: float
    local_gravity: float
    density_kg_m3: float = CAST_IRON_KG_M3
    air_kg_m3: float = AIR_KG_M3

    @property
    def forces_n(self) -> tuple[float, ...]:
        """True load of each step: m g (1 - air / density)."""
        return tuple(
            kg * self.local_gravity * (1 - self.air_kg_m3 / self.density_kg_m3) for kg in self.true_kg
        )


def stack(
    singles_kg: tuple[float, ...],
    errors_kg: tuple[float, ...],
    *,
    standard_kg: float,
    latitude_deg: float,
    height_m: float,
    anomaly: float,
) -> Weights:
    """Hang single masses one more at a time, then take them off again: 0, A, A+B, ..., A+B, A, 0.

    `errors_kg` is true minus stated of each; `anomaly` is the relative departure of gravity from the formula.
    """
    steps = [*range(len(singles_kg) + 1), *reversed(range(len(singles_kg)))]
    stated = tuple(math.fsum(singles_kg[:n]) for n in steps)
    true = tuple(math.fsum(singles_kg[:n]) + math.fsum(errors_kg[:n]) for n in steps)
    gravity = normal_gravity(latitude_deg, height_m) * (1 + anomaly)
    return Weights(stated, true, standard_kg, singles_kg, latitude_deg, height_m, gravity)
