"""Sends commands over a link and waits for what comes back. One task alone takes bytes from the link.

So several tasks may use a client at once: one follows a run while another asks for its end.
"""

import asyncio
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from typing import Final

from breakyard.device.client.conversation import Conversation
from breakyard.device.client.refused import refused
from breakyard.device.link.base import Link
from breakyard.errors import LinkError, LinkLost, LinkTimeout
from breakyard.wire.commands import unpack_results
from breakyard.wire.fields import Value
from breakyard.wire.layout import Command, Error

TRIES: Final = 3

KNOCK_EVERY_S: Final = 0.25
KNOCKS_FOR: Final = 5
"""Time-outs: the port of many a board restarts it when it is opened, and the firmware takes some seconds to load."""

Seal = Callable[[Command, bytes], bytes | None]
"""Given a command and its arguments: the arguments of SEALED in its place, or None to send it as it is."""


class Exchange:
    """One connection: what was sent, and what is waited for."""

    def __init__(self, link: Link, conversation: Conversation, timeout_s: float) -> None:
        self.link = link
        self.conversation = conversation
        self.timeout_s = timeout_s
        self.seal: Seal | None = None
        self._news = asyncio.Event()
        self._failure: BaseException | None = None
        self._pump: asyncio.Task[None] | None = None
        self._echo: asyncio.Task[None] | None = None
        self._sending = asyncio.Lock()

    async def start(self) -> None:
        """Connect, begin to take bytes, and knock where the link wants that. Raises: LinkError."""
        await self.link.connect()
        self._pump = asyncio.create_task(self._take())
        self._echo = asyncio.create_task(self._send_back())
        if knock := getattr(self.link, "knock", b""):
            try:
                await self._knock(knock)
            except BaseException:
                await self.stop()
                raise

    async def _knock(self, knock: bytes) -> None:
        """Send what harms nobody until a logger has said something; only then is it safe to send commands."""
        end = time.monotonic() + KNOCKS_FOR * self.timeout_s
        while not self.conversation.heard:
            if time.monotonic() > end:
                raise LinkTimeout(
                    "no logger answers at the other end of the cable; is its firmware installed, "
                    "the prompt switch open, and the port the right one?"
                )
            await self.link.send(knock)
            with suppress(LinkTimeout):
                deadline = time.monotonic() + KNOCK_EVERY_S
                while not self.conversation.heard:
                    await self.wait(deadline)

    async def stop(self) -> None:
        """Stop taking bytes and disconnect."""
        for task in (self._pump, self._echo):
            if task is not None:
                task.cancel()
                with suppress(asyncio.CancelledError):
                    await task
        self._pump = self._echo = None
        with suppress(LinkError):
            await self.link.disconnect()

    async def _take(self) -> None:
        try:
            while True:
                self.conversation.receive(await self.link.receive())
                self._wake()
                await asyncio.sleep(0)  # a babbling logger must not keep everybody else from running
        except asyncio.CancelledError:
            raise
        except BaseException as error:
            self._failure = error  # told to whoever waits next
            self._wake()

    async def _send_back(self) -> None:
        """Send receipts back as they come; a link that breaks is reported by whoever takes from it."""
        with suppress(LinkError):
            while True:
                news = self._news
                while self.conversation.receipts:
                    await self.send(self.conversation.receipts.popleft())
                await news.wait()

    def _wake(self) -> None:
        news, self._news = self._news, asyncio.Event()
        news.set()

    async def wait(self, deadline: float) -> None:
        """Wait until something came, at most until a moment of the monotonic clock. Raises: LinkTimeout, LinkLost."""
        news = self._news
        if self._failure is None:
            try:
                # Not wait_for: in Python 3.11 it forgets a Ctrl-C that comes together with the news.
                async with asyncio.timeout(max(0.0, deadline - time.monotonic())):
                    await news.wait()
            except TimeoutError as error:
                raise LinkTimeout("the logger is silent") from error
        if self._failure is not None:
            raise self._failure

    def message(self, command: Command, **arguments: Value) -> tuple[int, bytes]:
        """Number a command, sealed if need be; return its index and its bytes. Raises: UsageError."""
        return self.conversation.command(command, self.seal, **arguments)

    async def send(self, message: bytes) -> None:
        """Send bytes, cut as the link wants them. Raises: LinkLost."""
        start = 0
        async with self._sending:  # two messages in small packets must not mix
            while start < len(message):
                size = max(1, self.link.max_packet)  # may grow meanwhile
                await self.link.send(message[start : start + size])
                start += size

    async def ask(self, command: Command, **arguments: Value) -> dict[str, Value]:
        """Send a command, again if nothing comes back, and return the results of its answer.

        Raises: Refused, LinkLost, LinkTimeout.
        """
        index, message = self.message(command, **arguments)
        try:
            for _ in range(TRIES):
                await self.send(message)
                deadline = time.monotonic() + self.timeout_s
                with suppress(LinkTimeout):
                    while (answer := self.conversation.take_answer(index)) is None:
                        await self.wait(deadline)
                    if answer.error != Error.OK:
                        raise refused(command, answer.error)
                    return unpack_results(command, answer.results, version=answer.version)
        finally:
            self.conversation.give_up(index)
        raise LinkTimeout(silent(command, self.timeout_s))

    async def ask_many(
        self, command: Command, arguments: Sequence[Mapping[str, Value]], at_once: int
    ) -> list[dict[str, Value]]:
        """Send a command with each of these arguments, `at_once` on their way, none sent again; the results in order.

        Raises: Refused, LinkLost, LinkTimeout when an answer did not come.
        """
        waiting: deque[int] = deque()
        results: list[dict[str, Value]] = []
        to_come = iter(arguments)
        try:
            while True:
                while len(waiting) < at_once and (one := next(to_come, None)) is not None:
                    index, message = self.message(command, **one)
                    waiting.append(index)
                    await self.send(message)
                if not waiting:
                    return results
                deadline = time.monotonic() + self.timeout_s
                while (answer := self.conversation.take_answer(waiting[0])) is None:
                    await self.wait(deadline)
                waiting.popleft()
                if answer.error != Error.OK:
                    raise refused(command, answer.error)
                results.append(unpack_results(command, answer.results, version=answer.version))
        finally:
            for index in waiting:
                self.conversation.give_up(index)


def silent(command: Command, timeout_s: float) -> str:
    """What to say when no answer came."""
    return f"no answer to {command.name} within {timeout_s:g} s; is the logger on and in range?"


def number(value: Value) -> int:
    """A result that the table says is a number. Raises: LinkLost if the logger sent something else."""
    if not isinstance(value, int):
        raise LinkLost("the logger answered with something else than a number; is it faulty?")
    return value
