"""Stand-in of the module `machine`: two pins with an HX711 behind them, and interrupt masking.

Simulated, at the level of the pins: data line low when a conversion is ready, its falling edge as an
interrupt at the exact virtual moment of each conversion, 24 bits and 1 to 3 extra pulses, a conversion
that is lost when not read before the next, the chip's refusal of wrong use.
Not simulated: the time a read takes (none), noise on the wires, power-down, what another gain does to the
counts (the feed's counts are delivered whatever input is chosen).
An unexpected call raises.
"""

from clock import clock

_masked = 0


def disable_irq():
    """Hold interrupts back; return what enable_irq wants."""
    global _masked
    before = _masked
    _masked = 1
    return before


def enable_irq(state):
    """Let interrupts through again."""
    global _masked
    _masked = state


class Pin:
    """A pin of the virtual board; pin 2 is the chip's data line, pin 3 its clock."""

    IN = 0
    OUT = 1
    IRQ_FALLING = 4

    def __init__(self, number, mode):
        if (number, mode) == (2, Pin.IN):
            chip.data_pin = self
        elif (number, mode) == (3, Pin.OUT):
            chip.clock_pin = self
        else:
            raise ValueError("nothing is wired to pin %d in this mode" % number)
        self._number = number

    def __call__(self, *value):
        if self._number == 2:
            if value:
                raise ValueError("the data line is an input")
            return chip.data
        if len(value) != 1:
            raise ValueError("the clock is an output")
        return chip.set_clock(value[0])

    def irq(self, handler, trigger, hard=False):
        """Call `handler(pin)` at each falling edge of the data line."""
        if self._number != 2 or trigger != Pin.IRQ_FALLING or not hard:
            raise ValueError("only a hard interrupt at the falling data line is simulated")
        chip.handler = handler


class Hx711Chip:
    """The chip between its two wires; `source.next()` gives the time to the next conversion and its counts."""

    def __init__(self):
        self.data_pin = None
        self.clock_pin = None
        self.handler = None
        self.data = 1
        self.source = None
        self.shift_bits = 0  # fault: the chip missed so many clock pulses
        self.lost = 0
        self._value = 0
        self._pulses = 0
        self._high = 0
        self._counts = 0

    def power_up(self, source):
        """Begin to convert."""
        self.source = source
        clock.on_event = self._convert
        clock.next_event_us = clock.now_us + source.next()

    def _convert(self):
        if self._high:
            raise ValueError("clock left high")
        if self._pulses and not 25 <= self._pulses <= 27:
            raise ValueError("%d clock pulses; the chip wants 25 to 27" % self._pulses)
        if self.data == 0:  # the line goes high for a moment at each new conversion
            if self._pulses == 0:
                self.lost += 1
            self._set_data(1)
        self._pulses = 0
        self._value = self.source.counts & 0xFFFFFF
        self._set_data(0)
        clock.next_event_us = clock.now_us + self.source.next()

    def set_clock(self, level):
        """A level on the clock pin; bits move at the rising edge."""
        if level == self._high:
            return
        if level:
            self._rise()
        self._high = level

    def _rise(self):
        if not _masked:
            raise ValueError("clock pulse with interrupts on: it could be stretched and power the chip down")
        pulses = self._pulses
        if pulses == 0 and self.data:
            raise ValueError("clock pulse while no conversion is ready")
        if pulses == 27:
            raise ValueError("more than 27 clock pulses")
        self._pulses = pulses + 1
        if pulses < 24 + self.shift_bits:
            bit = pulses - self.shift_bits
            level = (self._value >> (23 - bit)) & 1 if bit >= 0 else 0
        else:
            level = 1
        if level != self.data:
            self._set_data(level)

    def _set_data(self, level):
        falling = self.data and not level
        self.data = level
        if falling and self.handler:
            self.handler(self.data_pin)


chip = Hx711Chip()
