"""The link over a USB cable: a serial port, by pyserial."""

import asyncio
import sys
import threading
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from breakyard.device.link.inflow import Inflow
from breakyard.errors import LinkError, LinkLost

if TYPE_CHECKING:
    from serial import Serial

BAUD: Final = 115200
"""Any number will do: USB has no baud rate."""

MAKERS: Final = {
    0x2E8A: "Raspberry Pi",
    0x303A: "Espressif",
    0x1A86: "serial adapter",
    0x10C4: "serial adapter",
}
"""USB numbers of boards, and of adapters on boards, that run a logger (from memory)."""


@dataclass(frozen=True, slots=True)
class Port:
    """A serial port that may lead to a logger."""

    name: str
    maker: str


def find() -> tuple[Port, ...]:
    """List the serial ports of boards that could be loggers; only asking tells whether one is."""
    from serial.tools.list_ports import comports

    return tuple(
        Port(one.device, MAKERS[one.vid])
        for one in sorted(comports())
        if one.vid is not None and one.vid in MAKERS
    )


KNOCK: Final = bytes(16)
"""Delimiters alone, which a logger answers with its IDENTITY (SPEC.md, section 8). A command would hold a byte 3, and
that is Ctrl-C to a board that has no logger's firmware, or is only starting it."""


class UsbLink:
    """A link through the serial port of that name."""

    knock = KNOCK

    max_packet = 1024
    read_records = 64

    def __init__(self, port: str) -> None:
        self._port = port
        self._serial: Serial | None = None
        self._inflow = Inflow()
        self._thread: threading.Thread | None = None

    async def connect(self) -> None:
        """Open the port. Raises: LinkError."""
        from serial import Serial, SerialException

        await self.disconnect()
        try:
            # For us alone: two programs at one port would each get half of what comes.
            serial = await asyncio.to_thread(
                Serial, self._port, BAUD, timeout=0.2, write_timeout=5.0, exclusive=True
            )
        except (SerialException, OSError, ValueError) as error:
            raise LinkError(
                f"cannot open {self._port}: {error}; is the cable in, and the port in nobody else's use?"
            ) from error
        _keep_lines(serial)
        self._serial, self._inflow = serial, Inflow()
        # A thread, because serial ports cannot be waited for in an event loop on every system.
        self._thread = threading.Thread(
            target=_read_on, args=(serial, self._inflow, asyncio.get_running_loop()), daemon=True
        )
        self._thread.start()

    async def disconnect(self) -> None:
        """Close the port."""
        serial, thread = self._serial, self._thread
        self._serial = self._thread = None
        self._inflow.close("the port is closed; connect again")
        if serial is not None:
            with suppress(OSError):
                serial.cancel_read()
        if thread is not None:
            await asyncio.to_thread(thread.join)
        if serial is not None:
            with suppress(OSError):
                serial.close()

    async def send(self, data: bytes) -> None:
        """Write to the port. Raises: LinkLost."""
        self._inflow.check()
        assert self._serial is not None
        try:
            await asyncio.to_thread(self._serial.write, data)
        except OSError as error:  # SerialException is one
            self._inflow.close("the cable was pulled")
            raise LinkLost(f"cannot write to {self._port}: {error}") from error

    async def receive(self) -> bytes:
        """Wait for some bytes. Raises: LinkLost."""
        return await self._inflow.take()


def _keep_lines(serial: "Serial") -> None:
    """Closing the port shall leave DTR and RTS as they are: their edges restart many boards with an ESP32."""
    if sys.platform != "win32":
        import termios

        with suppress(termios.error):
            settings = termios.tcgetattr(serial.fileno())
            settings[2] &= ~termios.HUPCL
            termios.tcsetattr(serial.fileno(), termios.TCSANOW, settings)


def _read_on(serial: "Serial", inflow: Inflow, loop: asyncio.AbstractEventLoop) -> None:
    """Hand on whatever comes, until the port is closed or gone."""
    try:
        while True:
            with suppress(LinkLost):
                inflow.check()
                data = serial.read(1)
                if data:
                    data += serial.read(serial.in_waiting)
                    loop.call_soon_threadsafe(inflow.put, bytes(data))
                continue
            return
    except (OSError, TypeError):  # pyserial raises TypeError when the port is closed under it
        with suppress(RuntimeError):  # the event loop has ended
            loop.call_soon_threadsafe(inflow.close, "the cable was pulled, or the board went off")
    except RuntimeError:
        return
