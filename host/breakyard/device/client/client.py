"""The client: one conversation with one logger over any link, with time-outs and repeats.

Promises: a command is carried out at most once however often it is sent (the logger answers a repeated index from
memory); a download continues where the last one stopped; the records handed on are exactly those of the store.
"""

import asyncio
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from breakyard.device.client.auth import SealedSession, checked_key, key_id
from breakyard.device.client.conversation import Conversation
from breakyard.device.client.exchange import Exchange, number, silent
from breakyard.device.client.read_window import ReadWindow
from breakyard.device.client.refused import refused
from breakyard.device.link.base import Link
from breakyard.errors import LinkLost, LinkTimeout, WrongLogger
from breakyard.errors import Refused as Refused
from breakyard.wire.commands import unpack_results
from breakyard.wire.fields import Value
from breakyard.wire.layout import FIELDS, MAX_READ, Access, Command, Error, Kind
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

CLOCK_SERIES: Final = 3
CLOCK_STEP_S: Final = 0.005
"""A series of exchanges during which the computer's clock was set by more than this is made again, this many times."""

UNLOCK_WAITS_S: Final = (0.5, 1.0, 2.0, 4.0)
"""A stranger's wrong seals may keep the logger from looking at ours for up to 4 s."""


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
        key: the logger's key, for a link that is no cable; see `unlock`.
    """

    def __init__(
        self,
        link: Link,
        *,
        first_index: int | None = None,
        answer_timeout_s: float = ANSWER_TIMEOUT_S,
        key: bytes | None = None,
    ) -> None:
        self._timeout_s = answer_timeout_s
        if first_index is None:
            first_index = 1 + time.time_ns() // 1000 % 0xFFFFFF00
        self.conversation = Conversation(first_index)
        self._exchange = Exchange(link, self.conversation, answer_timeout_s)
        self.identity: Identity | None = None
        self.settings: Settings | None = None
        self.name = ""
        self._key = key

    async def __aenter__(self) -> "Client":
        await self._exchange.start()
        if self._key is not None:
            try:
                await self.unlock(self._key)
            except BaseException:
                await self._exchange.stop()
                raise
        return self

    async def __aexit__(self, *_: object) -> None:
        await self._exchange.stop()

    @property
    def link(self) -> Link:
        """The link that it talks over."""
        return self._exchange.link

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
        name = (await self._exchange.ask(Command.HELLO))["name"]
        self.name = name if isinstance(name, str) else ""
        for record in self._take_loose():
            if isinstance(record, Identity):
                self.identity = record
            elif isinstance(record, Settings):
                self.settings = record
        if self.identity is None:
            raise LinkLost("the logger answered, but its identity was lost on the way; ask again")
        return self.identity

    async def unlock(self, *keys: bytes) -> None:
        """Begin a session under the key; from now on commands are sealed.

        Of several keys the one that the logger proves to have: who it is may be told under a seal only. Waits while the
        logger does so after a wrong seal. Raises: WrongLogger, LinkError.
        """
        for wait_s in (*UNLOCK_WAITS_S, None):
            session = SealedSession(checked_key(keys[0]))
            self._exchange.seal = session.seal
            try:
                answer = await self._exchange.ask(Command.CHALLENGE, host_nonce=session.host_nonce)
            except Refused as problem:
                if problem.error != Error.TOO_SOON or wait_s is None:
                    if problem.error == Error.BAD_STATE:
                        raise refused(
                            Command.CHALLENGE, problem.error, ", as it has no key; set one over the cable"
                        ) from problem
                    raise
                await asyncio.sleep(wait_s)
                continue
            nonce, proof = answer["nonce"], answer["proof"]
            assert isinstance(nonce, bytes)
            assert isinstance(proof, bytes)
            for key in keys[:-1]:
                session.key = checked_key(key)
                with suppress(WrongLogger):
                    session.begin(nonce, proof)
                    return
            session.key = checked_key(keys[-1])
            session.begin(nonce, proof)
            return

    async def set_key(self, key: bytes, access: Access = Access.STATUS) -> bytes:
        """Set the logger's key (NO_KEY: none) and what is open without it; over a cable only.

        Returns the key's id. Raises: Refused over any other link, LinkError.
        """
        answer = (await self._exchange.ask(Command.SET_KEY, key=key, access=int(access)))["key_id"]
        assert isinstance(answer, bytes)
        if answer != key_id(key):
            raise LinkLost("the logger kept another key than the one it was given; set it again")
        return answer

    async def arm(self) -> int:
        """Wait for the trigger; returns the number that the run will have. Raises: LinkError."""
        return (await self._ask(Command.ARM))["run"]

    async def start(self) -> int:
        """Begin a run at once; returns its number. Raises: LinkError."""
        return (await self._ask(Command.START))["run"]

    async def stop(self) -> int:
        """End the run, or disarm; returns the run that was ended, or 0. Raises: LinkError."""
        return (await self._ask(Command.STOP))["run"]

    async def mark(self, code: int, text: str = "", *, before_s: float = 0.0) -> float:
        """Write a mark into the run being recorded; returns its device time in seconds.

        Args:
            code: one of MarkCode.
            text: what it says.
            before_s: how long ago the moment was, at most a minute, as when its text took a while to type.

        Raises: LinkError.
        """
        before_ms = min(max(round(before_s * 1000), 0), 60_000)
        answer = await self._ask(Command.MARK, code=code, text=text, before_ms=before_ms)
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
            except Refused as problem:
                if problem.error == Error.NO_SUCH_RUN:
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
        window = ReadWindow(run, first, min(self.link.read_records, MAX_READ), follow)
        asked: set[int] = set()
        try:
            progress, deadline = 0, 0.0
            while True:
                while (start := window.next_first()) is not None:
                    index, message = self._exchange.message(
                        Command.READ, run=run, first=start, count=window.count, follow=int(follow)
                    )
                    asked.add(index)
                    window.sent(index, start)
                    await self._exchange.send(message)
                    deadline = time.monotonic() + self._timeout_s
                if self._take_read(window, keep):
                    if window.done:
                        return window.end
                    deadline = time.monotonic() + self._timeout_s
                    continue
                if window.next_first() is not None:
                    continue  # a hole was seen, and nothing more may come by itself
                try:
                    await self._exchange.wait(deadline)
                except LinkTimeout:
                    if window.progress == progress and not follow:
                        raise LinkTimeout(silent(Command.READ, self._timeout_s)) from None
                    progress = window.progress
                    window.start_over()
        finally:
            for index in asked:
                self.conversation.give_up(index)

    async def read_record(self, run: int, index: int) -> bytes | None:
        """One record of a run as bytes, or None if the store does not hold it. Raises: LinkError."""
        found: list[bytes] = []
        self.conversation.stored.clear()
        await self._ask(Command.READ, run=run, first=index, count=1, follow=0)
        while self.conversation.stored:
            record, raw = self.conversation.stored.popleft()
            if (record.run, record.index) == (run, index):
                found.append(raw)
        return found[0] if found else None

    def _take_read(self, window: ReadWindow, keep: Callable[[bytes], None]) -> bool:
        """Hand on what came for a run and look at the answers; True if there was any. Raises: Refused."""
        before = window.progress
        while self.conversation.stored:
            record, raw = self.conversation.stored.popleft()
            if window.take(record):
                keep(raw)
        for index in window.waiting_for:
            answer = None if window.done else self.conversation.take_answer(index)
            if answer is None or index not in window.waiting_for:
                continue
            if answer.error != Error.OK:
                raise refused(Command.READ, answer.error)
            results = unpack_results(Command.READ, answer.results, version=answer.version)
            window.answered(index, number(results["next"]), bool(results["finished"]))
        return window.progress > before

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
        except Refused as problem:
            if problem.error == Error.NO_SUCH_RECORD:
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
        for _ in range(CLOCK_SERIES):
            half_s, device_s, utc_s, spread_s = await self._series(exchanges)
            if spread_s <= CLOCK_STEP_S:
                break
        # Which of the computer's times was the right one is not known.
        half_s += spread_s
        await self._ask(
            Command.SET_CLOCK,
            device_s=int(device_s),
            device_us=int(device_s % 1 * 1e6),
            utc_s=int(utc_s),
            utc_us=int(utc_s % 1 * 1e6),
            uncertainty_us=min(int(half_s * 1e6) + 1, 0xFFFFFFFE),
        )
        return ClockOffset(utc_s - device_s, half_s, exchanges)

    async def _series(self, exchanges: int) -> tuple[float, float, float, float]:
        """Ask for the device's time this many times: (half-width, device time, UTC) of the shortest exchange, all in s.

        The span is measured by the clock that nobody sets. The fourth number says by how much the computer's clock was
        set meanwhile.
        """
        best: tuple[float, float, float] | None = None
        shifts: list[float] = []
        for _ in range(exchanges):
            sent = time.perf_counter()
            answer = await self._ask(Command.TIME)
            received = time.perf_counter()
            shifts.append(time.time() - received)
            half_s = (received - sent) / 2
            if best is None or half_s < best[0]:
                best = (half_s, answer["now_s"] + answer["now_us"] * 1e-6, shifts[-1] + (sent + received) / 2)
        assert best is not None
        return *best, max(shifts) - min(shifts)

    async def ask(self, command: Command, **arguments: Value) -> dict[str, Value]:
        """Carry out a command that has no method here; its results by name. Raises: LinkError."""
        return await self._exchange.ask(command, **arguments)

    async def ask_many(
        self, command: Command, arguments: Sequence[Mapping[str, Value]], at_once: int
    ) -> list[dict[str, Value]]:
        """The same command again and again, `at_once` under way at a time. Raises: LinkError."""
        return await self._exchange.ask_many(command, arguments, at_once)

    async def wait_for_status(self) -> Status:
        """Wait for the next status record. Raises: LinkTimeout, LinkLost."""
        self.conversation.status = None
        deadline = time.monotonic() + self._timeout_s
        while self.conversation.status is None:
            await self._exchange.wait(deadline)
        return self.conversation.status

    def _take_loose(self) -> list[Record]:
        taken = list(self.conversation.loose)
        self.conversation.loose.clear()
        return taken

    async def _ask(self, command: Command, **arguments: Value) -> dict[str, int]:
        results = await self._exchange.ask(command, **arguments)
        return {name: value for name, value in results.items() if isinstance(value, int)}
