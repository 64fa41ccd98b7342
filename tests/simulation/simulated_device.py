"""A logger's whole firmware in this process: App, links and stand-ins, on the loop's virtual time."""

import asyncio
import os
from collections.abc import Callable, Coroutine
from types import SimpleNamespace
from typing import Any

import bluetooth
import radio
from failing_flash import Flash, PowerCut
from virtual_time import VirtualLoop

import logger.app as app_module
from logger.core import layout
from logger.core.flash_store import FlashStore
from logger.drivers.flash_files import FileSecrets
from logger.links.ble import BleLink

TICKS_MASK = 0x3FFFFFFF
SERIAL = bytes(range(1, 9))
PERIOD_US = 10870
RESTART_S = 3.0


class Journal(FlashStore):
    """Writes down what was appended, and how much of it was made safe."""

    def __init__(self, device: "Device", *more: Any) -> None:
        self._device = device
        super().__init__(*more)

    def begin(self, run: int) -> None:
        super().begin(run)
        assert run not in self._device.written, f"run {run} was there before"
        self._device.written[run] = []

    def append(self, buffer: bytearray, length: int, held: bool = False) -> bool:
        done = super().append(buffer, length, held)
        if done:
            self._device.written[self._writing].append(bytes(buffer[:length]))
        return done

    def commit(self) -> None:
        super().commit()
        self._note(self._writing)

    def end(self, sha256: bytes) -> None:
        run = self._writing
        super().end(sha256)
        self._note(run, ended=True)

    def _note(self, run: int, ended: bool = False) -> None:
        if run and not self._failed and (ended or self._while_recording) and not self._tail_used:
            self._device.safe[run] = len(self._device.written[run])


class Cell:
    """A converter of 92 conversions a second; what hangs on it is told by `load(seconds)` in counts."""

    poll_ms = 10
    keeps = True  # what was converted meanwhile, as with PIO and DMA

    def __init__(self, loop: VirtualLoop, load: Callable[[float], int]) -> None:
        self._loop = loop
        self._load = load
        self._next_us = int(loop.now * 1e6) + PERIOD_US
        self.counts = self.ticks = self.quality = self.missed = 0
        self.input = 1

    def poll(self) -> bool:
        if int(self._loop.now * 1e6) < self._next_us:
            return False
        at = self._next_us
        self._next_us += PERIOD_US
        self.counts = self._load(at / 1e6)
        self.ticks = at & TICKS_MASK
        return True

    def waiting(self) -> int:
        return max(0, (int(self._loop.now * 1e6) - self._next_us) // PERIOD_US + 1)

    def line(self) -> int:
        return -1

    def select(self, input_: int) -> None:
        self.input = input_

    def power_up(self) -> None:
        """It was never off."""


class Cable:
    """Both ends of a cable: the firmware's link, and the host's while it is connected."""

    trusted, counted, checked = True, False, False
    max_packet, gather_ms, session = 256, 0, 0

    def __init__(self) -> None:
        self.connected = False
        self.from_host = bytearray()
        self.deliver: Callable[[bytes], None] | None = None

    def receive_into(self, buffer: bytearray) -> int:
        count = min(len(buffer), len(self.from_host))
        buffer[:count] = self.from_host[:count]
        del self.from_host[:count]
        self.connected = self.connected or count > 0
        return count

    def send(self, buffer: bytearray, start: int, end: int) -> int:
        if self.deliver:
            self.deliver(bytes(buffer[start:end]))
        return end - start

    def end(self) -> None:
        """A cable stays."""

    def announce(self, state: int, private: bool) -> None:
        """A cable shows nothing."""


class Air(radio.Radio):
    """The stand-in's radio on the loop's time; what it tells goes to `told`."""

    def __init__(self, loop: VirtualLoop) -> None:
        clock = SimpleNamespace(now_us=0, next_radio_us=0, on_radio=None)
        super().__init__(clock)
        self._loop = loop
        self.told: Callable[[bytes], None] = lambda message: None
        self.services = b""
        self._timer: asyncio.TimerHandle | None = None

    def tell(self, what: bytes, payload: bytes = b"") -> None:
        if what == b"S":
            self.services = what + payload
        self.told(what + payload)

    def take(self, message: bytes) -> None:
        super().take(message)
        if self._timer is None and self.connection >= 0:
            self._timer = self._loop.call_later(self.interval_us / 1e6, self._tick)

    def _tick(self) -> None:
        self._timer = None
        if self.connection >= 0:
            self._event()
            self._timer = self._loop.call_later(self.interval_us / 1e6, self._tick)


class Device:
    """A board that can be switched on and off; `crashes` should stay empty."""

    def __init__(self, loop: VirtualLoop, flash: Flash, load: Callable[[float], int], ram_bytes: int) -> None:
        self.loop = loop
        self.flash = flash
        self.written: dict[int, list[bytes]] = {}
        self.safe: dict[int, int] = {}
        self.crashes: list[str] = []
        self.on = False
        self.starts = 0
        self.air = Air(loop)
        self.cable = Cable()
        self.app: Any = None
        self.store: Any = None
        self.after_start: Callable[[], None] = lambda: None
        self._load = load
        self._ram_bytes = ram_bytes
        self._began_s = 0.0
        self._tasks: list[asyncio.Task[Any]] = []

    @property
    def now_s(self) -> float:
        """Device time."""
        return self.loop.now - self._began_s

    def power_on(self) -> None:
        """Start the firmware; goes on trying while the flash cuts the power again."""
        while True:
            try:
                self._start()
                return
            except PowerCut:
                self.flash.cut()

    def _start(self) -> None:
        loop = self.loop
        self.starts += 1
        air, self.cable = self.air, Cable()
        air.connection = -1
        bluetooth.air = air
        store = Journal(self, self.flash, not self._ram_bytes, self._ram_bytes or 4096, layout.RESET_POWER)
        ticks_ms = lambda: int(loop.now * 1e3) & TICKS_MASK  # noqa: E731
        board = SimpleNamespace(
            serial=SERIAL,
            boot=int.from_bytes(os.urandom(4), "little"),
            name="simulated",
            interpreter="test",
            ticks_us=lambda: int(loop.now * 1e6) & TICKS_MASK,
            store=store,
            files=self.flash,
            secrets=FileSecrets(self.flash, "secrets"),
            converter=Cell(loop, self._load),
            collect=lambda: None,
            links=[
                self.cable,
                BleLink(bluetooth, ticks_ms, lambda a, b: a - b, SERIAL, "simulated", "test"),
            ],
        )
        self._began_s = loop.now
        self.store = store
        self.app = app_module.App(board)
        self.on = True
        self.after_start()
        self._spawn(self.app.run())

    def _spawn(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[Any]:
        task = self.loop.create_task(self._guarded(work, self.starts))
        self._tasks.append(task)
        return task

    async def _guarded(self, work: Coroutine[Any, Any, None], start: int) -> None:
        try:
            await work
        except PowerCut:
            self.loop.call_soon(self._went_off, start)
        except asyncio.CancelledError:
            raise
        except Exception as error:
            self.crashes.append(f"{type(error).__name__}: {error}")
            self.loop.call_soon(self._went_off, start)

    def _went_off(self, start: int) -> None:
        if self.on and self.starts == start:
            self.power_off()
            self.loop.call_later(RESTART_S, self._again)

    def _again(self) -> None:
        if not self.on:
            self.power_on()

    def power_off(self) -> None:
        """What was not safe is gone, and so is every link."""
        self.on = False
        for task in self._tasks:
            task.cancel()
        self._tasks = []
        self.flash.cut()
        if self.air.connection >= 0:
            self.air.told(b"D")
            self.air.connection = -1
        self.air._outgoing = []
        self.air._incoming = []
        if self.cable.deliver:
            self.cable.deliver(b"")

    def shim(self) -> Any:
        """What the firmware's file finds as `asyncio`."""
        return SimpleNamespace(
            create_task=self._spawn,
            sleep_ms=lambda ms: asyncio.sleep(ms / 1000),
            CancelledError=asyncio.CancelledError,
        )
