"""The board's radio stack, played by bumble, with the virtual board behind it.

The board's process models the air in its own time: connection events, buffers, losses (firmware/virtual/radio.py).
This module lets that time pass, and carries what goes over the air to bumble's virtual link, which adds ATT, GATT,
MTU exchange and discovery, but no time. What bumble does not do is added here: the scan response (it is joined to the
advertisement), and that the answer to a write takes until the next connection event.

Not simulated: a channel, so neither range nor rate of errors; other devices; what else a central's radio is doing.
"""

import asyncio
import contextlib
import json
from typing import Any

from bumble import gatt, hci
from bumble.controller import Controller
from bumble.core import UUID
from bumble.device import Connection, Device, Peer
from bumble.host import Host
from bumble.link import LocalLink

from breakyard.simulate.logger import VirtualLogger

BOARD_ADDRESS = "F0:F1:F2:F3:F4:F5"
HANDLE = 64
LARGEST_MTU = 517
SUPERVISION_TIMEOUT = 0x08
ATT_AND_L2CAP = 3 + 4
_TURNS = 8
"""Of the event loop, from a notification to what the host says to it."""
_MOST_MS = 2000
AIR_PACKET = 251
"""Longest payload of the link layer with the data length extension (Core specification, Vol 6, Part B, 2.4)."""


class Air:
    """A board in the air. While it is entered, its time passes, `slice_s` by `slice_s`.

    Args:
        logger: a virtual logger that is switched on later; its option --radio must be 1.
        slice_s: how much device time passes at once.
        rest_s: real time left to everybody else after each slice; with 0 time passes as fast as it can.
    """

    def __init__(self, logger: VirtualLogger, *, slice_s: float = 0.03, rest_s: float = 0.0) -> None:
        self.logger = logger
        self.slice_s = slice_s
        self.rest_s = rest_s
        self.link = LocalLink()
        self.radio = Controller("board", link=self.link)
        self.device = Device(
            name="board", address=hci.Address(BOARD_ADDRESS), host=Host(self.radio, self.radio)
        )
        self.notifications = 0
        self.notified_bytes = 0
        self.notified_packets = 0  # of the link layer
        self.writes = 0
        self.written_bytes = 0
        self.largest_notification = 0
        self.longest_queue = 0
        self.moved = asyncio.Condition()
        self.on_slice: Any = None
        self.answering = 0
        self.host_writes: Any = lambda: False
        self._characteristics: dict[int, gatt.Characteristic[bytes]] = {}
        self._values: dict[int, bytes] = {}
        self._connection: Connection | None = None
        self._told: list[bytes] = []
        self._time: asyncio.Task[None] | None = None
        self.parameters: dict[str, Any] = {}
        self._soon: set[asyncio.Task[None]] = set()
        logger.on_radio = self._told.append

    async def __aenter__(self) -> "Air":
        await self.logger.power_on()
        await self.device.power_on()
        self.device.on("connection", self._connected)
        await self._send_parameters()
        await self.logger.run(0.2)
        await self._handle_told()
        self._time = asyncio.create_task(self._pass_time())
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.stop_time()
        await self.logger.power_off()
        with contextlib.suppress(Exception):
            await self.device.power_off()

    async def stop_time(self) -> None:
        """Let no more time pass; for good."""
        while self._time is not None and not self._time.done():
            self._time.cancel()  # until Python 3.12, a library's wait_for may swallow one
            await asyncio.wait({self._time}, timeout=0.2)
        self._time = None

    @contextlib.asynccontextmanager
    async def still(self) -> Any:
        """Hold the time, so that the bench can be used in between."""
        async with self.moved:
            yield

    async def set(self, **parameters: Any) -> None:
        """Change the parameters of the air: interval_us, packets, buffers, overflow, lose_every."""
        self.parameters |= parameters
        async with self.still():
            await self._send_parameters()

    async def _send_parameters(self) -> None:
        if self.parameters:
            await self.logger.send_radio(b"P" + json.dumps(self.parameters).encode())

    async def ask_longest_queue(self) -> int:
        """How many notifications ever waited in the board's radio at once."""
        async with self.still():
            await self.logger.send_radio(b"Q")
            await self.logger.run(0.01)
            await self._handle_told()
        return self.longest_queue

    async def break_link(self) -> None:
        """The link is lost, as at the edge of the range: both sides find out by their supervision time-out."""
        async with self.still():
            await self.drop_link()

    async def drop_link(self) -> None:
        """The same for whoever holds the time already (`on_slice`)."""
        if self._connection is not None:
            await self._connection.disconnect(SUPERVISION_TIMEOUT)

    async def reset_board(self) -> None:
        """The board loses its power for a moment."""
        async with self.still():
            await self.reset()

    async def reset(self) -> None:
        """The same for whoever holds the time already (`on_slice`)."""
        await self.logger.power_off()
        await self.drop_link()
        self._told.clear()
        await self.logger.power_on()
        await self._send_parameters()
        await self.logger.run(0.2)
        await self._handle_told()

    async def _pass_time(self) -> None:
        while True:
            async with self.moved:
                await self.logger.run(self.slice_s)
                await self._handle_told()
                if self.on_slice is not None:
                    await self.on_slice()
                self.moved.notify_all()
            await asyncio.sleep(self.rest_s)
            await self._wait_for_host()

    async def _wait_for_host(self) -> None:
        """Let no time pass while a host of this process does what takes a real one a millisecond.

        It takes what was notified, and has its write carried over the bus: until the board has it, or its answer came.
        """
        for _ in range(_TURNS):
            await asyncio.sleep(0)
        for _ in range(_MOST_MS):
            if self.answering or not self.host_writes():
                return
            await asyncio.sleep(0.001)

    async def _handle_told(self) -> None:
        while self._told:
            message = self._told.pop(0)
            what, rest = message[:1], message[1:]
            handle = int.from_bytes(rest[:2], "little")
            if what == b"N":
                await self._notify(handle, rest[2:])
            elif what == b"S":
                self._register(json.loads(rest))
            elif what == b"V":
                self._values[handle] = rest[2:]
            elif what == b"A":
                await self._advertise(rest[1 : 1 + rest[0]], rest[1 + rest[0] :])
            elif what == b"X":
                await self._exchange_mtu(int.from_bytes(rest, "little"))
            elif what == b"Q":
                self.longest_queue = int.from_bytes(rest, "little")
            elif what == b"D" and self._connection is not None:
                await self._connection.disconnect()

    def _register(self, table: dict[str, Any]) -> None:
        if self._characteristics:
            return  # the same board again after a reset
        for service in table["services"]:
            made = []
            for entry in service["characteristics"]:
                one: gatt.Characteristic[bytes] = gatt.Characteristic(
                    _uuid(entry["uuid"]),
                    gatt.Characteristic.Properties(entry["flags"]),
                    gatt.Characteristic.READABLE | gatt.Characteristic.WRITEABLE,
                    self._value(entry["handle"]),
                )
                self._characteristics[entry["handle"]] = one
                made.append(one)
            self.device.add_service(gatt.Service(_uuid(service["uuid"]), made))

    def _value(self, handle: int) -> Any:
        async def write(_: Any, value: bytes) -> None:
            self.writes += 1
            self.written_bytes += len(value)
            await self.logger.send_radio(b"W" + handle.to_bytes(2, "little") + value)
            self.answering += 1
            try:
                await self._next_slice()  # the answer needs a connection event of its own
            finally:
                self.answering -= 1

        return gatt.CharacteristicValue(read=lambda _: self._values.get(handle, b""), write=write)

    async def _next_slice(self) -> None:
        async with self.moved:
            await self.moved.wait()

    async def _advertise(self, data: bytes, scan_response: bytes) -> None:
        if self._connection is not None:
            return
        await self.device.start_advertising(
            advertising_data=data, advertising_interval_min=50, advertising_interval_max=50
        )
        for advertiser in self.radio.advertising_sets.values():
            advertiser.data = bytearray(data + scan_response)

    def _connected(self, connection: Connection) -> None:
        self._connection = connection
        self._send_soon(b"C" + HANDLE.to_bytes(2, "little"))
        connection.on("connection_att_mtu_update", self._mtu_changed)
        connection.on("disconnection", self._disconnected)

    def _mtu_changed(self) -> None:
        if self._connection is not None:
            self._send_soon(b"M" + self._connection.att_mtu.to_bytes(2, "little"))

    def _disconnected(self, _: int) -> None:
        self._connection = None
        self._send_soon(b"D")

    def _send_soon(self, message: bytes) -> None:
        async def send() -> None:
            with contextlib.suppress(OSError):  # the board may be off
                await self.logger.send_radio(message)

        task = asyncio.ensure_future(send())  # tasks begin in the order in which they were made
        self._soon.add(task)
        task.add_done_callback(self._soon.discard)

    async def _exchange_mtu(self, mtu: int) -> None:
        if self._connection is not None:
            with contextlib.suppress(Exception):
                async with asyncio.timeout(1.0):
                    await Peer(self._connection).request_mtu(mtu)

    async def _notify(self, handle: int, value: bytes) -> None:
        if self._connection is None:
            return
        self.notifications += 1
        self.notified_bytes += len(value)
        self.notified_packets += -(-(len(value) + ATT_AND_L2CAP) // AIR_PACKET)
        self.largest_notification = max(self.largest_notification, len(value))
        # The board's stack sends whether or not the host has subscribed.
        await self.device.gatt_server.notify_subscriber(
            self._connection, self._characteristics[handle], value, force=True
        )


def _uuid(text: str) -> UUID:
    if len(text) == 4:
        return UUID.from_16_bits(int(text, 16))
    return UUID(f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}")
