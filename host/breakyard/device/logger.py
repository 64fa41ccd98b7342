"""A logger, for notebooks and scripts: found, connected, watched, armed, its runs fetched.

`AsyncLogger` is the thing itself; `Logger` does the same without async, over an event loop in a thread of its own, so
that it also works where a loop runs already (notebooks).
"""

import asyncio
import threading
from collections.abc import AsyncIterator, Coroutine, Iterator
from contextlib import AsyncExitStack
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self, TypeVar

from breakyard.device.client.client import Client, StoredRun
from breakyard.device.keeping import Keeper, Kept
from breakyard.device.live import LiveNumber, live_number, state_name
from breakyard.device.reach import make_link, reach
from breakyard.errors import LinkError, UsageError
from breakyard.session.files.layout import run_name

if TYPE_CHECKING:
    from breakyard.calibration import Calibration

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class FoundLogger:
    """A logger near by, or a port that may lead to one; `link` is what `Logger` takes."""

    link: str
    state: str = ""
    battery_percent: int | None = None
    signal_dbm: int | None = None
    maker: str = ""


class AsyncLogger:
    """A logger over radio, cable, or in this computer, for code that is async itself.

    Example:
        async with AsyncLogger("ble:9f3c") as logger:
            await logger.arm()

    Args:
        link: "ble", "ble:SERIAL" (or the end of it), "usb", "usb:PORT", or "virtual" for the firmware run here
            under a simulated pull.
    """

    def __init__(self, link: str = "ble") -> None:
        self.link = link
        self._stack: AsyncExitStack | None = None
        self._client: Client | None = None

    def __repr__(self) -> str:
        if self._client is None:
            return f"{type(self).__name__}({self.link!r}), not connected"
        return f"{type(self).__name__}({self.link!r}), serial {self.serial}"

    @staticmethod
    async def find(seconds: float = 5.0) -> tuple[FoundLogger, ...]:
        """Look for loggers by radio for some seconds, and for ports that may lead to one.

        Where this computer has no radio only ports are found.
        """
        from breakyard.device.link import ble, usb

        try:
            near = await ble.find(seconds)
        except LinkError:
            near = ()
        radio = tuple(
            FoundLogger(
                f"ble:{one.serial_end}" if one.serial_end else "ble",
                state_name(one.state),
                one.battery_percent,
                one.signal_dbm,
            )
            for one in near
        )
        return radio + tuple(FoundLogger(f"usb:{port.name}", maker=port.maker) for port in usb.find())

    async def connect(self) -> Self:
        """Connect, and unlock it with the key that this computer keeps for it. Raises: LinkError, UsageError."""
        if self._client is not None:
            return self
        async with AsyncExitStack() as stack:
            link = await stack.enter_async_context(make_link(self.link))
            self._client = await stack.enter_async_context(reach(link))
            self._stack = stack.pop_all()
        return self

    async def close(self) -> None:
        """Let go of the logger; what it is recording goes on."""
        stack, self._stack, self._client = self._stack, None, None
        if stack is not None:
            await stack.aclose()

    async def __aenter__(self) -> Self:
        return await self.connect()

    async def __aexit__(self, *_: object) -> None:
        await self.close()

    @property
    def client(self) -> Client:
        """The protocol's own client, for everything else. Raises: UsageError before `connect`."""
        if self._client is None:
            raise UsageError("this logger is not connected: call connect(), or use it with `with`")
        return self._client

    @property
    def serial(self) -> str:
        """Its serial number in hexadecimal."""
        identity = self.client.identity
        assert identity is not None
        return identity.serial.hex()

    async def status(self, calibration: "Calibration | None" = None) -> LiveNumber:
        """What it says of itself now. Raises: LinkError."""
        await self.client.stream_status(True)
        found = live_number(await self.client.wait_for_status(), calibration)
        await self.client.stream_status(False)
        return found

    async def live(self, calibration: "Calibration | None" = None) -> AsyncIterator[LiveNumber]:
        """Live numbers as long as they are asked for; newtons with a calibration, else counts. Raises: LinkError."""
        await self.client.stream_status(True)
        try:
            while True:
                yield live_number(await self.client.wait_for_status(), calibration)
        finally:
            if self._client is not None:
                await self._client.stream_status(False)

    async def arm(self, *, now: bool = False) -> int:
        """Let it wait for the pull, or record at once; returns the number of the run. Raises: LinkError, Refused."""
        await self.client.synchronise()
        return await (self.client.start() if now else self.client.arm())

    async def stop(self) -> int:
        """End the run under way, or disarm; returns the number of the run that ended, 0 for none."""
        return await self.client.stop()

    async def runs(self) -> tuple[StoredRun, ...]:
        """The runs in its store. Raises: LinkError."""
        return await self.client.runs()

    async def fetch(
        self, run: int | None = None, into: str | PathLike[str] = ".", *, erase: bool = False
    ) -> tuple[Path, ...]:
        """Fetch one run, or all, into a session or any folder; returns the files.

        What is there already is completed, never fetched twice. A run that is not complete ends in .part.

        Args:
            run: its number; None for all in the store.
            into: a session's folder, or any.
            erase: let the logger erase each run that is complete here.

        Raises: LinkError (what came is kept; call again), UsageError for a run that it does not have.
        """
        keeper, client = Keeper(Path(into)), self.client
        stored = {one.run: one for one in await client.runs()}
        if run is not None and run not in stored:
            raise UsageError(f"the logger has no run {run}; it has {sorted(stored) or 'none'}")
        files = []
        for number in [run] if run is not None else sorted(stored):
            name = await keeper.place(client, number, run_name(bytes.fromhex(self.serial), number))
            kept: Kept = await keeper.fetch(client, number, name)
            if erase and kept.complete and kept.sha256 is not None:
                await client.erase(number, kept.sha256)
            files.append(kept.path)
        return tuple(files)


class Logger:
    """A logger over radio, cable, or in this computer, for code that is not async.

    Example:
        >>> import breakyard as by
        >>> with by.Logger("virtual") as logger:
        ...     run = logger.arm()
        ...     number = next(logger.live())
        >>> run, number.state
        (1, 'armed')

    Args:
        link: "ble", "ble:SERIAL" (or the end of it), "usb", "usb:PORT", or "virtual" for the firmware run here
            under a simulated pull.
    """

    def __init__(self, link: str = "ble") -> None:
        self._logger = AsyncLogger(link)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread: threading.Thread | None = None

    def __repr__(self) -> str:
        return repr(self._logger).removeprefix("Async")

    @staticmethod
    def find(seconds: float = 5.0) -> tuple[FoundLogger, ...]:
        """Look for loggers by radio for some seconds, and for ports that may lead to one."""
        found: list[tuple[FoundLogger, ...]] = []
        # In a thread of its own: a notebook has a loop running in this one.
        thread = threading.Thread(target=lambda: found.append(asyncio.run(AsyncLogger.find(seconds))))
        thread.start()
        thread.join()
        return found[0] if found else ()

    def connect(self) -> Self:
        """Connect, and unlock it with the key that this computer keeps for it. Raises: LinkError, UsageError."""
        if self._loop is None:
            self._loop = asyncio.new_event_loop()
            self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
            self._thread.start()
        try:
            self._do(self._logger.connect())
        except BaseException:
            self.close()
            raise
        return self

    def close(self) -> None:
        """Let go of the logger; what it is recording goes on."""
        loop, thread = self._loop, self._thread
        if loop is None or thread is None:
            return
        try:
            self._do(self._logger.close())
        finally:
            self._loop = self._thread = None
            loop.call_soon_threadsafe(loop.stop)
            thread.join()
            loop.close()

    def __enter__(self) -> Self:
        return self.connect()

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def serial(self) -> str:
        """Its serial number in hexadecimal."""
        return self._logger.serial

    def status(self, calibration: "Calibration | None" = None) -> LiveNumber:
        """What it says of itself now. Raises: LinkError."""
        return self._do(self._logger.status(calibration))

    def live(self, calibration: "Calibration | None" = None) -> Iterator[LiveNumber]:
        """Live numbers as long as they are asked for; newtons with a calibration, else counts. Raises: LinkError."""
        numbers = self._logger.live(calibration)
        try:
            while True:
                yield self._do(_next(numbers))
        finally:
            if self._loop is not None:
                self._do(_close(numbers))

    def arm(self, *, now: bool = False) -> int:
        """Let it wait for the pull, or record at once; returns the number of the run. Raises: LinkError, Refused."""
        return self._do(self._logger.arm(now=now))

    def stop(self) -> int:
        """End the run under way, or disarm; returns the number of the run that ended, 0 for none."""
        return self._do(self._logger.stop())

    def runs(self) -> tuple[StoredRun, ...]:
        """The runs in its store. Raises: LinkError."""
        return self._do(self._logger.runs())

    def fetch(
        self, run: int | None = None, into: str | PathLike[str] = ".", *, erase: bool = False
    ) -> tuple[Path, ...]:
        """Fetch one run, or all, into a session or any folder; returns the files. As `AsyncLogger.fetch`."""
        return self._do(self._logger.fetch(run, into, erase=erase))

    def _do(self, work: Coroutine[Any, Any, T]) -> T:
        if self._loop is None:
            work.close()
            raise UsageError("this logger is not connected: call connect(), or use it with `with`")
        future = asyncio.run_coroutine_threadsafe(work, self._loop)
        try:
            return future.result()
        except KeyboardInterrupt:
            future.cancel()
            raise


async def _next(numbers: AsyncIterator[LiveNumber]) -> LiveNumber:
    return await anext(numbers)


async def _close(numbers: AsyncIterator[LiveNumber]) -> None:
    await numbers.aclose()  # type: ignore[attr-defined]
