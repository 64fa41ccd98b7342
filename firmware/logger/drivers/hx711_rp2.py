"""Reads an HX711 through PIO and DMA of an RP2040 or RP2350; decides nothing. NOT RUN ON HARDWARE YET.

Law:
  * The PIO program waits for each conversion, reads it and counts the time; a DMA channel moves its words
    into a ring in memory. Neither needs the processor, so neither a garbage collection nor a flash erase
    (interrupts off, up to 400 ms) loses or mistimes a conversion. The ring holds RING_CONVERSIONS, 1.7 s at
    150/s; what is overwritten beyond that is counted exactly.
  * Times come from the machine's cycles, which run from the same crystal as the microsecond counter, so they
    cannot drift apart while the divider is a whole number; it always is. They are anchored when the machine
    starts. Two things are known of each conversion besides: it was before it was found, and after the last
    look that found nothing. Where the time contradicts them by more than _SLACK_US (the processor's clock was
    changed, the machine was held up), it is moved to the nearest moment that they allow, the sample is LATE
    and `corrections` counts it. So a time is never wrong by more than _SLACK_US and the time between two looks.
  * If nobody emptied the machine's queue for long (the channel must be started again after 9 days), the
    machine was held up and has lost time: its next step is far too short, and even its newest conversion
    long ago. (After a disturbance that was taken for a conversion a step is short, too, but all add up to now.)
    Then, as where the ring was overwritten, times are told anew from now: the newest conversion was just now,
    to a period.
  * The chip is switched off and on at the start: only then is it sure that the data line is high to begin
    with. Its first conversions after that, and after a change of input, are SETTLING.
  * The number of pulses that a sample was read with stands in its word. Until the first with the number
    wanted, samples are of the old input and SETTLING.

`poll` allocates nothing while the processor runs at whole megahertz. Counter readings wrap at 2**30.
"""

from array import array

from micropython import const

from .converter import GOOD, OUT_OF_STEP, SLEEP_US, Converter
from .hx711_pio import BIT_CYCLES, CLOCK_HIGH, CLOCK_LOW, FIRST_CYCLES, OVERHEAD_CYCLES, TURN_CYCLES, hx711

_TICKS_MASK = const(0x3FFFFFFF)
_TICKS_HALF = const(0x20000000)

_RING_BITS = const(11)
_RING_BYTES = const(2048)
_RING_WORDS = const(512)
_RING_MASK = const(511)
RING_CONVERSIONS = const(256)
# words: a ring must lie at a multiple of its size, and there is one such place in these
RING_ROOM = const(1024)

# Transfers before the channel must be started again: a multiple of the ring, below 2**28 because the RP2350
# keeps a mode in the bits above; 9 days at 160/s.
TRANSFERS = const(0x0FFFFE00)

_CYCLES_PER_SECOND = const(5000000)  # a cycle of 0.2 us: the clock is high for 1 us, the data sheet's typical
_READ_US = const(40)  # a conversion is found at least so long after it: 25 pulses of 2 us, less some margin
_SLACK_US = const(100)


def divider(cpu_hz: int) -> int:
    """Whole number of processor cycles in a cycle of the machine, which then has 0.17 to 0.34 us above 5 MHz."""
    return max(1, (cpu_hz + _CYCLES_PER_SECOND // 2) // _CYCLES_PER_SECOND)


def _common(a: int, b: int) -> int:
    while b:
        a, b = b, a % b
    return a


class Hx711Pio(Converter):
    """See Converter.

    poll_ms: a look every 10 ms, which saves battery, is often enough for a ring of 1.7 s and more.

    `machine` and `dma` are an rp2.StateMachine and an rp2.DMA, `request` the number of the request by which
    the machine paces the channel, `address_of` gives the address of an array, `words` are RING_ROOM of them, which were
    put aside while the heap was whole.
    """

    poll_ms = 10
    keeps = True

    def __init__(  # type: ignore[no-untyped-def]
        self,
        data_pin,
        clock_pin,
        machine,
        dma,
        request: int,
        address_of,
        cpu_hz: int,
        ticks_us,
        sleep_us,
        words=None,
    ) -> None:
        super().__init__(data_pin, ticks_us)
        self.overruns = 0  # conversions overwritten in the ring
        self.corrections = 0  # times that had to be moved
        self._clock = clock_pin
        self._machine = machine
        self._dma = dma
        self._sleep_us = sleep_us
        division = divider(cpu_hz)
        self._machine_hz = cpu_hz // division
        # A microsecond is _cycles / _micros cycles.
        common = _common(cpu_hz, division * 1000000)
        self._cycles = cpu_hz // common
        self._micros = division * 1000000 // common
        self._words = words if words else array("I", bytearray(4 * RING_ROOM))
        address = address_of(self._words)
        offset = -address & (_RING_BYTES - 1)
        self._first_word = offset >> 2
        self._ring = address + offset
        # RP2350, erratum E5: a channel that is aborted while it is enabled may start again; so it is disabled first.
        self._control, self._disabled = [
            dma.pack_ctrl(
                enable=enable,
                size=2,
                inc_read=False,
                inc_write=True,
                ring_size=_RING_BITS,
                ring_sel=True,
                treq_sel=request,
                bswap=False,
            )
            for enable in (True, False)
        ]
        self.power_up()

    def waiting(self) -> int:
        """Conversions that the channel has put into the ring."""
        return int(self._left - self._dma.count) >> 1

    def _choose(self, chosen: int) -> None:
        # A machine that waits for a dead chip takes nothing; power_up gives the number again.
        if self._machine.tx_fifo() < 4:
            self._machine.put(23 + chosen)

    def power_down(self) -> None:
        """Put the chip to sleep until power_up; no samples come."""
        self._machine.active(0)
        self._machine.exec(CLOCK_HIGH)

    def power_up(self) -> None:
        """Switch the chip off and on, and begin anew: also the way out of a reading that hangs."""
        machine = self._machine
        dma = self._dma
        machine.active(0)
        dma.config(ctrl=self._disabled, trigger=False)
        dma.active(0)
        machine.init(
            hx711, freq=self._machine_hz, in_base=self._data, jmp_pin=self._data, sideset_base=self._clock
        )
        machine.exec(CLOCK_HIGH)
        self._sleep_us(SLEEP_US)
        machine.exec(CLOCK_LOW)
        machine.put(23 + self.input)
        self._left = TRANSFERS
        self._next = self._first_word
        dma.config(read=machine, write=self._ring, count=TRANSFERS, ctrl=self._control, trigger=True)
        self._begin_anew()
        self._pulses = 0
        self._rest = 0
        before = self._ticks_us()
        machine.active(1)
        took = (self._ticks_us() - before) & _TICKS_MASK
        self.ticks = (before + (took >> 1)) & _TICKS_MASK
        self._looked = self.ticks

    def poll(self) -> bool:
        """Take the oldest conversion that is waiting, if one is."""
        now = self._ticks_us()
        remaining = self._dma.count
        waiting = self._left - remaining
        if waiting < 2:
            if waiting == 0:
                self._looked = now
                if remaining == 0:
                    self._left = TRANSFERS
                    self._dma.config(count=TRANSFERS, trigger=True)
            return False
        now = self._ticks_us()
        lost = 0
        if waiting > _RING_WORDS - 4:
            lost = self._leave_out(waiting, now)
        turns = self._words[self._next]
        word = self._words[self._next + 1]
        self._step_on(2)
        last = self.ticks
        moved = self._tell_time(turns, now, waiting) or lost > 0
        self._read(word)
        if lost:
            self.missed = lost
        elif self._has_last:
            self.missed = self.pace.missed((self.ticks - last) & _TICKS_MASK)
        else:
            self.missed = 0
        self._has_last = True
        self._grade(moved, self._pulses == 24 + self.input)
        return True

    def _step_on(self, words: int) -> None:
        self._left -= words
        self._next = self._first_word + ((self._next - self._first_word + words) & _RING_MASK)

    def _since(self, turns: int) -> int:
        # Whole microseconds since the conversion before; what is left over is kept for the next.
        cycles = TURN_CYCLES * turns
        cycles += OVERHEAD_CYCLES + BIT_CYCLES * self._pulses if self._pulses else FIRST_CYCLES
        whole = cycles // self._cycles
        rest = (cycles - whole * self._cycles) * self._micros + self._rest
        step = rest // self._cycles
        self._rest = rest - step * self._cycles
        return whole * self._micros + step

    def _tell_time(self, turns: int, now: int, waiting: int) -> bool:
        # True when the time had to be moved.
        step = self._since(turns)
        if step < self.pace.period_us >> 2 and self._has_last and self._held_up(step, now, waiting):
            self._start_from(now, (waiting >> 1) - 1)
            self.corrections += 1
            return True
        ticks = (
            self.ticks - _TICKS_MASK - 1 + step
        ) & _TICKS_MASK  # no step leaves 30 bits, at a wrap neither
        late = (ticks - now + _READ_US) & _TICKS_MASK
        early = (self._looked - ticks) & _TICKS_MASK
        moved = False
        if _SLACK_US < late < _TICKS_HALF:
            ticks = (now - _READ_US) & _TICKS_MASK
            moved = True
        elif _SLACK_US < early < _TICKS_HALF:
            ticks = self._looked
            moved = True
        if moved:
            self.corrections += 1
        # Whatever comes next was not before this one.
        self._looked = ticks
        self.ticks = ticks
        return moved

    def _held_up(self, step: int, now: int, waiting: int) -> bool:
        # True when the newest conversion was longer ago than one can be, by the machine's time.
        rest = self._rest
        lag = ((now - self.ticks) & _TICKS_MASK) - step - self._span((waiting >> 1) - 1)
        self._rest = rest
        period = self.pace.period_us
        return period + (period >> 2) < lag < _TICKS_HALF

    def _span(self, conversions: int) -> int:
        # From the latest one told to the last of so many in the ring.
        at = self._next - self._first_word
        span = 0
        for _ in range(conversions):
            span += self._since(self._words[self._first_word + at])
            at = (at + 2) & _RING_MASK
        return span

    def _read(self, word: int) -> None:
        # The mark says how many extra bits there are: see hx711_pio.
        extra = 1
        if word >= 0x10000000:
            extra = 3
        elif word >= 0x04000000:
            extra = 2
        self._pulses = 24 + extra
        ones = (1 << extra) - 1
        self.counts = (((word >> extra) & 0xFFFFFF) ^ 0x800000) - 0x800000
        self.quality = GOOD if word & ones == ones else OUT_OF_STEP

    def _leave_out(self, waiting: int, now: int) -> int:
        # The oldest are overwritten, or will be while they are read: go on with half a ring.
        lost = (waiting - _RING_WORDS // 2) >> 1
        self.overruns += lost
        self._step_on(2 * lost)
        self._pulses = 24 + self.input
        self._start_from(now, _RING_WORDS // 4)
        return lost

    def _start_from(self, now: int, conversions: int) -> None:
        # `ticks` becomes the moment before `conversions` of them from the next in the ring on.
        ticks = (now - _READ_US - self._span(conversions)) & _TICKS_MASK
        self._rest = 0
        if not self._has_last or (self.ticks - ticks) & _TICKS_MASK >= _TICKS_HALF:
            self.ticks = ticks  # never back behind a time that was told
        self._looked = self.ticks
