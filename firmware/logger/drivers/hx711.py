"""Reads an HX711 by its two wires; decides nothing.

Law:
  * The moment of a conversion is taken in the interrupt of the falling data line, not when it is read.
  * Each clock pulse is made with interrupts off: a clock that is high for over 60 us powers the chip down
    (data sheet, "Power down"). Not the whole reading: that would hold up the radio.
  * The extra pulses that choose the next input must read as ones; otherwise bits may be shifted and the
    sample is OUT_OF_STEP.
    A lost pulse shows so where the last bit is a zero, half of the time; one that the chip takes for two
    never. tests/firmware/test_slips.py has each place of 25, 26 and 27 pulses; core/faults.py doubts more.
  * What was not read in time is lost in the chip; it is counted from the steps of time.
  * While flash is erased (45 ms, up to 400 ms) no interrupt comes through: conversions are lost, and the
    moment of the one after is taken late by up to a period; where that shows, the sample is LATE.

`poll` allocates nothing. Counter readings wrap at 2**30.
"""

from micropython import const

from .pace import Pace

_TICKS_MASK = const(0x3FFFFFFF)
_RAIL_LOW = const(-8388608)
_RAIL_HIGH = const(8388607)

GOOD = const(0)
LATE = const(1)
RAIL = const(2)
SETTLING = const(3)
OUT_OF_STEP = const(4)

_SLEEP_US = const(100)  # clock high for over 60 us powers the chip down (data sheet)
SETTLING_CONVERSIONS = const(4)  # data sheet, "Output settling time": 50 ms at 80/s, 400 ms at 10/s


class Hx711:
    """After `poll` returned True: `counts`, `ticks`, `quality`, and `missed` conversions before this one."""

    def __init__(  # type: ignore[no-untyped-def]
        self, data_pin, clock_pin, falling: int, ticks_us, disable_irq, enable_irq, sleep_us
    ) -> None:
        self.counts = 0
        self.ticks = 0
        self.quality = 0
        self.missed = 0
        self.input = 1
        self.pace = Pace()
        self._data = data_pin
        self._clock = clock_pin
        self._ticks_us = ticks_us
        self._disable_irq = disable_irq
        self._enable_irq = enable_irq
        self._sleep_us = sleep_us
        self._extra = 1  # pulses after the 24 bits: 1, 2, 3 choose A128, B32, A64 for the next conversion
        self._settling = SETTLING_CONVERSIONS
        self._busy = False
        self._edge = False
        self._edge_ticks = 0
        self._has_last = False
        clock_pin(0)
        data_pin.irq(self._falling, falling, hard=True)

    @property
    def period_us(self) -> int:
        """Time between two conversions; 0 when not known yet."""
        return self.pace.period_us

    def line(self) -> int:
        """Level of the data line now."""
        return 1 if self._data() else 0

    def select(self, chosen: int) -> None:
        """Choose an input by its number in the table (1 A128, 2 B32, 3 A64), from the next reading on."""
        if chosen != self.input:
            self.input = chosen
            self._extra = chosen
            # The conversion under way is still of the old input.
            self._settling = SETTLING_CONVERSIONS + 1

    def power_down(self) -> None:
        """Put the chip to sleep until power_up; no samples come."""
        self._level(1)

    def power_up(self) -> None:
        """Switch the chip off and on, and begin anew."""
        self._level(1)
        self._sleep_us(_SLEEP_US)
        self._level(0)
        self.quality = GOOD
        self._edge = False
        self._has_last = False
        # The editions of the data sheet differ on the input after power-up; the first reading sets it again.
        self._settling = SETTLING_CONVERSIONS if self.input == 1 else SETTLING_CONVERSIONS + 1

    def _level(self, level: int) -> None:
        masked = self._disable_irq()
        self._clock(level)
        self._enable_irq(masked)

    def poll(self) -> bool:
        """Read a conversion if one is ready."""
        found_by_edge = self._edge
        if not found_by_edge:
            # After a reading out of step the line may be left low: only an edge tells then.
            if self.quality == OUT_OF_STEP or self._data():
                return False
            # Ready, but its edge was not seen: before the start, or while the last reading went on.
            self._edge_ticks = self._ticks_us()
        self._busy = True
        self._edge = False
        ticks = self._edge_ticks
        age = (self._ticks_us() - ticks) & _TICKS_MASK
        period = self.pace.period_us
        self._read()
        self._busy = False
        self._edge = False
        self._count_missed(ticks)
        self.ticks = ticks
        if self._settling:
            self._settling -= 1
            if self.quality != OUT_OF_STEP:
                self.quality = SETTLING
        elif self.quality == GOOD:
            if self.counts == _RAIL_HIGH or self.counts == _RAIL_LOW:
                self.quality = RAIL
            elif not found_by_edge or self.pace.late or (period and age > period - (period >> 4)):
                self.quality = LATE
        return True

    def _falling(self, _: object) -> None:
        # Hard interrupt. While a reading goes on, the line falls because of data bits.
        if not self._busy:
            self._edge_ticks = self._ticks_us()
            self._edge = True

    def _read(self) -> None:
        data = self._data
        clock = self._clock
        disable_irq = self._disable_irq
        enable_irq = self._enable_irq
        value = 0
        for _ in range(24):
            masked = disable_irq()
            clock(1)
            clock(0)
            enable_irq(masked)
            value = (value << 1) | data()
        in_step = True
        for _ in range(self._extra):
            masked = disable_irq()
            clock(1)
            clock(0)
            enable_irq(masked)
            if not data():
                in_step = False
        self.counts = (value ^ 0x800000) - 0x800000
        self.quality = GOOD if in_step else OUT_OF_STEP

    def _count_missed(self, ticks: int) -> None:
        self.missed = self.pace.missed((ticks - self.ticks) & _TICKS_MASK) if self._has_last else 0
        self._has_last = True
