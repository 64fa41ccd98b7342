"""The totals of a run, counted sample by sample, stored or not."""

from micropython import const

from .layout import QUALITY_RAIL, RAIL_HIGH, RAIL_LOW

_ABOVE_ALL = const(8388608)
_BELOW_ALL = const(-8388609)


class Totals:
    """`add` allocates nothing."""

    def __init__(self) -> None:
        self.missed = 0
        self.clipped = 0
        self.doubtful = 0
        self.lowest = 0
        self.highest = 0
        self.clear()

    def clear(self) -> None:
        """Begin to count a run."""
        self.missed = 0
        self.clipped = 0
        self.doubtful = 0
        self.lowest = _ABOVE_ALL
        self.highest = _BELOW_ALL

    def add(self, counts: int, quality: int, missed: int) -> None:
        """Count one sample and the conversions missed before it."""
        self.missed += missed
        if quality:
            self.doubtful += 1
        if quality == QUALITY_RAIL or counts == RAIL_HIGH or counts == RAIL_LOW:  # noqa: SIM109 - a tuple would be allocated
            self.clipped += 1
        if counts < self.lowest:
            self.lowest = counts
        if counts > self.highest:
            self.highest = counts
