"""A virtual chip, a clock and one of the drivers; runs under both interpreters."""

import machine
import rp2
from clock import Clock
from machine import SPI, Hx711Chip, Pin

from logger.drivers.hx711 import Hx711
from logger.drivers.hx711_esp32 import SPI_HERTZ, Hx711Spi
from logger.drivers.hx711_rp2 import Hx711Pio

CPU_HERTZ = 125000000


class Source:
    """Conversions at a steady step, counts 0, 1, 2 and so on unless given."""

    def __init__(self, step_us, counts=None):
        self.counts = 0
        self.step_us = step_us
        self.given = counts
        self.number = -1

    def next(self):
        self.number += 1
        self.counts = self.given[self.number % len(self.given)] if self.given else self.number
        return self.step_us


class Rig:
    """`kind` is "gpio", "pio" or "spi". `sample` is (ticks, counts, quality, missed)."""

    def __init__(self, kind, step_us=6667, counts=None, start_us=0, ppm=0):
        self.clock = Clock()
        self.clock.start_us = start_us
        machine.clock = rp2.clock = self.clock
        machine.chip = self.chip = Hx711Chip()
        data_pin = Pin(2, Pin.IN, Pin.PULL_UP)
        clock_pin = Pin(3, Pin.OUT)
        ticks_us = self.clock.ticks_us
        if kind == "pio":
            self.machine = rp2.StateMachine(0)
            self.machine.ppm = ppm
            self.channel = rp2.DMA()
            self.driver = Hx711Pio(
                data_pin,
                clock_pin,
                self.machine,
                self.channel,
                4,
                rp2.address_of,
                CPU_HERTZ,
                ticks_us,
                self.sleep_us,
            )
        elif kind == "spi":
            spi = SPI(1, baudrate=SPI_HERTZ, polarity=0, phase=0, sck=None, mosi=clock_pin, miso=data_pin)
            self.driver = Hx711Spi(data_pin, spi, Pin.IRQ_FALLING, ticks_us)
        else:
            self.driver = Hx711(
                data_pin,
                clock_pin,
                Pin.IRQ_FALLING,
                ticks_us,
                machine.disable_irq,
                machine.enable_irq,
                self.sleep_us,
            )
        self.started_us = self.clock.now_us
        self.source = Source(step_us, counts)
        self.chip.power_up(self.source)

    def sleep_us(self, microseconds):
        self.clock.advance_to(self.clock.now_us + microseconds)

    def stall(self, milliseconds):
        """Flash is erased: nobody polls and no interrupt comes through."""
        machine.hold_interrupts()
        self.sleep_us(milliseconds * 1000)
        machine.release_interrupts()

    def run(self, milliseconds, poll_ms=2):
        """Poll as the app does; the samples found."""
        found = []
        driver = self.driver
        for _ in range(milliseconds // poll_ms):
            self.sleep_us(poll_ms * 1000)
            if driver.poll():
                found.append((driver.ticks, driver.counts, driver.quality, driver.missed))
        return found

    def true_ticks(self, counts):
        """When the conversion with these counts happened, for the source that counts up."""
        return (self.clock.start_us + self.started_us + (counts + 1) * self.source.step_us) & 0x3FFFFFFF
