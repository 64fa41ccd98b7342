"""Reads an HX711 with an SPI peripheral as the source of its clock; decides nothing. NOT RUN ON HARDWARE YET.

The data output of the SPI (MOSI) is wired to PD_SCK, its input (MISO) to DOUT; its own clock goes to a pin
that is left open. Two SPI bits make one pulse: a one, then a zero. Seven bytes carry 24 pulses and up to 4
more, so 25, 26 and 27 pulses are patterns of the last byte. At 1 MHz a pulse is high for 1 us whatever
interrupts do meanwhile.

Law:
  * Each bit is read twice, in the high and in the low half of its pulse. Both must agree, and the extra
    pulses must read as ones, else the sample is OUT_OF_STEP.
  * The moment of a conversion is taken in the handler of the falling data line. On the ESP32 it runs between
    two instructions of the program, so a garbage collection (2 ms without extra RAM) makes it that much late;
    a moment is never early. Where it does not fit the rate by an eighth of the period, the sample is LATE. So
    is a conversion whose edge was not seen; it is timed when it is found.
  * A line that falls because of data bits is told from a conversion by its level: after a reading in step it
    is high, so the handler, which runs later, finds it high and does nothing.
  * What was not read in time is lost in the chip; it is counted from the steps of time.

Assumed of the SPI, and to be looked at with an oscilloscope on the first board: mode 0, most significant bit
first, all 7 bytes without a pause between them (they fit the peripheral's buffer), MISO taken in the middle
of a bit, MOSI low before and after a transfer. If MOSI rested high, the chip would sleep and the logger would
say that the data line stays high.

`poll` allocates nothing but what the port's SPI does. Counter readings wrap at 2**30.
"""

from micropython import const

from .converter import GOOD, OUT_OF_STEP, Converter

_TICKS_MASK = const(0x3FFFFFFF)

SPI_HERTZ = const(1000000)  # a pulse of 1 us high and 1 us low, the data sheet's typical values
_PULSES = const(0xAA)  # four pulses
_SLEEP = b"\xff" * 16  # 128 us high: over 60 us powers the chip down (data sheet)
_LAST_BYTE = (0x00, 0x80, 0xA0, 0xA8)  # none, one, two, three extra pulses


class Hx711Spi(Converter):
    """See Converter.

    `spi` gives write and write_readinto; `falling` is the trigger of a falling edge.
    """

    def __init__(self, data_pin, spi, falling: int, ticks_us) -> None:  # type: ignore[no-untyped-def]
        super().__init__(data_pin, ticks_us)
        self._spi = spi
        self._out = bytearray([_PULSES] * 6 + [_LAST_BYTE[1]])
        self._in = bytearray(7)
        self._edge = False
        self._edge_ticks = 0
        self._asleep = False
        data_pin.irq(self._falling, falling)

    def _choose(self, chosen: int) -> None:
        self._out[6] = _LAST_BYTE[chosen]

    def power_down(self) -> None:
        """Stop reading. The chip itself goes on: this peripheral cannot hold its output high."""
        self._asleep = True

    def power_up(self) -> None:
        """Switch the chip off and on, and begin anew."""
        self._spi.write(_SLEEP)
        self._spi.write(b"\x00")
        self._asleep = False
        self._edge = False
        self._begin_anew()

    def poll(self) -> bool:
        """Read a conversion if one is ready."""
        if self._asleep:
            return False
        found_by_edge = self._edge
        if not found_by_edge:
            # After a reading out of step the line may be left low: only an edge tells then.
            if self.quality == OUT_OF_STEP or self._data():
                return False
            # Ready, but its edge was not seen: before the start, or the handler had no turn yet.
            self._edge_ticks = self._ticks_us()
        self._edge = False
        ticks = self._edge_ticks
        age = (self._ticks_us() - ticks) & _TICKS_MASK
        period = self.pace.period_us
        self._spi.write_readinto(self._out, self._in)
        self._read()
        self._edge = False
        self.missed = self.pace.missed((ticks - self.ticks) & _TICKS_MASK) if self._has_last else 0
        self._has_last = True
        self.ticks = ticks
        self._grade(not found_by_edge or self.pace.late or (period > 0 and age > period - (period >> 4)))
        return True

    def _falling(self, _: object) -> None:
        if not self._data():
            self._edge_ticks = self._ticks_us()
            self._edge = True

    def _read(self) -> None:
        # Two equal bits for each pulse, the first of them taken while the clock was high.
        taken = self._in
        value = 0
        in_step = True
        for i in range(6):
            byte = taken[i]
            high = byte & 0xAA
            if high != (byte & 0x55) << 1:
                in_step = False
            value = (value << 4) | (high >> 4 & 8) | (high >> 3 & 4) | (high >> 2 & 2) | (high >> 1 & 1)
        wanted = _LAST_BYTE[self.input]
        wanted |= wanted >> 1
        if taken[6] & wanted != wanted:
            in_step = False
        self.counts = (value ^ 0x800000) - 0x800000
        self.quality = GOOD if in_step else OUT_OF_STEP
