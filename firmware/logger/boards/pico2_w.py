"""Raspberry Pi Pico 2 W: as a Pico W, with more memory and flash. NOT RUN ON HARDWARE YET, as all of pico_w.py."""

from .pico_w import CLOCK_PIN, DATA_PIN, PROMPT_PIN
from .pico_w import Board as PicoW

__all__ = ("CLOCK_PIN", "DATA_PIN", "PROMPT_PIN", "Board")


class Board(PicoW):
    """Everything the app needs, made once."""

    name = "pico2_w"
