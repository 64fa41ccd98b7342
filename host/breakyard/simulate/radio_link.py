"""The virtual logger's radio as a link: what a central writes and is notified of, without a stack in between.

The rules of the air hold (seals, receipts, silence, privacy). What is not simulated: see firmware/virtual/radio.py.
"""

import asyncio
import json
import struct
from typing import Final

from breakyard.errors import LinkGone, LinkLost
from breakyard.simulate.logger import VirtualLogger

COMMAND_PROPERTIES: Final = 0x0C
"""Of the characteristic that takes the host's bytes: written with and without response."""

RADIO_OPTIONS: Final = ("--radio", "1")
_HANDLE: Final = 64
_ATT: Final = 3
"""Bytes of a packet that ATT needs for itself."""


class RadioLink:
    """Connects to the radio of a virtual logger that has RADIO_OPTIONS; make it before the logger is switched on.

    Time passes as the logger's owner lets it pass: nothing here grants any.
    """

    read_records = 24

    def __init__(self, logger: VirtualLogger, mtu: int = 247) -> None:
        self.max_packet = mtu - _ATT
        self.packets = 0
        self.notified_bytes = 0
        self._logger = logger
        self._mtu = mtu
        self._command = 0
        self._open = False
        self._incoming: asyncio.Queue[bytes | None] = asyncio.Queue()
        logger.on_radio = self._take

    def _take(self, message: bytes) -> None:
        what, payload = message[:1], message[1:]
        if what == b"S":
            for service in json.loads(payload)["services"]:
                for one in service["characteristics"]:
                    if one["flags"] & COMMAND_PROPERTIES == COMMAND_PROPERTIES:
                        self._command = one["handle"]
        elif what == b"N" and self._open:
            self.packets += 1
            self.notified_bytes += len(payload) - 2
            self._incoming.put_nowait(payload[2:])
        elif what == b"D":
            self._open = False
            self._incoming.put_nowait(None)

    async def connect(self) -> None:
        """Connect and agree on the MTU. Raises: LinkLost, LinkGone."""
        if not self._command:
            raise LinkGone("the virtual logger has no radio; switch it on with one")
        self._incoming = asyncio.Queue()
        self._open = True
        await self._logger.send_radio(b"C" + struct.pack("<H", _HANDLE))
        await self._logger.send_radio(b"M" + struct.pack("<H", self._mtu))

    async def disconnect(self) -> None:
        """Hang up."""
        if self._open:
            self._open = False
            await self._logger.send_radio(b"D")

    async def send(self, data: bytes) -> None:
        """Write, in pieces that fit. Raises: LinkLost."""
        if not self._open:
            raise LinkLost("the link to the virtual logger is closed")
        for at in range(0, len(data), self.max_packet):
            piece = data[at : at + self.max_packet]
            await self._logger.send_radio(b"W" + struct.pack("<H", self._command) + piece)

    async def receive(self) -> bytes:
        """The next notification. Raises: LinkLost."""
        if not self._open and self._incoming.empty():
            raise LinkLost("the link to the virtual logger is closed")
        data = await self._incoming.get()
        if data is None:
            raise LinkLost("the virtual logger ended the link")
        return data
