"""Raspberry Pi Pico W. NOT RUN ON HARDWARE YET: pins and calls follow the documentation only."""

import gc
import os
import select
import sys
import time

import micropython
from machine import Pin, disable_irq, enable_irq, unique_id

from ..core.store import MemoryStore
from ..drivers.hx711 import Hx711
from ..links.usb import UsbLink

DATA_PIN = 2  # GP2, pin 4 of the board, to DOUT of the converter
CLOCK_PIN = 3  # GP3, pin 5, to PD_SCK
PROMPT_PIN = 22  # GP22, pin 29; the ground beside it is pin 28
STORE_BYTES = 80000  # of about 180 kB free: some 14 000 samples


def wants_prompt() -> bool:
    """True when the prompt pin is connected to ground."""
    return Pin(PROMPT_PIN, Pin.IN, Pin.PULL_UP)() == 0


class Board:
    """Everything the app needs, made once."""

    name = "pico_w"

    def __init__(self) -> None:
        micropython.alloc_emergency_exception_buf(100)
        self.serial = unique_id()
        self.boot = int.from_bytes(os.urandom(4), "little")
        self.interpreter = "micropython " + sys.version.split("; ")[-1]
        self.ticks_us = time.ticks_us
        self.store = MemoryStore(STORE_BYTES)
        self.converter = Hx711(
            Pin(DATA_PIN, Pin.IN),
            Pin(CLOCK_PIN, Pin.OUT),
            Pin.IRQ_FALLING,
            time.ticks_us,
            disable_irq,
            enable_irq,
        )
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        micropython.kbd_intr(-1)  # byte 3 is data here, not Ctrl-C
        self.links = [UsbLink(sys.stdin.buffer, sys.stdout.buffer, self._readable)]

    def collect(self) -> None:
        """Free memory between runs."""
        gc.collect()

    def _readable(self) -> bool:
        return bool(self._poll.poll(0))
