"""The client: one conversation with one logger over any link, with time-outs and repeats.

Promises: a command is carried out at most once however often it is sent (the logger answers a repeated index from
memory); a download continues where the last one stopped; the records handed on are exactly those of the store.
"""

import asyncio
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from breakyard.client.conversation import Conversation
from breakyard.errors import LinkError, LinkLost, LinkTimeout
from breakyard.link.base import Link
from breakyard.wire.commands import unpack_results
from breakyard.wire.fields import Value
from breakyard.wire.layout import FIELDS, MAX_READ, Command, Error, Kind
from breakyard.wire.records import (
    CalibrationCopy,
    Identity,
    LogLine,
    Record,
    RunEnd,
    Settings,
    Status,
)

ANSWER_TIMEOUT_S: Final = 2.0
"""A logger answers within one connection interval (at most 0.1 s on phones); 2 s means the link is gone."""

TRIES: Final = 3


class Refused(LinkError):
    """The logger answered a command with an error."""

    def __init__(self, command: Command, error: int) -> None:
        try:
            name = Error(error).name
        except ValueError:
            name = f"error {error}"
        super().__init__(f"the logger refused {command.name}: {name}")
        self.command = command
        self.error = error


@dataclass(frozen=True, slots=True)
class StoredRun:
    """One run in the logger's store."""

    run: int
    records: int
    size_bytes: int
    complete: bool


@dataclass(frozen=True, slots=True)
class ClockOffset:
    """Where device time lies on the computer's clock: utc = device time + offset, with its half-width."""

    offset_s: float
    uncertainty_s: float
    exchanges: int


class Client:
    """Talks to a logger; use it as an async context manager, which connects and disconnects.

    Args:
        link: moves the bytes.
        first_index: number of the first command. A new client must not repeat the numbers of one before it within
            the logger's memory of one answer, so the default comes from the clock.
        answer_timeout_s: how long to wait for an answer before the command is sent again.
    """

    def __init__(
        self, link: Link, *, first_index: int | None = None, answer_timeout_s: float = ANSWER_TIMEOUT_S
    ) -> None:
        self._link = link
        self._timeout_s = answer_timeout_s
        if first_index is None:
            first_index = 1 + time.time_ns() // 1000 % 0xFFFFFF00
        self.conversation = Conversation(first_index)
        self.identity: Identity | None = None
        self.settings: Settings | None = None

    async def __aenter__(self) -> "Client":
        await self._link.connect()
        return self

    async def __aexit__(self, *_: object) -> None:
        with suppress(LinkError):
            await self._link.disconnect()

    @property
    def status(self) -> Status | None:
        """The latest status the logger sent."""
        return self.conversation.status

    @property
    def log(self) -> tuple[LogLine, ...]:
        """The lines the logger said since the connection was made."""
        return tuple(self.conversation.log)

    async def hello(self) -> Identity:
        """Ask who is there; keeps the logger's identity and settings.

        Raises: LinkError.
        """
        await self._ask(Command.HELLO)
        for record in self._take_loose():
            if isinstance(record, Identity):
                self.identity = record
            elif isinstance(record, Settings):
                self.settings = record
        if self.identity is None:
            raise LinkLost("the logger answered, but its identity was lost on the way; ask again")
        return self.identity

    async def arm(self) -> int:
        """Wait for the trigger; returns the number that the run will have. Raises: LinkError."""
        return (await self._ask(Command.ARM))["run"]

    async def start(self) -> int:
        """Begin a run at once; returns its number. Raises: LinkError."""
        return (await self._ask(Command.START))["run"]

    async def stop(self) -> int:
        """End the run, or disarm; returns the run that was ended, or 0. Raises: LinkError."""
        return (await self._ask(Command.STOP))["run"]

    async def mark(self, code: int, text: str = "") -> float:
        """Write a mark into the run being recorded; returns its device time in seconds. Raises: LinkError."""
        answer = await self._ask(Command.MARK, code=code, text=text)
        return answer["mark_s"] + answer["mark_us"] * 1e-6

    async def set(self, setting: int, value: int) -> int:
        """Change one setting; returns the value now in force. Raises: LinkError."""
        return (await self._ask(Command.SET, setting=setting, value=value))["value"]

    async def stream_status(self, on: bool) -> None:
        """Switch the status records on or off. Raises: LinkError."""
        await self._ask(Command.STREAM, on=int(on))

    async def runs(self) -> tuple[StoredRun, ...]:
        """List the runs in the store, oldest first. Raises: LinkError."""
        found: list[StoredRun] = []
        first = 1
        while first <= 0xFFFF:
            try:
                answer = await self._ask(Command.LIST, first=first)
            except Refused as refused:
                if refused.error == Error.NO_SUCH_RUN:
                    break
                raise
            run = answer["run"]
            if run < first:
                raise LinkLost(f"the logger listed run {run} when asked for {first} and later; is it faulty?")
            found.append(StoredRun(run, answer["records"], answer["bytes"], bool(answer["complete"])))
            first = run + 1
        return tuple(found)

    async def read_run(
        self, run: int, keep: Callable[[bytes], None], *, first: int = 0, follow: bool = False
    ) -> RunEnd | None:
        """Hand the records of a run, from index `first` on and in order, to `keep` as they arrive.

        Args:
            run: its number.
            keep: is given each record (without framing) exactly once.
            first: where to go on after a break: one more than the last index kept.
            follow: wait for a run that is still being recorded.

        Returns the run's end record, or None if the store holds none (the run is not complete).
        Raises: LinkError; what was kept before stays valid, and `first` continues from there.
        """
        end: RunEnd | None = None
        wanted = first
        while True:
            index, message = self.conversation.command(
                Command.READ, run=run, first=wanted, count=MAX_READ, follow=int(follow)
            )
            before = wanted

            def take() -> None:
                nonlocal wanted, end
                while self.conversation.stored:
                    record, raw = self.conversation.stored.popleft()
                    if record.run == run and record.index == wanted:
                        keep(raw)
                        wanted += 1
                        if isinstance(record, RunEnd):
                            end = record

            try:
                answer = await self._exchange(Command.READ, index, message, take, repeat=False)
            except LinkTimeout:
                if wanted == before and not follow:
                    raise
                continue
            if end is not None or (answer["finished"] and wanted >= answer["next"]):
                return end

    async def erase(self, run: int, sha256: bytes) -> None:
        """Erase a complete run, proving that its content has been kept. Raises: LinkError."""
        await self._ask(Command.ERASE, run=run, sha256=sha256)

    async def store_calibration(self, copy: CalibrationCopy) -> None:
        """Give the logger a copy of a calibration to keep, and see that it kept it.

        Raises: Refused (armed or recording, no room), LinkLost if what it kept is something else, LinkError.
        """
        arguments = {name: getattr(copy, name) for name, _ in FIELDS[Kind.CALIBRATION]}
        await self._ask(Command.STORE_CALIBRATION, **arguments)
        kept = await self.read_calibration()
        if kept is None or any(getattr(kept, name) != value for name, value in arguments.items()):
            raise LinkLost("the logger keeps another calibration than the one it was given; store it again")

    async def read_calibration(self) -> CalibrationCopy | None:
        """Ask for the copy of a calibration that the logger keeps; None when it keeps none.

        Raises: LinkError.
        """
        self._take_loose()
        try:
            await self._ask(Command.READ_CALIBRATION)
        except Refused as refused:
            if refused.error == Error.NO_SUCH_RECORD:
                return None
            raise
        found = [record for record in self._take_loose() if isinstance(record, CalibrationCopy)]
        if not found:
            raise LinkLost("the logger answered, but its calibration was lost on the way; ask again")
        return found[-1]

    async def synchronise(self, exchanges: int = 8) -> ClockOffset:
        """Find where device time lies in UTC and tell the logger, so that runs carry it.

        The exchange with the shortest way there and back bounds the offset best: the device's time was read
        somewhere between sending and receiving (Cristian 1989, Distributed Computing 3, 146).

        Raises: LinkError.
        """
        best: tuple[float, float, float] | None = None
        for _ in range(exchanges):
            sent = time.time()
            answer = await self._ask(Command.TIME)
            received = time.time()
            device_s = answer["now_s"] + answer["now_us"] * 1e-6
            half_s = max(received - sent, 0.0) / 2
            if best is None or half_s < best[0]:
                best = (half_s, device_s, (sent + received) / 2)
        assert best is not None
        half_s, device_s, utc_s = best
        await self._ask(
            Command.SET_CLOCK,
            device_s=int(device_s),
            device_us=int(device_s % 1 * 1e6),
            utc_s=int(utc_s),
            utc_us=int(utc_s % 1 * 1e6),
            uncertainty_us=min(int(half_s * 1e6) + 1, 0xFFFFFFFE),
        )
        return ClockOffset(utc_s - device_s, half_s, exchanges)

    async def wait_for_status(self) -> Status:
        """Wait for the next status record. Raises: LinkTimeout, LinkLost."""
        self.conversation.status = None
        deadline = time.monotonic() + self._timeout_s
        while self.conversation.status is None:
            await self._receive(deadline)
        return self.conversation.status

    def _take_loose(self) -> list[Record]:
        taken = list(self.conversation.loose)
        self.conversation.loose.clear()
        return taken

    async def _ask(self, command: Command, **arguments: Value) -> dict[str, int]:
        index, message = self.conversation.command(command, **arguments)
        return await self._exchange(command, index, message, lambda: None, repeat=True)

    async def _exchange(
        self, command: Command, index: int, message: bytes, take: Callable[[], None], *, repeat: bool
    ) -> dict[str, int]:
        """Send a framed command and wait for its answer, taking stored records as they come.

        Each record that arrives renews the patience of a READ. Raises: LinkError.
        """
        for _ in range(TRIES if repeat else 1):
            for start in range(0, len(message), self._link.max_packet):
                await self._link.send(message[start : start + self._link.max_packet])
            deadline = time.monotonic() + self._timeout_s
            while True:
                answer = self.conversation.take_answer(index)
                take()
                if answer is not None:
                    if answer.error != Error.OK:
                        raise Refused(command, answer.error)
                    results = unpack_results(command, answer.results, version=answer.version)
                    return {name: value for name, value in results.items() if isinstance(value, int)}
                try:
                    if await self._receive(deadline) and command is Command.READ:
                        deadline = time.monotonic() + self._timeout_s
                except LinkTimeout:
                    break
        self.conversation.give_up(index)
        raise LinkTimeout(
            f"no answer to {command.name} within {self._timeout_s:g} s; is the logger on and in range?"
        )

    async def _receive(self, deadline: float) -> bool:
        """Wait for bytes until the deadline; tells whether they held records of a run."""
        left = deadline - time.monotonic()
        if left <= 0:
            raise LinkTimeout("the logger is silent")
        try:
            data = await asyncio.wait_for(self._link.receive(), left)
        except TimeoutError as error:
            if isinstance(error, LinkError):
                raise
            raise LinkTimeout("the logger is silent") from error
        before = len(self.conversation.stored)
        self.conversation.receive(data)
        return len(self.conversation.stored) > before
