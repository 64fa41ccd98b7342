"""The driver against the pins of the stand-in chip."""

import machine
from clock import Clock
from firmware_support import raises
from machine import Hx711Chip, Pin

from logger.drivers import converter, hx711


class Source:
    """Conversions at a steady step with given counts."""

    def __init__(self, counts, step_us=10000):
        self.counts = 0
        self._left = list(counts)
        self._step_us = step_us

    def next(self):
        if self._left:
            self.counts = self._left.pop(0)
        return self._step_us


class Rig:
    """A chip, a clock and a driver of their own."""

    def __init__(self, counts, step_us=10000, start_us=0):
        self.clock = Clock()
        self.clock.start_us = start_us
        machine.clock = self.clock
        machine.chip = self.chip = Hx711Chip()
        data_pin = Pin(2, Pin.IN)
        clock_pin = Pin(3, Pin.OUT)
        self.driver = hx711.Hx711(
            data_pin,
            clock_pin,
            Pin.IRQ_FALLING,
            self.clock.ticks_us,
            machine.disable_irq,
            machine.enable_irq,
            self.sleep_us,
        )
        self.chip.power_up(Source(counts, step_us))

    def run(self, milliseconds, poll_ms=2):
        """Poll for that long; all samples as (ticks, counts, quality, missed)."""
        found = []
        for _ in range(milliseconds // poll_ms):
            self.clock.advance_to(self.clock.now_us + poll_ms * 1000)
            if self.driver.poll():
                driver = self.driver
                found.append((driver.ticks, driver.counts, driver.quality, driver.missed))
        return found

    def sleep_us(self, microseconds):
        self.clock.advance_to(self.clock.now_us + microseconds)

    def stall(self, milliseconds):
        self.clock.advance_to(self.clock.now_us + milliseconds * 1000)


COUNTS = (0, 1, -1, 8388607, -8388608, 0x555555, -0x555556, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10)


def test_counts_and_times_are_exact():
    found = Rig(COUNTS, 10123).run(170)

    assert [sample[1] for sample in found] == list(COUNTS[: len(found)])
    assert [sample[0] for sample in found] == [10123 * (i + 1) for i in range(len(found))]
    assert len(found) == 16


def test_the_first_four_conversions_are_settling_and_rails_are_marked():
    found = Rig((0, 0, 0, 8388607, 5, 8388607, 8388606, -8388608)).run(90)

    assert [sample[2] for sample in found[:8]] == [3, 3, 3, 3, 0, 2, 0, 2]


def test_times_run_through_the_wrap():
    found = Rig(COUNTS, 10000, 0x3FFFFFFF - 35000).run(80)

    assert [sample[3] for sample in found] == [0] * len(found)
    for i in range(1, len(found)):
        assert (found[i][0] - found[i - 1][0]) & 0x3FFFFFFF == 10000


def test_conversions_not_read_are_counted():
    rig = Rig(list(range(100)))
    rig.run(200)
    rig.stall(45)
    found = rig.run(50)

    assert found[0][3] == 3
    assert found[0][1] == 23
    assert found[0][2] == converter.GOOD  # the newest conversion, read in time
    assert [sample[3] for sample in found[1:]] == [0] * (len(found) - 1)
    assert rig.chip.lost == 3


def test_read_so_late_that_the_next_conversion_may_have_come():
    rig = Rig(list(range(100)))
    rig.run(200)
    rig.clock.advance_to(219900)  # conversion at 210 ms, the next at 220
    assert rig.driver.poll()
    assert rig.driver.quality == converter.LATE


def test_shifted_bits_are_out_of_step():
    rig = Rig(
        [4] * 100
    )  # an even count: of an odd one the shifted last bit looks like the one that should follow
    rig.run(100)
    rig.chip.lost_pulse = 1
    found = rig.run(20)

    assert [sample[2] for sample in found] == [converter.OUT_OF_STEP] * 2
    rig.chip.lost_pulse = 0
    assert [sample[2] for sample in rig.run(20)] == [converter.GOOD] * 2


def test_another_input_takes_its_pulses_and_settles():
    rig = Rig([5] * 100)
    rig.run(100)
    for chosen in (2, 3, 1):
        rig.driver.select(chosen)
        found = rig.run(100)
        assert [sample[2] for sample in found] == [3] * 5 + [0] * 5


def test_a_new_rate_is_learned():
    rig = Rig([5] * 1000, 10000)
    rig.run(500)
    rig.chip.source._step_us = 100000
    found = rig.run(3000)

    assert found[-1][3] == 0
    assert rig.driver.period_us == 100000


def test_the_period_follows_a_drifting_clock():
    rig = Rig([5] * 1000, 10000)
    rig.run(500)
    for step in range(10000, 12500, 100):
        rig.chip.source._step_us = step
        assert {sample[3] for sample in rig.run(100)} == {0}


def test_wrong_use_of_the_stand_in_raises():
    rig = Rig([5] * 100)
    pin = Pin(3, Pin.OUT)

    assert raises(ValueError, pin, 1)  # interrupts on
    masked = machine.disable_irq()
    pin(1)
    assert raises(ValueError, pin, 0)  # no conversion is ready, and too short to mean sleep
    machine.enable_irq(masked)
    assert raises(ValueError, Pin, 4, Pin.IN)
    assert raises(ValueError, Pin(2, Pin.IN).irq, None, 8)
    rig.stall(15)
    masked = machine.disable_irq()
    for _ in range(20):
        pin(1)
        pin(0)
    machine.enable_irq(masked)
    assert raises(ValueError, rig.stall, 10)  # 20 pulses
