"""Stand-in of the module `machine`: two pins with an HX711 behind them, SPI on them, and interrupt masking.

Simulated, at the level of the pins: data line low when a conversion is ready, its falling edge as an
interrupt at the exact virtual moment of each conversion, 24 bits and 1 to 3 extra pulses, a conversion
that is lost when not read before the next, sleep while the clock is high for long, the chip's refusal of
wrong use, and faults of chip and wires.
Not simulated: the time a read takes (none), noise on the wires, the new start of the conversions after a
sleep (they go on in step), what another gain does to the counts (the feed's counts are delivered whatever
input is chosen).
An unexpected call raises.
"""

from clock import clock

_SLEEP_US = 60  # a clock that is high for longer puts the chip to sleep (data sheet)
_COUNTS = {"all_ones": -1, "rail_high": 0x7FFFFF, "rail_low": -0x800000}

_masked = 0
_held = [False, False]  # held, and one is pending


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


def hold_interrupts():
    """Let none through at all, as while flash is erased; state machines and DMA go on."""
    _held[0] = True


def release_interrupts():
    """Let them through again, one that is pending at once."""
    _held[0] = False
    if _held[1]:
        _held[1] = False
        chip.interrupt(chip.data_pin)


class Pin:
    """A pin of the virtual board; pin 2 is the chip's data line, pin 3 its clock."""

    IN = 0
    OUT = 1
    IRQ_FALLING = 4
    PULL_UP = 1

    def __init__(self, number, mode, pull=None):
        if pull is not None and (number, pull) != (2, Pin.PULL_UP):
            raise ValueError("no such pull is wired")
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
        """Call `handler(pin)` at each falling edge of the data line; at once, hard or not."""
        if self._number != 2 or trigger != Pin.IRQ_FALLING:
            raise ValueError("only an interrupt at the falling data line is simulated")
        chip.interrupt = handler


class RatePin:
    """The chip's RATE where it is wired to the board: low, and one conversion in eight comes (80/10, data sheet)."""

    def set(self, level):
        """1 fast, 0 slow."""
        chip.every = 1 if level else 8


class SPI:
    """An SPI whose output is the chip's clock and whose input is its data line."""

    def __init__(self, number, baudrate, polarity, phase, sck, mosi, miso):
        if (polarity, phase) != (0, 0) or baudrate != 1000000:
            raise ValueError("only mode 0 at 1 MHz is simulated")
        if mosi is not chip.clock_pin or miso is not chip.data_pin:
            raise ValueError("wrong pins")

    def write(self, sent):
        """Bits of `sent` in their time."""
        masked = disable_irq()
        for byte in sent:
            for bit in range(7, -1, -1):
                chip.set_clock(byte >> bit & 1)
                clock.advance_to(clock.now_us + 1)
        enable_irq(masked)

    def write_readinto(self, sent, taken):
        """Bits out and in, each looked at after it was set; takes no time."""
        masked = disable_irq()
        for i in range(len(sent)):
            byte = 0
            for bit in range(7, -1, -1):
                chip.set_clock(sent[i] >> bit & 1)
                byte = byte << 1 | chip.data
            taken[i] = byte
        enable_irq(masked)


class Hx711Chip:
    """The chip between its two wires; `source.next()` gives the time to the next conversion and its counts.

    Faults, by `break_down`: "stuck_high" and "stuck_low" (data line), "no_clock" (pulses do not arrive),
    "all_ones", "rail_high", "rail_low" (counts), "slow", "slower" and "fast" (a quarter, a sixteenth and four
    times the rate), None for well again. Slips of the clock: `lost_pulse`, `double_pulse`.
    """

    def __init__(self):
        self.data_pin = None
        self.clock_pin = None
        self.handler = None  # of a state machine
        self.interrupt = None  # of the processor
        self.data = 1
        self.source = None
        self.lost_pulse = 0  # fault: number of the pulse of each reading that the chip does not see; 0: none
        self.double_pulse = 0  # fault: number of the pulse that it takes for two
        self.fault = None
        self.lost = 0
        self.sleeps = 0
        self.every = 1  # of the source's conversions
        self._skipped = 0
        self._value = 0
        self._pulses = 0  # that the chip saw
        self._sent = 0
        self._slipped = False
        self._high = 0
        self._rose_us = 0
        self._idle_pulse = False
        self._turn = 0

    def power_up(self, source):
        """Begin to convert."""
        self.source = source
        clock.on_event = self._convert
        clock.next_event_us = clock.now_us + source.next()

    def break_down(self, fault):
        """Have a fault from now on."""
        if (
            fault not in (None, "stuck_high", "stuck_low", "no_clock", "slow", "slower", "fast")
            and fault not in _COUNTS
        ):
            raise ValueError("no such fault: %s" % fault)
        self.fault = fault
        self._turn = 0
        self._set_data(self.data)

    def disturb(self):
        """Pull the data line low for a moment; the bits that are read then are ones (the data sheet does not say)."""
        self._value = 0xFFFFFF
        self._pulses = 0
        self._sent = 0
        self._set_data(0)

    def _convert(self):
        self._schedule()
        if self._turn and (self.fault == "slower" or (self.fault == "slow" and self._turn & 3)):
            return
        self._skipped = (self._skipped + 1) % self.every
        if self._skipped:
            return
        if self._high:
            # Asleep, or about to be.
            self.lost += 1
            return
        slipped = self._slipped or self.fault == "stuck_low"
        if self._pulses and not 25 <= self._pulses <= 27 and not slipped:
            raise ValueError("%d clock pulses; the chip wants 25 to 27" % self._pulses)
        if self.data == 0:  # the line goes high for a moment at each new conversion
            if self._pulses == 0:
                self.lost += 1
            self._set_data(1)
        self._pulses = 0
        self._sent = 0
        self._slipped = False
        self._value = _COUNTS.get(self.fault, self._counts) & 0xFFFFFF
        self._set_data(0)

    def _schedule(self):
        # The counts of this conversion must be taken before the source goes on.
        self._counts = self.source.counts
        self._turn = (self._turn + 1) & 15
        if self.fault == "fast" and self._turn & 3:
            if self._turn & 3 == 1:
                self._quarter_us = self.source.next() // 4
            clock.next_event_us = clock.now_us + self._quarter_us
        else:
            clock.next_event_us = clock.now_us + self.source.next()

    def set_clock(self, level):
        """A level on the clock pin; bits move at the rising edge."""
        if level == self._high or self.fault == "no_clock":
            return
        if level:
            self._rise()
            self._rose_us = clock.now_us
        self._high = level
        if level:
            return
        if clock.now_us - self._rose_us >= _SLEEP_US:
            self.sleeps += 1
            self._pulses = 0
            self._sent = 0
            self._set_data(1)
        elif self._idle_pulse:
            raise ValueError("clock pulse while no conversion is ready")

    def _rise(self):
        if not _masked:
            raise ValueError("clock pulse with interrupts on: it could be stretched and power the chip down")
        self._idle_pulse = self._sent == 0 and self.data == 1
        if self._idle_pulse:
            return  # allowed only as the beginning of a sleep
        self._sent += 1
        if self._sent in (self.lost_pulse, self.double_pulse):
            self._slipped = True
            if self._sent == self.lost_pulse:
                return
        pulses = self._pulses + (2 if self._sent == self.double_pulse else 1)
        if pulses > 27 and not self._slipped:
            if self.fault == "stuck_low":
                return  # nobody can see how far the chip is
            raise ValueError("more than 27 clock pulses")
        self._pulses = pulses
        level = (self._value >> (24 - pulses)) & 1 if pulses <= 24 else 1
        if level != self.data:
            self._set_data(level)

    def _set_data(self, level):
        if self.fault == "stuck_high":
            level = 1
        elif self.fault == "stuck_low":
            level = 0
        falling = self.data and not level
        self.data = level
        if not falling:
            return
        if self.handler:
            self.handler(self.data_pin)
        if self.interrupt:
            if _held[0]:
                _held[1] = True
            else:
                self.interrupt(self.data_pin)


chip = Hx711Chip()
