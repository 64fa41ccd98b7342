"""Started by the board after power-up: which board, then the app."""

import asyncio

from logger.app import App
from logger.boards.pico_w import Board

asyncio.run(App(Board()).run())
