"""What the drivers of the HX711 share: the face that they show, settling, and how a sample is graded.

Changing the input and power-up are for each driver to do (`_choose`, `power_up`); that four conversions must
settle after either is said here. Nothing here allocates per sample.
"""

from micropython import const

from .pace import Pace

_RAIL_LOW = const(-8388608)
_RAIL_HIGH = const(8388607)

GOOD = const(0)
LATE = const(1)
RAIL = const(2)
SETTLING = const(3)
OUT_OF_STEP = const(4)

SLEEP_US = const(100)  # clock high for over 60 us powers the chip down (data sheet)
SETTLING_CONVERSIONS = const(4)  # data sheet, "Output settling time": 50 ms at 80/s, 400 ms at 10/s


class Converter:
    """After `poll` returned True: `counts`, `ticks`, `quality`, and `missed` conversions before this one."""

    def __init__(self, data_pin, ticks_us) -> None:  # type: ignore[no-untyped-def]
        self.counts = 0
        self.ticks = 0
        self.quality = 0
        self.missed = 0
        self.input = 1
        self.pace = Pace()
        self._data = data_pin
        self._ticks_us = ticks_us
        self._settling = SETTLING_CONVERSIONS
        self._has_last = False

    @property
    def period_us(self) -> int:
        """Time between two conversions; 0 when not known yet."""
        return self.pace.period_us

    poll_ms = 2  # how often to poll; a driver that keeps conversions needs it more seldom
    keeps = False  # conversions that wait for a second are kept

    def waiting(self) -> int:
        """Conversions that were kept and not polled yet."""
        return 0

    def line(self) -> int:
        """Level of the data line now."""
        return 1 if self._data() else 0

    def select(self, chosen: int) -> None:
        """Choose an input by its number in the table (1 A128, 2 B32, 3 A64), from the next reading on."""
        if chosen != self.input:
            self.input = chosen
            # The conversion under way is still of the old input.
            self._settling = SETTLING_CONVERSIONS + 1
            self._choose(chosen)

    def _choose(self, chosen: int) -> None:
        raise NotImplementedError

    def _begin_anew(self) -> None:
        # The editions of the data sheet differ on the input after power-up; the first reading sets it again.
        self._settling = SETTLING_CONVERSIONS if self.input == 1 else SETTLING_CONVERSIONS + 1
        self._has_last = False
        self.quality = GOOD

    def _grade(self, late: bool, wanted: bool = True) -> None:
        # `quality` is GOOD or OUT_OF_STEP; `wanted`: read with the pulses of the input that was chosen.
        if self._settling:
            if wanted:
                self._settling -= 1
            if self.quality != OUT_OF_STEP:
                self.quality = SETTLING
        elif self.quality == GOOD:
            if self.counts == _RAIL_HIGH or self.counts == _RAIL_LOW:
                self.quality = RAIL
            elif late:
                self.quality = LATE
