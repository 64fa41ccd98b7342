"""The load cell of the simulated logger: force -> bridge output in mV/V.

u is the load over the capacity. In units of the rated output the cell gives

    u  +  a 4u(1 - u)  +  b 6 sqrt(3) u(1 - u)(1 - 2u)  +  hysteresis  +  zero

so the two curves vanish at zero and at capacity and each is 1 at most between them: |a| + |b| within the
rating keeps the cell within its rated non-linearity (terminal-line definition). The slope near zero load is
then off by 4a + 6 sqrt(3) b, which is what a calibration with small masses cannot see.

Hysteresis: below the largest load so far, U, the output is higher by h U 4v(1 - v), v = u/U; loading again
follows the same branch back up. Overload: beyond `safe_overload` a tenth of the excess stays as a shift of
the zero.

Not simulated: creep, off-axis load, the cell's own vibration.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from breakyard.errors import UsageError

_CUBIC: Final = 6.0 * math.sqrt(3.0)
OVERLOAD_SET: Final = 0.1
"""Share of the excess over the safe overload that stays as zero shift; invented."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One load cell. Fractions are of the rated output; the ratings are what its plate would say."""

    capacity_n: float
    rated_output_mv_v: float = 2.0
    """True output at capacity less that at zero, not the plate's value (within 10 %, OIML R 60 C.7)."""
    nonlinearity: float = 0.0005
    """Rating: bound of |quadratic| + |cubic|."""
    quadratic: float = 0.0
    cubic: float = 0.0
    hysteresis: float = 0.0
    zero_mv_v: float = 0.0
    zero_drift_per_s: float = 0.0
    """Fraction of the rated output (of the capacity, that is) per second."""
    temperature_c: float = 20.0
    temperature_rate_c_per_s: float = 0.0
    zero_per_c: float = 0.0
    span_per_c: float = 0.0
    """Relative change of the span per degree, from 20 degrees Celsius."""
    safe_overload: float = 1.5
    plate_output_mv_v: float | None = None
    """What the plate says; None when it says the truth."""
    zero_shift: float = 0.0
    """Lasting change of the zero by a shock, as a share of the rated output, between the two instants below."""
    shift_from_s: float = 0.0
    shift_until_s: float = 0.0

    def __post_init__(self) -> None:
        if not (self.capacity_n > 0.0 and self.rated_output_mv_v != 0.0):
            raise UsageError("a cell needs a capacity above zero and a rated output that is not zero")
        if abs(self.quadratic) + abs(self.cubic) > self.nonlinearity * (1 + 1e-12):
            raise UsageError("the curvature of the cell exceeds its rated non-linearity")
        if self.zero_shift and not self.shift_until_s > self.shift_from_s:
            raise UsageError("a shift of the zero takes time: it must end after it begins")

    @property
    def plate_mv_v(self) -> float:
        """Rated output as the plate states it."""
        return self.rated_output_mv_v if self.plate_output_mv_v is None else self.plate_output_mv_v

    def static_mv_v(self, load_n: ArrayLike) -> NDArray[np.float64]:
        """Output for loads that only rose, at 20 degrees, without drift. Any shape."""
        u = np.asarray(load_n, dtype=np.float64) / self.capacity_n
        return np.asarray(self.zero_mv_v + self.rated_output_mv_v * self._curve(u))

    def output_mv_v(self, time_s: ArrayLike, load_n: ArrayLike) -> NDArray[np.float64]:
        """Output at the knots of a load curve, shape (n,), in time order (hysteresis remembers)."""
        t = np.asarray(time_s, dtype=np.float64)
        u = np.asarray(load_n, dtype=np.float64) / self.capacity_n
        largest = np.maximum(np.maximum.accumulate(u), 0.0)
        v = np.divide(u, largest, out=np.zeros_like(u), where=largest > 0.0)
        loop = np.where((v > 0.0) & (v < 1.0), self.hysteresis * largest * 4.0 * v * (1.0 - v), 0.0)
        degrees = self.temperature_c - 20.0 + self.temperature_rate_c_per_s * t
        zero = self.zero_drift_per_s * t + self.zero_per_c * degrees
        zero = zero + OVERLOAD_SET * np.maximum(largest - self.safe_overload, 0.0)
        if self.zero_shift:
            zero = zero + self.zero_shift * np.interp(t, (self.shift_from_s, self.shift_until_s), (0.0, 1.0))
        span = (self._curve(u) + loop) * (1.0 + self.span_per_c * degrees)
        return np.asarray(self.zero_mv_v + self.rated_output_mv_v * (span + zero))

    def _curve(self, u: NDArray[np.float64]) -> NDArray[np.float64]:
        bow = u * (1.0 - u)
        return np.asarray(u + self.quadratic * 4.0 * bow + self.cubic * _CUBIC * bow * (1.0 - 2.0 * u))


def draw_cell(
    rng: np.random.Generator, *, capacity_n: float, plate_mv_v: float = 2.0, nonlinearity: float = 0.0005
) -> Cell:
    """A cell as bought: its true values drawn within what its plate promises.

    Rated output within 1 % of the plate's, total curvature uniform within the rating (up to half of it
    cubic), hysteresis up to 0.0002, zero balance up to 3 % of the rated output. Signs are drawn too.
    """
    total = nonlinearity * rng.uniform(0.0, 1.0)
    cubic_share = rng.uniform(0.0, 0.5)
    bow_sign, cubic_sign = rng.choice((-1.0, 1.0), size=2)
    return Cell(
        capacity_n=capacity_n,
        rated_output_mv_v=plate_mv_v * (1.0 + rng.uniform(-0.01, 0.01)),
        nonlinearity=nonlinearity,
        quadratic=float(bow_sign * total * (1.0 - cubic_share)),
        cubic=float(cubic_sign * total * cubic_share),
        hysteresis=rng.uniform(0.0, 0.0002),
        zero_mv_v=plate_mv_v * rng.uniform(-0.03, 0.03),
        plate_output_mv_v=plate_mv_v,
    )
