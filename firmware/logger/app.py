"""Wires board, core and links, and owns the tasks; has no rules of its own.

Tasks, each with its period: sampling (2 or 10 ms, as the driver of the converter says), service (10 ms), per link one
that receives and one that sends (10 ms; 50 ms while nobody is there or nothing was said for a second), and one that
announces the state (1 s). While nothing is awaited or recorded, sampling and service are 40 ms apart where PIO and DMA
keep the samples and no button waits: most of a battery goes into waking up. Sampling takes all that wait in a turn.
They start one after another and at different moments of a period, so that their order never hangs on chance.
"""

import asyncio
import os

from micropython import const

from .core import layout
from .core.auth import Gate, Keys, MemorySecrets
from .core.commands import Commands
from .core.credit import Credit
from .core.identity import Identity
from .core.inbox import Inbox
from .core.kept_settings import KeptSettings
from .core.outbox import Outbox
from .core.probe import Probe
from .core.record import text_bytes
from .core.recorder import Recorder
from .core.settings import Settings
from .core.timebase import Timebase, ticks_between
from .upkeep import Upkeep

AT_ONCE = const(32)  # samples taken before others have a turn
_SERVICE_MS = const(10)
_LINK_MS = const(10)
_IDLE_LINK_MS = const(50)
_REST_MS = const(40)  # between samplings while nothing is awaited or recorded
_QUIET_ROUNDS = const(100)  # of a link, a second
_BLOCKED_MS = const(3)  # a link that is full is asked again soon: packets leave it every few milliseconds
_ANNOUNCE_MS = const(1000)
_MAX_PACKET = const(512)
_PACKETS_AT_ONCE = const(16)
_LONGEST_NAME = const(32)
_UNSEALED_S = layout.LINK_UNSEALED // 1000


class App:
    """`board` gives serial, boot, name, interpreter, ticks_us, store, converter, links and collect.

    It may give config (a SettingsFile), secrets, files, rate_pin, and what upkeep.py lists.
    """

    def __init__(self, board) -> None:  # type: ignore[no-untyped-def]
        self._board = board
        self._ticks_us = board.ticks_us
        identity = Identity(board.serial, board.boot, board.name, board.interpreter)
        self.settings = Settings()
        # A board that can keep secrets has `secrets`; otherwise a key must be set anew after each start.
        self._keys = Keys(getattr(board, "secrets", None) or MemorySecrets(), os.urandom)
        self._failure: Exception | None = None
        config = getattr(board, "config", None)
        if config:
            self.settings.take(config)
            identity.name = text_bytes(config.text("name", "", _LONGEST_NAME))
            config.unknown()
        files = getattr(board, "files", None)
        self._kept = KeptSettings(files)
        self._kept.take(self.settings)
        self.recorder = Recorder(Timebase(board.ticks_us()), board.store, identity, self.settings)
        for line in (config.complaints if config else []) + self._kept.complaints:
            self.recorder.say(layout.LEVEL_WARNING, line)
        rate_pin = getattr(board, "rate_pin", None)
        self._probe = Probe(self.recorder, board.ticks_us, files, rate_pin, self._memory)
        self._upkeep = Upkeep(board, self.recorder)
        self._may_rest = board.converter.keeps and not getattr(board, "button", None)

    @property
    def _resting(self) -> bool:
        return self._may_rest and self.recorder.state in (layout.STATE_IDLE, layout.STATE_FAULT)

    def _seconds_since(self, second: int) -> int:
        return self.recorder.timebase.second - second

    def _memory(self) -> int:
        self._board.collect()
        tell = getattr(self._board, "free_memory", None)
        return tell() if tell else 0

    async def run(self) -> None:
        """Start the tasks and sample for ever; an error in any task ends all of them."""
        await asyncio.sleep_ms(1)
        asyncio.create_task(self._watch(self._serve()))
        await asyncio.sleep_ms(2)
        for link in self._board.links:
            outbox = Outbox(self.recorder, link.checked, Credit(link.counted, os.urandom))
            asyncio.create_task(self._watch(self._receive(link, outbox)))
            await asyncio.sleep_ms(2)
            asyncio.create_task(self._watch(self._send(link, outbox)))
            await asyncio.sleep_ms(2)
        asyncio.create_task(self._watch(self._announce()))
        await asyncio.sleep_ms(1)
        await self._sample()

    async def _watch(self, task) -> None:  # type: ignore[no-untyped-def]
        try:
            await task
        except Exception as error:
            self._failure = error

    def _take(self) -> int:
        """Take samples that wait, AT_ONCE at most; return how many more it would have taken."""
        converter = self._board.converter
        push = self.recorder.push
        left = AT_ONCE
        while left and converter.poll():
            push(converter.counts, converter.ticks, converter.quality, converter.missed)
            left -= 1
        return left

    async def _sample(self) -> None:
        upkeep = self._upkeep
        take = self._take
        poll_ms = self._board.converter.poll_ms
        while True:
            left = take()
            upkeep.sampled = True
            if self._failure:
                raise self._failure
            if not left:
                await asyncio.sleep_ms(0)
            else:
                await asyncio.sleep_ms(_REST_MS if self._resting else poll_ms)

    async def _serve(self) -> None:
        recorder = self.recorder
        converter = self._board.converter
        was_active = False
        while True:
            if converter.input != self.settings.input:
                converter.select(self.settings.input)
            if self._resting:
                self._take()  # what waits to be read is no silent converter
            recorder.line = converter.line()
            recorder.unread = converter.waiting()
            if recorder.faults.restart:
                recorder.faults.restart = False
                converter.power_up()
            before = self._ticks_us()
            recorder.service(before)
            recorder.took(ticks_between(self._ticks_us(), before) // 1000)
            self._upkeep.step()
            self._probe.step()
            active = recorder.writer.active
            if was_active and not active:
                self._board.collect()  # between runs, where a pause costs nothing
            was_active = active
            await asyncio.sleep_ms(_REST_MS if self._resting and not recorder.repairing else _SERVICE_MS)

    async def _receive(self, link, outbox: Outbox) -> None:  # type: ignore[no-untyped-def]
        gate = Gate(self._keys, link.trusted)
        commands = Commands(self.recorder, outbox, gate, self._kept, self._probe)
        inbox = Inbox()
        buffer = bytearray(64)
        was_connected = False
        since = 0  # device time in seconds at which the link began
        session = link.session
        quiet = 0  # rounds without a byte
        while True:
            count = link.receive_into(buffer)
            quiet = 0 if count else quiet + 1
            if link.session != session or (was_connected and not link.connected):
                # Whoever comes next starts afresh, even if the loss was too short to be seen.
                session = link.session
                inbox.clear()
                outbox.link_lost()
                commands.link_lost()
                since = self.recorder.timebase.second
            if link.connected and not was_connected:
                since = self.recorder.timebase.second
            elif link.connected and not gate.may_stay and self._seconds_since(since) > _UNSEALED_S:
                link.end()  # nobody without the key holds the only place
            was_connected = link.connected
            if count and self._resting:
                self._take()  # START means from now on
            for i in range(count):
                length = inbox.feed(buffer[i])
                if length:
                    commands.handle(inbox.record, length, self._ticks_us())
            outbox.bad_records = inbox.bad_records
            if inbox.knocked:
                inbox.knocked = False
                if link.trusted:
                    commands.knock()
            if count == len(buffer):
                await asyncio.sleep_ms(0)
            else:
                awake = link.connected and quiet < _QUIET_ROUNDS
                await asyncio.sleep_ms(_LINK_MS if awake else _IDLE_LINK_MS)

    async def _send(self, link, outbox: Outbox) -> None:  # type: ignore[no-untyped-def]
        packet = bytearray(_MAX_PACKET)
        start = 0
        end = 0
        losses = 0
        sent_at = self._ticks_us()
        quiet = 0  # rounds in which nothing was sent
        while True:
            packets = 0
            while link.connected and packets < _PACKETS_AT_ONCE:
                if outbox.losses != losses:
                    losses = outbox.losses
                    start = end = 0  # belongs to a host that is gone
                if start == end:
                    now = self._ticks_us()
                    room = min(link.max_packet, _MAX_PACKET)
                    waited_us = ticks_between(now, sent_at)
                    if 0 <= waited_us < link.gather_ms * 1000 and not outbox.pressing(room, now):
                        break
                    if not outbox.credit.allows(room):
                        break  # nothing is put together that would grow old
                    start = 0
                    end = outbox.fill(packet, room, now)
                    if end == 0:
                        break
                count = link.send(packet, start, end)
                if count:
                    outbox.credit.sent(count)
                start += count
                packets += 1
                if start < end and not count:
                    break
                sent_at = self._ticks_us()
                await asyncio.sleep_ms(0)  # sampling comes first
            quiet = 0 if packets else quiet + 1
            if start < end:
                await asyncio.sleep_ms(_BLOCKED_MS)
            else:
                awake = link.connected and quiet < _QUIET_ROUNDS
                await asyncio.sleep_ms(_LINK_MS if awake else _IDLE_LINK_MS)

    async def _announce(self) -> None:
        while True:
            private = self._keys.private(self.settings.privacy)
            for link in self._board.links:
                link.announce(self.recorder.state, private)
            await asyncio.sleep_ms(_ANNOUNCE_MS)
