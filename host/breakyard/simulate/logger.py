"""The virtual logger: the firmware's own files, run on this computer by MicroPython where it is to be had.

This module starts the process and speaks its bench protocol (firmware/virtual/README.md): what the
converter sees, how much device time passes, and the bytes of the link. It knows processes, not records.
"""

import asyncio
import json
import os
import platform
import shutil
import struct
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from breakyard.errors import LinkGone, LinkLost, LinkTimeout, UsageError

CHANNEL_LINK: Final = 0
CHANNEL_BENCH: Final = 1
CHANNEL_RADIO: Final = 2
_HEADER: Final = struct.Struct("<BH")
_MAX_MESSAGE: Final = 4096
_OWN_GROUP: Final = getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
"""Windows only; elsewhere a session of its own does the same."""
_PATIENCE_S: Final = 120.0
"""Longest wait for the interpreter to use up granted time; a guard against a hung process, not a measure."""


def firmware_dir() -> Path:
    """Return the folder with the firmware: inside the installed package, or in the checkout.

    Raises: UsageError when neither is there.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_firmware", package.parent.parent / "firmware"):
        if (folder / "virtual" / "main.py").is_file():
            return folder
    raise UsageError("the firmware files are missing from this installation; install breakyard again")


INTERPRETER_VARIABLE: Final = "BREAKYARD_INTERPRETER"
"""Names what runs the firmware where nobody says it; so a computer without MicroPython can be tried on one with it."""


def interpreter_command(name: str | None = None) -> list[str]:
    """Return the words that start the firmware's interpreter.

    Args:
        name: "micropython", "cpython", or None for what BREAKYARD_INTERPRETER says, else MicroPython where it is
            installed and CPython elsewhere.

    Raises: UsageError when the one asked for is missing.
    """
    name = name or os.environ.get(INTERPRETER_VARIABLE) or None
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    main = str(firmware_dir() / "virtual" / "main.py")
    if name == "cpython" or (name is None and found is None):
        return [sys.executable, "-u", "-B", "-E", main]
    if found is None:
        raise UsageError(
            f"no MicroPython interpreter for {platform.system()} {platform.machine()}; CPython can run the same files"
        )
    return [found, "-X", "heapsize=4m", main]


def _environment(command: list[str]) -> dict[str, str]:
    folder = firmware_dir()
    path = os.pathsep.join((str(folder / "virtual"), str(folder), ".frozen"))
    # Python's own variables would leak the host's packages into the CPython stand-in.
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    return {**kept, "MICROPYPATH": path} if "micropython" in Path(command[0]).name else kept


@dataclass
class VirtualLogger:
    """A logger process under the host's control; use it as an async context manager.

    Device time stands still unless granted: `run` grants some, and each message over the link grants what the
    logger needs to answer. So the same calls give the same bytes on every machine.
    """

    interpreter: str | None = None
    options: tuple[str, ...] = ()
    on_radio: Callable[[bytes], None] | None = None
    """Is given what the board sends into the air, with the option --radio 1 (firmware/virtual/radio.py)."""
    interpreter_version: str = field(default="", init=False)
    now_ms: float = field(default=0.0, init=False)
    _process: asyncio.subprocess.Process | None = field(default=None, init=False)
    _reader: asyncio.Task[None] | None = field(default=None, init=False)
    _events: asyncio.Queue[dict[str, Any]] = field(default_factory=asyncio.Queue, init=False)
    _link: "PipeLink | None" = field(default=None, init=False)
    _grants: int = field(default=0, init=False)

    async def __aenter__(self) -> "VirtualLogger":
        await self.power_on()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.power_off()

    async def power_on(self) -> None:
        """Start the process and wait until the firmware runs. Raises: LinkTimeout, LinkLost."""
        command = interpreter_command(self.interpreter)
        self._events, self._grants = asyncio.Queue(), 0
        self._process = await asyncio.create_subprocess_exec(
            *command,
            *self.options,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=_environment(command),
            # Ctrl-C in the terminal is for the host alone: it ends a run, and the logger must live to hand it over.
            start_new_session=True,
            creationflags=_OWN_GROUP,
        )
        self._reader = asyncio.create_task(self._read())
        ready = await self._event("ready")
        self.interpreter_version = str(ready["interpreter"])

    async def power_off(self) -> None:
        """Cut the power: the process ends at once and loses what it held in memory."""
        if self._process is None:
            return
        if self._process.returncode is None:
            self._process.kill()
        await self._process.wait()
        if self._reader is not None:
            await self._reader
        self._process = None

    async def load(self, feed: Path) -> None:
        """Let the converter deliver the conversions of a feed file from the present device time on."""
        await self._bench({"do": "load", "path": str(feed)})

    async def run(self, seconds: float) -> None:
        """Let device time pass. Raises: LinkLost if the firmware crashed."""
        self._grants += 1
        await self._bench({"do": "run", "ms": round(seconds * 1000)})
        await self.settle()

    async def realtime(self) -> None:
        """From now on device time follows the clock on the wall."""
        await self._bench({"do": "realtime"})

    async def settle(self) -> None:
        """Wait until all granted time is used up."""
        while self._grants:
            idle = await self._event("idle")
            self.now_ms = float(idle["now_ms"])
            self._grants -= 1

    def link(self) -> "PipeLink":
        """Return the link to the firmware; a new call breaks the old link."""
        if self._link is not None:
            self._link.break_off()
        self._link = PipeLink(self)
        return self._link

    async def send_link_bytes(self, data: bytes) -> None:
        """Hand bytes to the firmware's link."""
        self._grants += 1
        await self._write(CHANNEL_LINK, data)

    async def send_radio(self, message: bytes) -> None:
        """Hand a message of the air to the firmware's radio; it grants no time."""
        await self._write(CHANNEL_RADIO, message)

    async def _bench(self, message: dict[str, Any]) -> None:
        await self._write(CHANNEL_BENCH, json.dumps(message).encode())

    async def _write(self, channel: int, payload: bytes) -> None:
        if self._process is None or self._process.stdin is None or self._process.returncode is not None:
            raise LinkLost("the virtual logger is off; start it again")
        self._process.stdin.write(_HEADER.pack(channel, len(payload)) + payload)
        try:
            await self._process.stdin.drain()
        except (BrokenPipeError, ConnectionResetError) as error:
            raise LinkLost("the virtual logger went off; start it again") from error

    async def _event(self, name: str) -> dict[str, Any]:
        while True:
            try:
                # Until Python 3.12 wait_for may swallow a cancellation.
                async with asyncio.timeout(_PATIENCE_S):
                    event = await self._events.get()
            except TimeoutError as error:
                raise LinkTimeout(f"the virtual logger gave no {name} within {_PATIENCE_S:.0f} s") from error
            if event["event"] == "error":
                raise LinkLost(f"the virtual logger stopped: {event['what']}")
            if event["event"] == name:
                return event

    async def _read(self) -> None:
        assert self._process is not None
        stdout, stderr = self._process.stdout, self._process.stderr
        assert stdout is not None
        assert stderr is not None
        try:
            while True:
                channel, length = _HEADER.unpack(await stdout.readexactly(_HEADER.size))
                payload = await stdout.readexactly(length)
                if channel == CHANNEL_LINK:
                    if self._link is not None:
                        self._link.deliver(payload)
                elif channel == CHANNEL_RADIO:
                    if self.on_radio is not None:
                        self.on_radio(payload)
                else:
                    self._events.put_nowait(json.loads(payload))
        except asyncio.IncompleteReadError:
            said = (await stderr.read()).decode(errors="replace").strip().splitlines()
            self._events.put_nowait({"event": "error", "what": said[-1] if said else "its power went"})
            if self._link is not None:
                self._link.break_off()


class PipeLink:
    """The link to a virtual logger; a packet is at most as long as the bench protocol allows."""

    max_packet = _MAX_MESSAGE
    read_records = 64

    def __init__(self, logger: VirtualLogger) -> None:
        self._logger = logger
        self._incoming: asyncio.Queue[bytes | None] = asyncio.Queue()
        self._open = False
        self._broken = False

    def deliver(self, data: bytes) -> None:
        """Take bytes that came from the firmware; a link that is not open loses them, as the air does."""
        if self._open:
            self._incoming.put_nowait(data)

    def break_off(self) -> None:
        """End this link for good."""
        self._broken = True
        self._incoming.put_nowait(None)

    async def connect(self) -> None:
        if self._broken:
            raise LinkGone("the virtual logger went off, and what it had not sent is gone with it")
        while not self._incoming.empty():
            self._incoming.get_nowait()
        self._open = True

    async def disconnect(self) -> None:
        self._open = False

    async def send(self, data: bytes) -> None:
        if self._broken or not self._open:
            raise LinkLost("the link to the virtual logger is closed")
        await self._logger.send_link_bytes(data)

    async def receive(self) -> bytes:
        # What had come before the link broke is heard first, as from a cable's buffer.
        if not self._open or (self._broken and self._incoming.empty()):
            raise LinkLost("the link to the virtual logger is closed")
        data = await self._incoming.get()
        if data is None:
            raise LinkLost("the virtual logger went off")
        return data
