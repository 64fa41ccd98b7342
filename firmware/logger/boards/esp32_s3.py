"""ESP32-S3 development board: as an ESP32, on other pins. NOT RUN ON HARDWARE YET, as all of esp32.py."""

import esp32

from .common import NO_PIN
from .esp32 import Board as Esp32

SPI_NUMBER = 1
DATA_PIN = 13  # GPIO13, MISO, to DOUT of the converter
CLOCK_PIN = 11  # GPIO11, MOSI, to PD_SCK
OPEN_PIN = 12  # GPIO12, the clock of the SPI: connect nothing
PROMPT_PIN = 14  # GPIO14 to ground


class Board(Esp32):
    """Everything the app needs, made once."""

    name = "esp32_s3"
    spi_number = SPI_NUMBER
    data_pin = DATA_PIN
    clock_pin = CLOCK_PIN
    open_pin = OPEN_PIN
    own_lamp_pin = NO_PIN  # a lamp of three colours, which wants more than a level

    def temperature_cdeg(self) -> int:
        """Of the chip."""
        return int(esp32.mcu_temperature() * 100)  # type: ignore[attr-defined]  # not in the stubs
