"""The cell's plate and sheet: what the maker states about it, and the defaults where nothing is stated."""

import math
from dataclasses import dataclass
from typing import Final

from breakyard.errors import CalibrationError

DEFAULT_NONLINEARITY: Final = 0.001
"""Of the capacity, for a cell without a sheet: three times what cheap cells are sold with (0.03 %)."""

COUNTS_PER_MV_V_AT_GAIN_1: Final = 2**24 / 1000.0
"""The HX711 is ratiometric: full scale is +-0.5/gain of the excitation over 24 bits (data sheet)."""


@dataclass(frozen=True, slots=True)
class Plate:
    """Ratings of a cell. Fractions are of the capacity (0.0003 is 0.03 %); None is "not stated".

    `nonlinearity` and `hysteresis` are bounds: the largest deviation from the maker's line, and the
    largest difference between rising and falling readings. `creep` is per 30 min, `zero_return` after a
    full load, `span_per_c` and `zero_per_c` per kelvin.
    """

    capacity_n: float
    rated_output_mv_v: float | None = None
    nonlinearity: float | None = None
    hysteresis: float | None = None
    repeatability: float | None = None
    creep: float | None = None
    zero_return: float | None = None
    span_per_c: float | None = None
    zero_per_c: float | None = None
    rated_output_tolerance: float = 0.1
    name: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.capacity_n) and self.capacity_n > 0.0):
            raise CalibrationError(
                f"a capacity of {self.capacity_n:g} N is not possible: read the cell's plate"
            )
        if self.rated_output_mv_v is not None and not 0.05 <= abs(self.rated_output_mv_v) <= 20.0:
            raise CalibrationError(
                f"a rated output of {self.rated_output_mv_v:g} mV/V is not possible: plates say 1 to 3 mV/V"
            )
        for field in ("nonlinearity", "hysteresis", "repeatability", "creep", "zero_return"):
            value = getattr(self, field)
            if value is not None and not 0.0 <= value <= 0.05:
                raise CalibrationError(
                    f"{field} {value:g} of the capacity is not possible: 0.03 % is written 0.0003"
                )

    def counts_per_newton(self, gain: int) -> float | None:
        """The slope the plate promises, or None where it states no output."""
        if self.rated_output_mv_v is None:
            return None
        return self.rated_output_mv_v * gain * COUNTS_PER_MV_V_AT_GAIN_1 / self.capacity_n
