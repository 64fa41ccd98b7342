"""Started by the board after power-up: which board, then the app; whatever goes wrong, the board starts anew.

Byte 3 is data on the link, so Ctrl-C cannot stop the logger, from the first lines on: a host may speak as soon as the
port is there. To get a prompt instead, connect the board's prompt pin to ground while powering up: GP22 on a Pico
(pins 29 and 28), GPIO27 on an ESP32, GPIO14 on an S3.
"""

import micropython

# Byte 3 may have come before this takes effect. It is raised at the next jump: in the loop, where it does no harm.
while True:
    try:
        micropython.kbd_intr(-1)
        for _ in range(2):
            pass
        break
    except KeyboardInterrupt:
        pass

import gc
import os
import sys
import time

import machine

RESTART_MS = 3000  # a crash at each start must not wear the flash out
LOADING_BYTES = 8192


def prompt_pin() -> int:
    """The same as in the board's file, which is not loaded yet."""
    if sys.platform == "rp2":
        return 22
    return 14 if "ESP32S3" in os.uname().machine else 27


def start() -> None:
    """Load everything and run, for ever."""
    # Each file that is loaded leaves garbage between what stays. Collected only when the heap is full, the free
    # memory would be in crumbs by then; so it is collected every few kilobytes until all is loaded.
    gc.threshold(LOADING_BYTES)
    from logger.boards.choose import DMA_WORDS, PROGRAM_BYTES, RUN_MEMORY, board_name

    # First what needs large pieces of memory: the rest of the program cuts the heap up.
    from logger.core import pieces, ring  # noqa: F401 - the ring makes its arrays when it is loaded

    name = board_name(sys.platform, os.uname().machine)
    if name in RUN_MEMORY:
        # The program comes first: a board with little memory keeps short runs.
        pieces.reserve_run(max(4096, min(RUN_MEMORY[name], gc.mem_free() - PROGRAM_BYTES)), 4096)
    if name in DMA_WORDS:
        pieces.reserve_words(DMA_WORDS[name])

    import asyncio

    from logger.app import App

    app = App(__import__("logger.boards." + name, None, None, ("Board",)).Board())
    gc.collect()
    gc.threshold(-1)
    asyncio.run(app.run())


def give_up(error: BaseException) -> None:
    """Say what happened, on the console and in a file for the next start, and start the board anew."""
    try:
        gc.collect()
        print("The logger stops and starts anew:", repr(error))
        from logger import crash
        from logger.drivers.flash_files import FlashFiles

        crash.keep(FlashFiles("/runs"), error)
    finally:
        time.sleep_ms(RESTART_MS)
        machine.reset()


prompt = machine.Pin(prompt_pin(), machine.Pin.IN, machine.Pin.PULL_UP)
time.sleep_us(100)  # until the pull-up has charged the wire
if prompt():
    try:
        start()
    except BaseException as error:
        give_up(error)
else:
    micropython.kbd_intr(3)
