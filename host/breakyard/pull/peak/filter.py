"""Which filter a pull is read through: assumed, stated, or measured of this very logger."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from breakyard.converter import StepResponse
from breakyard.curve import LoadCurve
from breakyard.pull.peak.reading import Reading
from breakyard.pull.peak.recovery import FILTER_ORDERS, order_weights
from breakyard.pull.results import Filter

DOUBTED: Final = 0.5
"""Share of the recovered rise above the largest sample that is taken for its half interval where the measured
response is that of no sinc filter. Own choice: the recovery holds for symmetrical filters."""


@dataclass(frozen=True, slots=True)
class SeenThrough:
    """The choice, and what it does to a reading."""

    orders: Mapping[int, float]
    told: Filter
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    aside: str = ""
    """Why a measured response is not used."""

    @property
    def any(self) -> bool:
        """Whether there is a filter to see through: one is known, and it is not that there is none."""
        return self.told.source != "none" and self.told.order != 0

    @property
    def spreads(self) -> bool:
        """Whether at least a quarter of any push falls on other samples than its largest (order 3 and more)."""
        return self.any and (self.told.source != "stated" or (self.told.order or 0) >= 3)

    def doubted(self, reading: Reading) -> Reading:
        """The reading, wider where it was recovered through a filter that is not like the real one."""
        if not self.flags or reading.recovered is None or reading.bound == "lower":
            return reading
        half = DOUBTED * abs(reading.estimate_n - reading.largest_n)
        return replace(
            reading,
            standard_n=float(np.hypot(reading.standard_n, half / 2.0)),
            below_n=float(np.hypot(reading.below_n, half)),
            above_n=float(np.hypot(reading.above_n, half)),
        )

    def sentences(self, reading: Reading) -> tuple[str, ...]:
        """What the peak takes for granted about the filter, where it matters to it."""
        if reading.recovered is None:
            return ()
        if self.told.source == "assumed":
            said = "order 3 and 4 allowed for, as the data sheet's settling time says (breakyard step measures it)"
            return (f"Filter of the converter: {said}.{self.aside}",)
        if self.told.source == "stated":
            return (f"Filter of the converter: order {self.told.order}, as stated.",)
        of_order = "no sinc filter" if self.told.order is None else f"order {self.told.order}"
        return (
            f"Filter of the converter: {of_order}, measured (response {(self.told.response_hash or '')[:8]}).",
        )


def choose_filter(curve: LoadCurve, stated: int | None, response: StepResponse | None) -> SeenThrough:
    """Stated comes before measured, measured before assumed; a response of another rate is left aside, and said so."""
    if curve.converter is None or not curve.converter.filter_known:
        return SeenThrough(FILTER_ORDERS, Filter("none"))
    if stated is None:
        stated = curve.converter.filter_order
    if stated == 0:
        return SeenThrough(FILTER_ORDERS, Filter("stated", 0))
    if stated is not None:
        return SeenThrough(order_weights(stated), Filter("stated", stated))
    if response is None or not response.usable:
        return SeenThrough(FILTER_ORDERS, Filter("assumed"))
    if not response.fits_rate(1.0 / curve.period_s):
        aside = (
            f" The step response was measured at {response.rate_hz:.0f} conversions a second and says nothing about "
            f"{1.0 / curve.period_s:.0f}."
        )
        return SeenThrough(FILTER_ORDERS, Filter("assumed"), aside=aside)
    hashed = response.content_hash
    if response.verdict == "order":
        return SeenThrough(response.weights(), Filter("measured", response.order, hashed))
    note = "The converter's measured step response is that of no filter of order 3 or 4; the interval allows for it."
    return SeenThrough(response.weights(), Filter("measured", None, hashed), ("odd_filter",), (note,))
