"""A logger on a computer: these files with stand-ins for pins, clock and USB (firmware/virtual)."""

import gc

from clock import clock
from machine import Pin, disable_irq, enable_irq

from ..core.flash_store import TAIL_BYTES, FlashStore
from ..core.identity import FIRMWARE
from ..core.settings_file import SettingsFile, text_of
from ..core.store import MemoryStore
from ..drivers.flash_files import FileSecrets
from ..drivers.hx711 import Hx711
from ..links.usb import UsbLink

DATA_PIN = 2
CLOCK_PIN = 3
CPU_HERTZ = 125000000
PIO_REQUEST = 4


def _sleep_us(microseconds: int) -> None:
    clock.advance_to(clock.now_us + microseconds)


def _converter(driver: str):  # type: ignore[no-untyped-def]
    # Each driver as its board makes it: bit-banged, PIO, SPI.
    data_pin = Pin(DATA_PIN, Pin.IN, Pin.PULL_UP)
    clock_pin = Pin(CLOCK_PIN, Pin.OUT)
    ticks_us = clock.ticks_us
    if driver == "pio":
        import rp2

        from ..drivers.hx711_rp2 import Hx711Pio

        return Hx711Pio(
            data_pin,
            clock_pin,
            rp2.StateMachine(0),
            rp2.DMA(),
            PIO_REQUEST,
            rp2.address_of,
            CPU_HERTZ,
            ticks_us,
            _sleep_us,
        )
    if driver == "spi":
        from machine import SPI

        from ..drivers.hx711_esp32 import SPI_HERTZ, Hx711Spi

        spi = SPI(1, baudrate=SPI_HERTZ, polarity=0, phase=0, sck=None, mosi=clock_pin, miso=data_pin)
        return Hx711Spi(data_pin, spi, Pin.IRQ_FALLING, ticks_us)
    if driver != "gpio":
        raise ValueError("no such driver: " + driver)
    return Hx711(data_pin, clock_pin, Pin.IRQ_FALLING, ticks_us, disable_irq, enable_irq, _sleep_us)


class Board:
    """Serial number, boot number and sizes come from the command line, so that a run can be repeated."""

    name = "virtual"

    def __init__(self, options, usb) -> None:  # type: ignore[no-untyped-def]
        self.serial = bytes.fromhex(options.serial)
        self.boot = options.boot
        self.interpreter = options.interpreter
        self.ticks_us = clock.ticks_us
        self.files = None
        if options.runs:
            self.files = options.flash(options.runs, options.capacity)
            ram = options.ram_bytes
            self.store = FlashStore(self.files, not ram, ram if ram else TAIL_BYTES)
            self.secrets = FileSecrets(self.files, "secrets")
        else:
            self.store = MemoryStore(options.capacity)
        if options.settings:
            with open(options.settings, "rb") as file:
                self.config = SettingsFile(text_of(file.read()))
        self.lamp = options.lamp_object
        self.rate_pin = options.rate_object
        self.battery = options.battery_object
        self._measures_memory = options.memory
        self.converter = _converter(options.driver)
        self.links = [usb if usb else UsbLink(None, None, None, None)]
        if options.radio:
            import bluetooth

            from ..links.ble import BleLink

            link = BleLink(bluetooth, clock.ticks_ms, clock.ticks_diff, self.serial, self.name, FIRMWARE)
            if options.silence_ms:  # device time may run far ahead of a host's
                link.silence_ms = options.silence_ms
            self.links.append(link)

    def free_memory(self) -> int:
        """Bytes; 0 when not asked for, so that a run can be repeated byte by byte."""
        if not self._measures_memory:
            return 0
        gc.collect()
        return gc.mem_free()

    def collect(self) -> None:
        """Free memory between runs."""
        gc.collect()
