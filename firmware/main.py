"""Started by the board after power-up: which board, then the app.

Byte 3 is data on the link, so Ctrl-C cannot stop the logger. To get a prompt instead, connect GP22 to
ground (pins 29 and 28) while powering up.
"""

import asyncio

from logger.app import App
from logger.boards.pico_w import Board, wants_prompt

if not wants_prompt():
    asyncio.run(App(Board()).run())
