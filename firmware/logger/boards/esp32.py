"""ESP32 development board. NOT RUN ON HARDWARE YET: pins and calls follow the documentation only.

Flash is not to be written while a run is recorded: both cores stand still meanwhile, and with them this
board's reading of the converter.
"""

import gc
import os
import select
import sys
import time

import esp32
import micropython
from machine import SPI, Pin, unique_id

from ..core.flash_store import FlashStore
from ..drivers.flash_files import FileSecrets, FlashFiles
from ..drivers.hx711_esp32 import SPI_HERTZ, Hx711Spi
from ..drivers.sensors import fahrenheit_to_cdeg
from ..links.usb import UsbLink
from .choose import RUN_MEMORY
from .common import NO_PIN, RUNS_FOLDER, Extras, pin_number, radio_links, read_settings, reset_cause

SPI_NUMBER = 2
DATA_PIN = 19  # GPIO19, MISO, to DOUT of the converter
CLOCK_PIN = 23  # GPIO23, MOSI, to PD_SCK
OPEN_PIN = 18  # GPIO18, the clock of the SPI: connect nothing
PROMPT_PIN = 27  # GPIO27 to ground
OWN_LAMP = 2  # the lamp on most boards


class Board(Extras):
    """Everything the app needs, made once."""

    name = "esp32"
    spi_number = SPI_NUMBER
    data_pin = DATA_PIN
    clock_pin = CLOCK_PIN
    open_pin = OPEN_PIN
    own_lamp_pin = OWN_LAMP

    def __init__(self) -> None:
        self.config = read_settings()
        super().__init__(
            self.config, Pin(self.own_lamp_pin, Pin.OUT) if self.own_lamp_pin != NO_PIN else None
        )
        micropython.alloc_emergency_exception_buf(100)
        self.serial = bytes(2) + unique_id()  # six bytes here, the last three of them its own
        self.boot = int.from_bytes(os.urandom(4), "little")
        self.interpreter = sys.version.split("; ")[-1]
        self.ticks_us = time.ticks_us
        self.files = FlashFiles(RUNS_FOLDER)
        self.secrets = FileSecrets(self.files, "secrets")
        self.reset_cause = reset_cause()
        self.store = FlashStore(self.files, False, RUN_MEMORY[self.name], self.reset_cause)
        # A wire that is off reads high, and is named as such.
        data_pin = Pin(pin_number(self.config, "data_pin", self.data_pin), Pin.IN, Pin.PULL_UP)
        spi = SPI(
            self.spi_number,
            baudrate=SPI_HERTZ,
            polarity=0,
            phase=0,
            sck=Pin(self.open_pin),
            mosi=Pin(pin_number(self.config, "clock_pin", self.clock_pin)),
            miso=data_pin,
        )
        self.converter = Hx711Spi(data_pin, spi, Pin.IRQ_FALLING, time.ticks_us)
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._room = select.poll()
        self._room.register(sys.stdout, select.POLLOUT)
        self.links = [UsbLink(sys.stdin.buffer, sys.stdout.buffer, self._readable, self._writable)]
        self.links += radio_links(self.serial, self.name)
        self.start_watchdog(self.config)

    def temperature_cdeg(self) -> int:
        """Of the chip."""
        return fahrenheit_to_cdeg(esp32.raw_temperature())

    def collect(self) -> None:
        """Free memory between runs."""
        gc.collect()

    def _readable(self) -> bool:
        return bool(self._poll.poll(0))

    def _writable(self) -> bool:
        return bool(self._room.poll(0))
