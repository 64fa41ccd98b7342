"""Started by the board after power-up: which board, then the app; after a crash the board starts anew.

Byte 3 is data on the link, so Ctrl-C cannot stop the logger. To get a prompt instead, connect the board's
prompt pin to ground while powering up: GP22 on a Pico (pins 29 and 28), GPIO27 on an ESP32, GPIO14 on an S3.
"""

import asyncio
import os
import sys
import time

import machine

# First what needs large pieces of memory: the rest of the program cuts the heap up.
from logger.boards.choose import RUN_MEMORY, board_name
from logger.core import ring, run_memory  # noqa: F401 - the ring makes its arrays when it is loaded

NAME = board_name(sys.platform, os.uname().machine)
if NAME in RUN_MEMORY:
    run_memory.reserve(RUN_MEMORY[NAME], 4096)

from logger import crash  # noqa: E402
from logger.app import App  # noqa: E402
from logger.drivers.flash_files import FlashFiles  # noqa: E402

RESTART_MS = 3000  # a crash at each start must not wear the flash out

board = __import__("logger.boards." + NAME, None, None, ("Board", "wants_prompt"))

if not board.wants_prompt():
    try:
        asyncio.run(App(board.Board()).run())
    except Exception as error:
        crash.keep(FlashFiles("/runs"), error)
        time.sleep_ms(RESTART_MS)
        machine.reset()
