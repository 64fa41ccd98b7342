"""A logger on a computer: these files with stand-ins for pins, clock and USB (firmware/virtual)."""

import gc

from clock import clock
from machine import Pin, disable_irq, enable_irq

from ..core.identity import FIRMWARE
from ..core.store import MemoryStore
from ..drivers.hx711 import Hx711
from ..links.usb import UsbLink

DATA_PIN = 2
CLOCK_PIN = 3


class Board:
    """Serial number, boot number and sizes come from the command line, so that a run can be repeated."""

    name = "virtual"

    def __init__(self, options, usb) -> None:  # type: ignore[no-untyped-def]
        self.serial = bytes.fromhex(options.serial)
        self.boot = options.boot
        self.interpreter = options.interpreter
        self.ticks_us = clock.ticks_us
        self.store = MemoryStore(options.capacity)
        self.converter = Hx711(
            Pin(DATA_PIN, Pin.IN),
            Pin(CLOCK_PIN, Pin.OUT),
            Pin.IRQ_FALLING,
            clock.ticks_us,
            disable_irq,
            enable_irq,
        )
        self.links = [usb if usb else UsbLink(None, None, None)]
        if options.radio:
            import bluetooth

            from ..links.ble import BleLink

            serial, model = self.serial, self.name
            self.links.append(BleLink(bluetooth, clock.ticks_ms, clock.ticks_diff, serial, model, FIRMWARE))

    def collect(self) -> None:
        """Free memory between runs."""
        gc.collect()
