"""Wires board, core and links, and owns the tasks; has no rules of its own.

Tasks, each with its period: sampling (2 ms), service (10 ms), and per link one that receives and one that
sends (10 ms). They start one after another and at different moments of a period, so that their order never
hangs on chance.
"""

import asyncio

from micropython import const

from .core.commands import Commands
from .core.identity import Identity
from .core.inbox import Inbox
from .core.outbox import Outbox
from .core.recorder import Recorder
from .core.settings import Settings
from .core.timebase import Timebase

POLL_MS = const(2)
SERVICE_MS = const(10)
LINK_MS = const(10)
_PACKETS_AT_ONCE = const(16)


class App:
    """`board` gives serial, boot, name, interpreter, ticks_us, store, converter, links and collect."""

    def __init__(self, board) -> None:  # type: ignore[no-untyped-def]
        self._board = board
        self._ticks_us = board.ticks_us
        identity = Identity(board.serial, board.boot, board.name, board.interpreter)
        self.settings = Settings()
        self._failure: Exception | None = None
        self.recorder = Recorder(Timebase(board.ticks_us()), board.store, identity, self.settings)

    async def run(self) -> None:
        """Start the tasks and sample for ever; an error in any task ends all of them."""
        await asyncio.sleep_ms(1)
        asyncio.create_task(self._watch(self._serve()))
        await asyncio.sleep_ms(2)
        for link in self._board.links:
            outbox = Outbox(self.recorder)
            asyncio.create_task(self._watch(self._receive(link, outbox)))
            await asyncio.sleep_ms(2)
            asyncio.create_task(self._watch(self._send(link, outbox)))
            await asyncio.sleep_ms(2)
        await asyncio.sleep_ms(1)
        await self._sample()

    async def _watch(self, task) -> None:  # type: ignore[no-untyped-def]
        try:
            await task
        except Exception as error:
            self._failure = error

    async def _sample(self) -> None:
        converter = self._board.converter
        push = self.recorder.push
        while True:
            if converter.poll():
                push(converter.counts, converter.ticks, converter.quality, converter.missed)
            if self._failure:
                raise self._failure
            await asyncio.sleep_ms(POLL_MS)

    async def _serve(self) -> None:
        recorder = self.recorder
        converter = self._board.converter
        was_active = False
        while True:
            if converter.input != self.settings.input:
                converter.select(self.settings.input)
            recorder.service(self._ticks_us())
            active = recorder.writer.active
            if was_active and not active:
                self._board.collect()  # between runs, where a pause costs nothing
            was_active = active
            await asyncio.sleep_ms(SERVICE_MS)

    async def _receive(self, link, outbox: Outbox) -> None:  # type: ignore[no-untyped-def]
        commands = Commands(self.recorder, outbox)
        inbox = Inbox()
        buffer = bytearray(64)
        was_connected = False
        while True:
            count = link.receive_into(buffer)
            for i in range(count):
                length = inbox.feed(buffer[i])
                if length:
                    commands.handle(inbox.record, length, self._ticks_us())
            outbox.bad_records = inbox.bad_records
            if was_connected and not link.connected:
                inbox.clear()
                outbox.link_lost()
            was_connected = link.connected
            await asyncio.sleep_ms(0 if count == len(buffer) else LINK_MS)

    async def _send(self, link, outbox: Outbox) -> None:  # type: ignore[no-untyped-def]
        packet = bytearray(link.max_packet)
        start = 0
        end = 0
        while True:
            packets = 0
            while link.connected and packets < _PACKETS_AT_ONCE:
                if start == end:
                    start = 0
                    end = outbox.fill(packet, len(packet), self._ticks_us())
                    if end == 0:
                        break
                start += link.send(packet, start, end)
                packets += 1
                await asyncio.sleep_ms(0)  # sampling comes first
                if start < end:
                    break
            if not link.connected:
                start = end = 0
            await asyncio.sleep_ms(LINK_MS)
