"""Stand-in of the module `rp2`: a state machine that reads the virtual HX711, and a DMA channel with a ring.

Simulated: what the program in logger/drivers/hx711_pio.py does, by its contract (two words per conversion,
turns counted in the machine's own cycles; tests/pio shows in an emulator that the program keeps it); the
queue of four words, which holds the machine up when nobody takes them; a channel that moves words to memory
on its own, wraps in a ring and ends after its count. All this goes on while the firmware is stalled.
Not simulated: instructions, any other program, the 52 us that a reading takes (words are there at once),
the time that a transfer takes.
An unexpected call raises.
"""

from array import array

import machine
from clock import clock

_OVERHEAD_CYCLES = 9
_BIT_CYCLES = 10
_TURN_CYCLES = 2
_FIRST_CYCLES = 2
_CLOCK_HIGH = 0xB042
_CLOCK_LOW = 0xA042
_QUEUE = 4

# Fake addresses: bits of a board's memory, aligned as its heap is and not as a ring must be.
_ADDRESS = 0x20001230


class PIO:
    """Constants only."""

    OUT_LOW = 2
    SHIFT_LEFT = 0


class Program:
    """A program as written: the function and the options of its decorator."""

    def __init__(self, function, options):
        self.function = function
        self.options = options


def asm_pio(**options):
    """Keep the program; nothing here assembles it."""
    return lambda function: Program(function, options)


class _Memory:
    words = array("I")


def address_of(words):
    """Where an array of words lies."""
    _Memory.words = words
    return _ADDRESS


class StateMachine:
    """One state machine between the data line, the clock line and its queues; `ppm` makes its clock fast."""

    ppm = 0

    def __init__(self, number):
        self.number = number
        self.channel = None
        self._ready = False
        self._active = False

    def init(self, program, freq, in_base, jmp_pin, sideset_base):
        """Take a program; the clock line goes low."""
        chip = machine.chip
        if program.options != {"sideset_init": PIO.OUT_LOW, "in_shiftdir": PIO.SHIFT_LEFT}:
            raise ValueError("no such program is simulated")
        if in_base is not chip.data_pin or jmp_pin is not chip.data_pin or sideset_base is not chip.clock_pin:
            raise ValueError("wrong pins")
        self._active = False
        self._ready = True
        self._hertz = freq + freq * self.ppm // 1000000
        self._sent = []
        self._queue = []
        self._pulses = 0
        self._held_up = False
        self._busy = False
        chip.handler = self._falling
        self._clock(0)

    def exec(self, instruction):
        """Carry out one of two known instructions."""
        if not self._ready or self._active or instruction not in (_CLOCK_HIGH, _CLOCK_LOW):
            raise ValueError("this instruction is not simulated here")
        self._clock(1 if instruction == _CLOCK_HIGH else 0)

    def put(self, word):
        """Give the machine a word."""
        if len(self._sent) >= _QUEUE:
            raise ValueError("this put would wait for ever")
        self._sent.append(word)

    def tx_fifo(self):
        """Words given and not yet taken."""
        return len(self._sent)

    def active(self, on):
        """Start or stop."""
        if on:
            if not self._ready or not self._sent:
                raise ValueError("started without a program or a number of pulses")
            self._turning = self._sent.pop(0)
            self._started_us = clock.now_us
            self._cycles = 0
        self._active = bool(on)

    def take(self):
        """The channel takes a word; what was held up goes on."""
        word = self._queue.pop(0)
        if self._held_up and not self._queue:
            self._held_up = False
            # Time stood still for the machine.
            self._cycles = (clock.now_us - self._started_us) * self._hertz // 1000000
        return word

    def waiting(self):
        """Words to be taken."""
        return len(self._queue)

    def _clock(self, level):
        masked = machine.disable_irq()
        machine.chip.set_clock(level)
        machine.enable_irq(masked)

    def _falling(self, _):
        # What the data line does during a reading belongs to the reading.
        if not self._active or self._busy:
            return
        if len(self._queue) + 2 > _QUEUE:
            self._held_up = True
            return
        if self._sent:
            self._turning = self._sent.pop(0)
        now = (clock.now_us - self._started_us) * self._hertz // 1000000
        since = _OVERHEAD_CYCLES + _BIT_CYCLES * self._pulses if self._pulses else _FIRST_CYCLES
        turns = max(1, (now - self._cycles - since) // _TURN_CYCLES + 1)  # the first look after the edge
        self._cycles += since + _TURN_CYCLES * turns
        self._pulses = self._turning + 1
        self._busy = True
        word = self._turning & 3
        for _ in range(self._pulses):
            self._clock(1)
            word = word << 1 | machine.chip.data
            self._clock(0)
        self._busy = False
        self._queue.append(turns & 0xFFFFFFFF)
        self._queue.append(word)
        if self.channel:
            self.channel.move()


class DMA:
    """A channel from a state machine to a ring in memory."""

    def __init__(self):
        self._machine = None
        self._left = 0
        self._next = 0
        self._ring = 0
        self._disabled = False

    def pack_ctrl(self, enable, size, inc_read, inc_write, ring_size, ring_sel, treq_sel, bswap):
        """Choose; only the one way that is simulated."""
        if (size, inc_read, inc_write, ring_sel, bswap) != (2, False, True, True, False):
            raise ValueError("only words from one place into a ring are simulated")
        return ring_size, treq_sel, enable

    def config(self, read=None, write=None, count=None, ctrl=None, trigger=False):
        """Set what is given and start; or disable the channel, which must go before `active(0)` (RP2350-E5)."""
        if not trigger:
            if (read, write, count) != (None, None, None) or ctrl[2]:
                raise ValueError("without a trigger it can be disabled only")
            self._disabled = True
            return
        self._disabled = False
        if read is not None:
            self._machine = read
            read.channel = self
        if write is not None:
            self._next = write
        if ctrl is not None:
            self._ring = 1 << ctrl[0]
            number = self._machine.number
            if ctrl[1] != 8 * (number // 4) + 4 + number % 4:
                raise ValueError("paced by another request than that of this state machine")
            if self._next % self._ring:
                raise ValueError("a ring must lie at a multiple of its size")
        if not count:
            raise ValueError("a start with a count is expected")
        self._left = count
        self.move()

    def active(self, on):
        """Stop; starting goes by config."""
        if on:
            raise ValueError("started without config")
        if not self._disabled:
            raise ValueError("aborted while it is enabled")
        self._left = 0

    @property
    def count(self):
        """Transfers left."""
        return self._left

    def move(self):
        """Take what is there."""
        while self._left and self._machine.waiting():
            _Memory.words[(self._next - _ADDRESS) // 4] = self._machine.take()
            start = self._next - self._next % self._ring
            self._next = start + (self._next + 4 - start) % self._ring
            self._left -= 1
