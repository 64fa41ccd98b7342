"""The first look through the firmware's own driver, at the stand-in of the chip; the argument is its fault, or none."""

import sys

import first_look
import machine
from clock import Clock
from machine import Hx711Chip, Pin

from logger.drivers import hx711


class Source:
    def __init__(self):
        self.counts = 0
        self._turn = 0

    def next(self):
        self._turn += 1
        self.counts = 20500 + (-60, 20, 60, -20, 50, -60)[self._turn % 6]
        return 10870


clock = Clock()
machine.clock = clock
machine.chip = chip = Hx711Chip()


def sleep_us(microseconds):
    clock.advance_to(clock.now_us + microseconds)


driver = hx711.Hx711(
    Pin(2, Pin.IN),
    Pin(3, Pin.OUT),
    Pin.IRQ_FALLING,
    clock.ticks_us,
    machine.disable_irq,
    machine.enable_irq,
    sleep_us,
)
chip.power_up(Source())
chip.break_down(None if sys.argv[1] == "none" else sys.argv[1])
seen = first_look.look(driver, clock.ticks_us, lambda ms: sleep_us(1000 * ms))
print("\n".join(first_look.words(seen, driver.line())))
