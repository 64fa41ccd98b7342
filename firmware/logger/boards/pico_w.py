"""Raspberry Pi Pico W. NOT RUN ON HARDWARE YET: pins and calls follow the documentation only."""

import gc
import os
import select
import sys
import time

import micropython
import rp2
import uctypes
from machine import ADC, Pin, freq, mem32, unique_id
from micropython import const

from ..core.flash_store import FlashStore
from ..core.layout import RESET_RESET, RESET_WATCHDOG
from ..core.pieces import take_words
from ..drivers.flash_files import FileSecrets, FlashFiles
from ..drivers.hx711_rp2 import RING_ROOM, Hx711Pio
from ..drivers.sensors import rp2_temperature_cdeg
from ..links.usb import UsbLink
from .common import RUNS_FOLDER, Extras, pin_number, radio_links, read_settings, reset_cause

DATA_PIN = 2  # GP2, pin 4 of the board, to DOUT of the converter
CLOCK_PIN = 3  # GP3, pin 5, to PD_SCK
PROMPT_PIN = 22  # GP22, pin 29; the ground beside it is pin 28
_STATE_MACHINE = const(0)  # the first of PIO 0; the radio of the board uses another PIO
# DREQ_PIO0_RX0 in the data sheets' tables of DMA requests, the same in RP2040 and RP2350
_PIO_REQUEST = const(4)
_OWN_REGULATOR = const(23)  # of a Pico without a radio
_LAMP = const(15)  # GP15, pin 20: a lamp of your own
WATCHDOG_REASON = {"pico_w": 0x40058008, "pico2_w": 0x400D8008}  # register REASON, data sheets, "Watchdog"
_WATCHDOG_TIMER = const(1)  # its bit that says: nobody fed it; the other one is a reset that was asked for
_TEMPERATURE_CHANNEL = const(4)  # of the ADC, RP2040 and RP2350A


class Board(Extras):
    """Everything the app needs, made once."""

    name = "pico_w"

    def __init__(self) -> None:
        self.config = read_settings()
        super().__init__(self.config, Pin("LED", Pin.OUT), _LAMP)
        # The board's regulator at a steady frequency: less ripple than with skipped pulses (data sheet, Powerchain).
        quiet = self.config.number("quiet_supply", 1, 0, 1)
        on_radio = True
        try:
            Pin("WL_GPIO1", Pin.OUT)(quiet)
        except ValueError:  # a Pico without a radio, which runs this too
            on_radio = False
            Pin(_OWN_REGULATOR, Pin.OUT)(quiet)
        micropython.alloc_emergency_exception_buf(100)
        self.serial = unique_id()
        self.boot = int.from_bytes(os.urandom(4), "little")
        self.interpreter = sys.version.split("; ")[-1]
        self.ticks_us = time.ticks_us
        self.files = FlashFiles(RUNS_FOLDER)
        self.secrets = FileSecrets(self.files, "secrets")
        self.reset_cause = reset_cause()
        # The port says WDT_RESET of machine.reset() too.
        if self.reset_cause == RESET_WATCHDOG and not mem32[WATCHDOG_REASON[self.name]] & _WATCHDOG_TIMER:
            self.reset_cause = RESET_RESET
        self.store = FlashStore(self.files, reset_cause=self.reset_cause)
        self._temperature = ADC(_TEMPERATURE_CHANNEL)
        # Pull-up, never pull-down (RP2350 erratum E9): a wire that is off reads high, and is named as such.
        self.converter = Hx711Pio(
            Pin(pin_number(self.config, "data_pin", DATA_PIN), Pin.IN, Pin.PULL_UP),
            Pin(pin_number(self.config, "clock_pin", CLOCK_PIN), Pin.OUT),
            rp2.StateMachine(_STATE_MACHINE),
            rp2.DMA(),
            _PIO_REQUEST,
            uctypes.addressof,
            freq(),
            time.ticks_us,
            time.sleep_us,
            take_words(RING_ROOM),
        )
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._room = select.poll()
        self._room.register(sys.stdout, select.POLLOUT)
        # TinyUSB's queue here holds 256 bytes.
        self.links = [UsbLink(sys.stdin.buffer, sys.stdout.buffer, self._readable, self._writable, True)]
        radio = radio_links(self.serial, self.name)
        self.links += radio
        if on_radio and not radio:
            # A radio that does not start: whoever switches the lamp, which it carries, would start it again in vain.
            self.own_lamp = None
        self.start_watchdog(self.config)

    def temperature_cdeg(self) -> int:
        """Of the chip."""
        return rp2_temperature_cdeg(self._temperature.read_u16())

    def collect(self) -> None:
        """Free memory between runs."""
        gc.collect()

    def _readable(self) -> bool:
        return bool(self._poll.poll(0))

    def _writable(self) -> bool:
        return bool(self._room.poll(0))
