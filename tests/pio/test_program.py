"""The PIO program as it ships, run instruction by instruction against a converter at its pins, through the driver.

Emulator: rp2040py (PyPI). Limits: HX711 data sheet V2.0, "Serial Interface" (T1 to T4, number of pulses).
Not proved here: that a real chip and a real board do the same; nothing of this has run on hardware.
"""

import pytest

pytest.importorskip(
    "rp2040py", reason="the RP2040 emulator rp2040py is not installed (no wheel for this system?)"
)

import machine
import rp2
from clock import Clock
from pio_emulator import Board, Channel, Machine

from logger.drivers import hx711_rp2
from logger.drivers.converter import GOOD, OUT_OF_STEP, RAIL, SETTLING

TICKS_MASK = 0x3FFFFFFF
COUNTS = (5, -5, 8388606, -8388607, 0x555555, -0x555556, 1, -1, 0)


class Rig:
    """The driver on an emulated board: conversions at `rate`, the first 2 ms after the start."""

    def __init__(self, cpu_hz, number, rate=150.0, counts=COUNTS):
        cycles = [round(cpu_hz * (0.002 + i / rate)) for i in range(number)]
        self.board = Board(cpu_hz, [(cycles[i], counts[i % len(counts)]) for i in range(number)])
        board = self.board
        self.driver = hx711_rp2.Hx711Pio(
            board.data_pin, board.clock_pin, Machine(board), Channel(board), 4, board.address_of,
            cpu_hz, board.ticks_us, board.sleep_us,
        )  # fmt: skip
        self.found = []

    def run(self, milliseconds, poll_ms=2.0):
        """Poll as the app does."""
        board, driver = self.board, self.driver
        for _ in range(round(milliseconds / poll_ms)):
            board.run_to(board.now + round(poll_ms * board.cpu_hz / 1000))
            while driver.poll():
                self.found.append((driver.ticks, driver.counts, driver.quality, driver.missed))

    def readings(self):
        """What the converter says of the same samples."""
        return self.board.converter.readings[: len(self.found)]

    def errors_us(self):
        """Time that the driver tells less the moment at which the line fell, for each sample."""
        start = TICKS_MASK - 100000
        times = [reading.ready * 1e6 / self.board.cpu_hz for reading in self.readings()]
        told = [(sample[0] - start) & TICKS_MASK for sample in self.found]
        return [one - other for one, other in zip(told, times, strict=True)]


@pytest.mark.parametrize("cpu_hz", [125_000_000, 150_000_000])
def test_counts_pulses_widths_and_times(cpu_hz):
    """At both boards' clocks and 150/s: counts with their sign, 25, 27, 26 pulses, 1 us high, times within 1 us."""
    rig = Rig(cpu_hz, 20)
    rig.run(38)
    rig.driver.select(3)
    rig.run(40)
    rig.driver.select(2)
    rig.run(62)
    readings = rig.readings()

    assert len(rig.found) == 20
    assert [sample[1] for sample in rig.found] == [COUNTS[i % 9] for i in range(20)]
    assert [sample[3] for sample in rig.found] == [0] * 20
    pulses = [len(reading.rises) for reading in readings]
    assert pulses == [25] * 6 + [27] * 6 + [26] * 8
    # The first with the new number of pulses is still of the old input; four more settle.
    assert [sample[2] for sample in rig.found] == (
        [SETTLING] * 4 + [GOOD, GOOD] + [SETTLING] * 5 + [GOOD] + [SETTLING] * 5 + [GOOD] * 3
    )
    highs = [fall - rise for one in readings for rise, fall in zip(one.rises, one.falls, strict=True)]
    lows = [rise - fall for one in readings for rise, fall in zip(one.rises[1:], one.falls[:-1], strict=True)]
    assert set(highs) == {cpu_hz // 1_000_000}
    assert set(lows) == {cpu_hz // 1_000_000}
    assert min(one.rises[0] - one.ready for one in readings) > 0.1e-6 * cpu_hz
    assert max(abs(error) for error in rig.errors_us()) < 1.0
    assert rig.driver.corrections == 0


def test_rails_are_marked():
    """Counts on the rails come through whole and are told from the counts beside them."""
    rig = Rig(125_000_000, 8, counts=(0, 0, 0, 0, 8388607, 8388606, -8388608, -8388607))
    rig.run(60)

    assert [sample[1:3] for sample in rig.found[4:]] == [
        (8388607, RAIL),
        (8388606, GOOD),
        (-8388608, RAIL),
        (-8388607, GOOD),
    ]


@pytest.mark.parametrize("cpu_hz", [12_000_000, 48_000_000, 133_000_000, 200_000_000, 270_000_000])
def test_widths_at_other_processor_clocks(cpu_hz):
    """High and low times stay far within 0.2 to 50 us at any clock; times stay within 1 us where a cycle is odd."""
    rig = Rig(cpu_hz, 3)
    rig.run(20)
    readings = rig.readings()
    highs = {fall - rise for one in readings for rise, fall in zip(one.rises, one.falls, strict=True)}

    assert len(rig.found) == 3
    assert 0.6e-6 * cpu_hz < min(highs)
    assert max(highs) < 1.4e-6 * cpu_hz
    assert max(abs(error) for error in rig.errors_us()) < 1.0


@pytest.mark.parametrize("cpu_hz", range(1_000_000, 300_000_000, 7_333_333))
def test_the_divider_keeps_the_width(cpu_hz):
    """Arithmetic alone, at many more clocks: five cycles are high."""
    high_s = 5 * hx711_rp2.divider(cpu_hz) / cpu_hz

    assert 0.2e-6 < high_s <= 5e-6


def test_a_lost_pulse_is_marked_and_the_next_conversion_is_in_step():
    """The line stays low where the chip lost a pulse of an even count; the program waits for it to rise."""
    rig = Rig(125_000_000, 8, counts=(4, 1000, 2000, 3000, 4000, 5000, 6000))
    rig.run(31)
    rig.board.converter.lose_pulse = True
    rig.run(40)

    assert [sample[2] for sample in rig.found] == [SETTLING] * 4 + [GOOD, OUT_OF_STEP, GOOD, GOOD]
    assert rig.found[5][1] == 2500
    assert [sample[1] for sample in rig.found[6:]] == [6000, 4]
    assert {len(reading.rises) for reading in rig.readings()} == {25}


def test_the_ring_wraps_and_keeps_what_comes_while_nobody_looks():
    """600 conversions, packed 10 000 to the second, of which 200 at a time are left waiting in the ring."""
    rig = Rig(125_000_000, 600, rate=10000.0, counts=tuple(range(-3000, 3000, 10)))
    rig.run(100, poll_ms=20)

    assert [sample[1] for sample in rig.found] == list(range(-3000, 3000, 10))
    assert rig.driver.overruns == 0
    assert max(abs(error) for error in rig.errors_us()) < 1.0


def test_what_the_ring_cannot_hold_is_counted():
    """After 350 conversions that nobody took the driver tells the exact loss and is in time again."""
    rig = Rig(125_000_000, 600, rate=10000.0, counts=tuple(range(600)))
    rig.run(20, poll_ms=2)
    before = len(rig.found)
    rig.board.run_to(rig.board.now + 35 * 125_000)
    rig.run(10, poll_ms=2)
    first = rig.found[before]

    assert first[1] - rig.found[before - 1][1] - 1 == first[3] > 100
    assert rig.driver.overruns == first[3]
    converter = rig.board.converter.readings
    for ticks, counts, _, _ in rig.found[before:]:
        told = (ticks - TICKS_MASK + 100000) & TICKS_MASK
        assert abs(told - converter[counts].ready / 125) < 101  # within a period


def test_a_queue_that_nobody_empties_keeps_the_clock_low():
    """With the channel stopped the machine stops too, before a pulse and not in it; the chip stays awake."""
    rig = Rig(125_000_000, 12, rate=1000.0)
    rig.run(3)
    rig.board.dma.write_uint32(0x444, 1)
    rig.run(12)

    assert [len(reading.rises) for reading in rig.board.converter.readings][-1] == 0
    for reading in rig.board.converter.readings:
        assert len(reading.rises) == len(reading.falls)
    assert rig.board.converter.sleeps == 1  # the one of the start


def test_power_down_and_up():
    """The clock stays high until the chip is asleep; afterwards it settles again with the input as chosen."""
    rig = Rig(125_000_000, 40, rate=1000.0)
    rig.driver.select(3)
    rig.run(10)
    rig.driver.power_down()
    rig.run(4)
    taken = len(rig.found)
    assert rig.board.converter.asleep_since is not None
    rig.driver.power_up()
    rig.run(20)

    assert rig.board.converter.sleeps > 1
    assert [sample[2] for sample in rig.found[taken : taken + 7]] == [SETTLING] * 5 + [GOOD, GOOD]
    assert {len(reading.rises) for reading in rig.board.converter.readings} == {27}


def test_the_stand_in_says_what_the_program_says():
    """firmware/virtual/rp2.py gives the same words for the same conversions, so that what is tested with it holds."""
    cpu_hz, number = 125_000_000, 10
    rig = Rig(cpu_hz, number, rate=160.0)  # moments at whole microseconds: the stand-in knows no others
    rig.run(70)
    origin = rig.driver._first_word
    emulated = list(rig.driver._words[origin : origin + 2 * number])

    time = Clock()
    conversions = [(2000 + 6250 * i, COUNTS[i % 9]) for i in range(number)]
    started_us = 100  # the chip was off and on

    class Source:
        counts = 0
        at = 0

        def next(self):
            due, self.counts = conversions[self.at] if self.at < number else (1 << 40, 0)
            self.at += 1
            return due - time.now_us

    before = machine.clock, machine.chip, rp2.clock
    try:
        machine.clock = rp2.clock = time
        machine.chip = machine.Hx711Chip()
        data, clock_pin = machine.Pin(2, machine.Pin.IN), machine.Pin(3, machine.Pin.OUT)
        driver = hx711_rp2.Hx711Pio(
            data, clock_pin, rp2.StateMachine(0), rp2.DMA(), 4, rp2.address_of, cpu_hz, time.ticks_us,
            lambda us: time.advance_to(time.now_us + us),
        )  # fmt: skip
        assert time.now_us == started_us
        machine.chip.power_up(Source())
        time.advance_to(70000)
    finally:
        machine.clock, machine.chip, rp2.clock = before
    origin = driver._first_word

    assert list(driver._words[origin : origin + 2 * number]) == emulated
