"""PIO and DMA of an RP2040 in the instruction-level emulator rp2040py (PyPI), behind the calls of `rp2`.

The driver of the firmware works against these objects unchanged. Emulated: every instruction of the state
machine with its delay and clock divider, its queues, the pads, the DMA channel with its ring and request.
Not emulated: the two cycles by which the real chip delays its inputs, the time that a DMA transfer takes.
"""

from array import array
from types import SimpleNamespace

from hx711_pins import PinConverter
from pio_assembler import assemble
from rp2040py import RP2040

PIO0 = 0x50200000
CTRL, TXF0, RXF0, INSTR_MEM0 = 0x000, 0x010, 0x020, 0x048
SM0_CLKDIV, SM0_EXECCTRL, SM0_SHIFTCTRL, SM0_INSTR, SM0_PINCTRL = 0x0C8, 0x0CC, 0x0D0, 0x0D8, 0x0DC
SRAM = 0x20000000
ADDRESS = SRAM + 0x1230  # aligned as the heap of MicroPython is, not as a ring must be
PIO_FUNCTION = 6
DATA, CLOCK = 2, 3


class Board:
    """The chip at a processor clock, with a converter on its pins; time is counted in processor cycles."""

    def __init__(self, cpu_hz, conversions):
        self.cpu_hz = cpu_hz
        self.chip = RP2040()
        # Without an owner the emulator would run ahead on its own whenever a machine is started.
        self.chip.simulator = SimpleNamespace()
        self.chip.clk_sys = cpu_hz
        self.pio = self.chip.pio[0]
        self.dma = self.chip.dma
        self.now = 0
        self.words = None
        self.data_pin = lambda: int(self.chip.gpio[DATA].input_value)
        self.clock_pin = "clock"
        self.converter = PinConverter(cpu_hz, conversions, self._set_data)
        self.chip.gpio[DATA].pad_value |= 0x40  # input enabled
        self.chip.gpio[CLOCK].ctrl = PIO_FUNCTION
        self.chip.gpio[CLOCK].add_listener(self._clock_moved)

    def _set_data(self, level):
        self.chip.gpio[DATA].set_input_value(bool(level))

    def _clock_moved(self, state, _before):
        if self.pio.pin_directions >> CLOCK & 1:
            self.converter.clock(self.now, int(state) & 1)

    def run_to(self, target):
        """Let time pass to a processor cycle."""
        pio, converter, tick = self.pio, self.converter, self.chip.clock.tick
        nanoseconds = 1e9 / self.cpu_hz
        ticked = self.now
        turns = 0
        while True:
            # From one instruction, or thing that the converter does, to the next: exact, and quicker than cycles.
            due = (pio.next_due_fp + 255) >> 8
            limit = converter.next_cycle
            if limit > target:
                limit = target
            if due < limit:
                pio_step = due - self.now
                self.now = due
                pio.advance(pio_step)
                turns += 1
                if turns & 15:  # the channel runs often enough for the queue of the state machine
                    continue
            else:
                pio_step = limit - self.now
                self.now = limit
                pio.advance(pio_step)
                converter.act(limit)
            tick((self.now - ticked) * nanoseconds)
            ticked = self.now
            if self.now >= target:
                return

    def copy_memory(self):
        """The firmware's array is the emulator's memory."""
        start = ADDRESS - SRAM
        self.words[:] = array("I", bytes(self.chip.sram[start : start + 4 * len(self.words)]))

    def ticks_us(self):
        """The counter of the board; wraps soon."""
        return (self.now * 1000000 // self.cpu_hz + 0x3FFFFFFF - 100000) & 0x3FFFFFFF

    def sleep_us(self, microseconds):
        self.run_to(self.now + microseconds * self.cpu_hz // 1000000)

    def address_of(self, words):
        self.words = words
        return ADDRESS


class Machine:
    """rp2.StateMachine 0."""

    def __init__(self, board):
        self.board = board

    def _write(self, offset, value):
        self.board.pio.write_uint32(offset, value)

    def init(self, program, freq, in_base, jmp_pin, sideset_base):
        board = self.board
        assert in_base is board.data_pin
        assert jmp_pin is board.data_pin
        assert sideset_base is board.clock_pin
        made = assemble(program.function, side_pins=1, in_shift_right=program.options["in_shiftdir"] == 1)
        for i, word in enumerate(made.words):
            self._write(INSTR_MEM0 + 4 * i, word)
        self._write(CTRL, 0)
        while board.pio.machines[0].rx_fifo.item_count:
            board.pio.read_uint32(RXF0)
        while board.pio.machines[0].tx_fifo.item_count:
            board.pio.machines[0].tx_fifo.pull()
        division = board.cpu_hz * 256 // freq
        self._write(SM0_CLKDIV, division << 8)
        self._write(SM0_EXECCTRL, DATA << 24 | made.wrap_top << 12 | made.wrap_target << 7)
        self._write(SM0_SHIFTCTRL, made.in_shift_right << 18)
        self._write(SM0_PINCTRL, made.side_bits << 29 | 1 << 26 | DATA << 15 | CLOCK << 10 | CLOCK << 5)
        self._write(SM0_INSTR, 0xE081)  # set pindirs 1: the clock is an output
        board.pio.check_changed_pins()
        self._write(SM0_INSTR, 0)  # jmp 0
        self._write(CTRL, 1 << 4)  # restart

    def exec(self, instruction):
        self._write(SM0_INSTR, instruction)
        self.board.pio.check_changed_pins()

    def put(self, word):
        assert self.tx_fifo() < 4
        self._write(TXF0, word)

    def tx_fifo(self):
        return self.board.pio.machines[0].tx_fifo.item_count

    def active(self, on):
        self._write(CTRL, 1 if on else 0)


class Channel:
    """rp2.DMA, channel 0."""

    def __init__(self, board):
        self.board = board
        self.control = 0

    def pack_ctrl(self, enable, size, inc_read, inc_write, ring_size, ring_sel, treq_sel, bswap):
        """Fields of CH0_CTRL_TRIG: RP2040 data sheet, section 2.5.7."""
        return (
            int(enable) | size << 2 | inc_read << 4 | inc_write << 5 | ring_size << 6 | ring_sel << 10
            | treq_sel << 15 | 1 << 21 | bswap << 22
        )  # fmt: skip

    def config(self, read=None, write=None, count=None, ctrl=None, trigger=False):
        registers = self.board.dma
        if not trigger:
            registers.write_uint32(0x010, ctrl)  # CH0_AL1_CTRL, which starts nothing
            return
        if read is not None:
            registers.write_uint32(0x000, PIO0 + RXF0)
        if write is not None:
            registers.write_uint32(0x004, write)
        if ctrl is not None:
            self.control = ctrl
        registers.write_uint32(0x008, count)
        registers.write_uint32(0x00C, self.control)

    def active(self, on):
        assert not on
        self.board.dma.write_uint32(0x444, 1)

    @property
    def count(self):
        self.board.copy_memory()
        return self.board.dma.read_uint32(0x008)
