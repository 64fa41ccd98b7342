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

from .converter import GOOD, OUT_OF_STEP, SLEEP_US, Converter

_TICKS_MASK = const(0x3FFFFFFF)


class Hx711(Converter):
    """See Converter."""

    def __init__(  # type: ignore[no-untyped-def]
        self, data_pin, clock_pin, falling: int, ticks_us, disable_irq, enable_irq, sleep_us
    ) -> None:
        super().__init__(data_pin, ticks_us)
        self._clock = clock_pin
        self._disable_irq = disable_irq
        self._enable_irq = enable_irq
        self._sleep_us = sleep_us
        self._extra = 1  # pulses after the 24 bits: 1, 2, 3 choose A128, B32, A64 for the next conversion
        self._busy = False
        self._edge = False
        self._edge_ticks = 0
        clock_pin(0)
        data_pin.irq(self._falling, falling, hard=True)

    def _choose(self, chosen: int) -> None:
        self._extra = chosen

    def power_down(self) -> None:
        """Put the chip to sleep until power_up; no samples come."""
        self._level(1)

    def power_up(self) -> None:
        """Switch the chip off and on, and begin anew."""
        self._level(1)
        self._sleep_us(SLEEP_US)
        self._level(0)
        self._edge = False
        self._begin_anew()

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
        self._grade(not found_by_edge or self.pace.late or (period > 0 and age > period - (period >> 4)))
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
