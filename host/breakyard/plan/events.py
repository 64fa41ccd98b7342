"""What a rate of conversions can see: the shortest event, and the fastest ramp that ends in a sudden break.

The HX711 tells the mean of the force over its last 3 or 4 conversions (its filter is not in the data sheet; it
settles in 4). A steady ramp is therefore shown late by half the filter's length, order / 2 conversions, and the
last conversion that ends before the break lies up to one more conversion back.
"""

from typing import Final

from breakyard.errors import UsageError

FILTER_ORDERS: Final = (3, 4)
EVENT_BANDWIDTH: Final = 3.0
EVENT_OVERSAMPLING: Final = 30.0


def shortest_event_s(rate_hz: float) -> float:
    """Shortest event in seconds whose peak `rate_hz` supports to 1 %: 90 / rate (ASTM STP19268S)."""
    _check_rate(rate_hz)
    return EVENT_BANDWIDTH * EVENT_OVERSAMPLING / rate_hz


def largest_miss(rate_n_per_s: float, rate_hz: float, order: int = 4) -> float:
    """Newtons that the largest sample can be low by: ramp x (order / 2 + 1) / rate.

    An upper bound: just after the break a conversion that contains a little of it may still rise.
    """
    _check_rate(rate_hz)
    return rate_n_per_s * (order / 2.0 + 1.0) / rate_hz


def fastest_ramp_n_per_s(peak_n: float, rate_hz: float, share: float = 0.01, order: int = 4) -> float:
    """Fastest ramp in N/s at which the largest sample is low by at most `share` of the peak."""
    _check_rate(rate_hz)
    return share * peak_n * rate_hz / (order / 2.0 + 1.0)


def fastest_sampled_n_per_s(peak_n: float, rate_hz: float, share: float = 0.01) -> float:
    """The same without a filter: rate x peak x share (ISO 6892-1 Annex A, from memory)."""
    _check_rate(rate_hz)
    return share * peak_n * rate_hz


def _check_rate(rate_hz: float) -> None:
    if not 1.0 <= rate_hz <= 1000.0:
        raise UsageError(
            f"a rate of {rate_hz:g} per second is not this converter's: it makes 10 or 80, up to 145 by crystal"
        )
