"""The link over Bluetooth LE, by bleak, whose rules hold: Linux (BlueZ), macOS and Windows.

What systems do to such links, and what is done about it here, with the source of each:

* Addresses are invented on macOS, so a logger is known by the end of its serial number in its advertised name, and
  then by its IDENTITY; scanning always names the service, as macOS 12.0 to 12.2 demands (bleak's documentation,
  "macOS backend").
* `mtu_size` reads 23 on BlueZ whatever was agreed (bleak's documentation, `BleakClient.mtu_size`), and the right
  size may come late; so the characteristic's `max_write_without_response_size` is read anew for each packet.
* Windows keeps services that are no longer there (bleak issue 1940); so its cache is not used.
* A lost link may be noticed after 0.4 s (Linux, issue 947) or after two minutes (Windows, issues 974 and 1205); so a
  heartbeat of our own says it within LOST_AFTER_S.
* After connecting again, notifications have come twice on BlueZ (issues 83 and 2002); so the client before is always
  ended, callbacks of an earlier connection are deaf, and notifications come through a file of their own
  (AcquireNotify), not through signals that several can hear.
* What a logger sends right upon subscription is lost on some systems (issue 374); ours sends nothing before it is
  spoken to, which also is why AcquireNotify is safe with it (issue 1885).
"""

import asyncio
import time
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from breakyard.device.link.inflow import Inflow
from breakyard.errors import LinkError, LinkLost, LinkTimeout, UsageError

if TYPE_CHECKING:
    from bleak import BleakClient
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData

# protocol/records.json, "uuids"; protocol/check.py compares them
SERVICE_UUID: Final = "d3d84cfa-56e2-4dec-a4e0-56fb321a2286"
STREAM_UUID: Final = "d30ce564-06f5-4ced-8d8a-e130788816f9"
COMMAND_UUID: Final = "170b746e-6cac-461f-80c0-48bec972c96c"

COMPANY: Final = 0xFFFF
NAME_ALONE: Final = "Breakyard"
"""Of a logger that tells strangers no serial number."""
NAME_START: Final = f"{NAME_ALONE}-"
MAX_WRITE: Final = 512
"""Longest value of an attribute (Bluetooth Core specification, Vol 3, Part F, 3.2.9)."""

SCAN_S: Final = 5.0
SEARCH_S: Final = 10.0
"""A logger whose host died is advertising again after 5 s (LINK_SILENCE), and then has to be heard."""
LOOK_ROUND_S: Final = 3.0
"""So long a logger without a name is looked for, as there may be several."""
CONNECT_S: Final = 20.0
CONNECT_TRIES: Final = 3
"""bleak's documentation, "Troubleshooting": a first attempt fails now and then for reasons of radio."""

HEARTBEAT_S: Final = 0.7
LOST_AFTER_S: Final = 2.0
"""With nothing heard for so long, although it was written to, the logger is out of range."""


@dataclass(frozen=True, slots=True)
class Nearby:
    """A logger that was seen advertising. `state` and `battery_percent` are None when it does not tell."""

    name: str
    serial_end: str
    state: int | None
    battery_percent: int | None
    signal_dbm: int
    device: "BLEDevice"


def _nearby(device: "BLEDevice", seen: "AdvertisementData") -> Nearby:
    # A name is text from a stranger: only the hex digits of ours are taken from it.
    name = seen.local_name or device.name or ""
    end = name.removeprefix(NAME_START).lower()
    known = name.startswith(NAME_START) and len(end) == 8 and all(sign in "0123456789abcdef" for sign in end)
    data = seen.manufacturer_data.get(COMPANY, b"")
    told = len(data) >= 3 and data[0] == 1
    return Nearby(
        name=NAME_START + end if known else NAME_ALONE if name == NAME_ALONE else "(no name)",
        serial_end=end if known else "",
        state=data[1] if told else None,
        battery_percent=data[2] if told and data[2] <= 100 else None,
        signal_dbm=seen.rssi,
        device=device,
    )


def matches(nearby: Nearby, serial: str) -> bool:
    """True when a serial number, or the end of one, as the user typed it is this logger's by what it advertises."""
    wanted = _wanted(serial)
    return not wanted or (
        bool(nearby.serial_end) and (nearby.serial_end.endswith(wanted) or wanted.endswith(nearby.serial_end))
    )


def may_be(nearby: Nearby, serial: str) -> bool:
    """The same, or it does not tell its serial number, so that it may be the one."""
    return nearby.name == NAME_ALONE or matches(nearby, serial)


def _wanted(serial: str) -> str:
    return serial.lower().removeprefix(NAME_START.lower())


async def find(seconds: float = SCAN_S) -> tuple[Nearby, ...]:
    """Look for loggers for some seconds; strongest signal first. Raises: LinkError when there is no Bluetooth."""
    from bleak import BleakScanner
    from bleak.exc import BleakError

    try:
        seen = await BleakScanner.discover(seconds, return_adv=True, service_uuids=[SERVICE_UUID])
    except (BleakError, OSError, EOFError) as error:
        raise LinkError(f"cannot look for loggers: {error}; is Bluetooth switched on?") from error
    found = [_nearby(device, advertisement) for device, advertisement in seen.values()]
    return tuple(sorted(found, key=lambda one: -one.signal_dbm))


class BleLink:
    """A link to the logger with a certain serial number (or the end of one), or to the only one in range.

    Args:
        serial: hex digits; "" for the only logger in range.
        scan_s: how long to look for it, at most.
        lost_after_s: silence that means the link is lost.
    """

    read_records = 64
    """As many as one request may: STATUS and answers go between any two records, and receipts bound what waits."""

    def __init__(
        self, serial: str = "", *, scan_s: float = SEARCH_S, lost_after_s: float = LOST_AFTER_S
    ) -> None:
        self._serial = serial
        self._scan_s = scan_s
        self._lost_after_s = lost_after_s
        self._client: BleakClient | None = None
        self._inflow = Inflow()
        self._watch: asyncio.Task[None] | None = None
        self._writing = asyncio.Lock()
        self._heard_s = 0.0
        self._wrote_s = 0.0
        self.nearby: Nearby | None = None

    def wants(self, serial: str) -> bool:
        """True when the logger with that serial number is the one that was asked for."""
        wanted = _wanted(self._serial)
        return serial.endswith(wanted) or wanted.endswith(serial[-8:])

    @property
    def max_packet(self) -> int:
        """What one write can carry now; it grows when the MTU is agreed on."""
        if self._client is None:
            return 20
        from bleak.exc import BleakError

        try:
            found = self._client.services.get_characteristic(COMMAND_UUID)
        except BleakError:  # the connection has just ended, and its services with it; the write will say so
            return 20
        return min(found.max_write_without_response_size, MAX_WRITE) if found else 20

    async def connect(self) -> None:
        """Find the logger and subscribe to it. Raises: LinkError, UsageError when several are in range."""
        from bleak.exc import BleakError

        await self.disconnect()
        for attempt in range(1, CONNECT_TRIES + 1):
            self.nearby = await self._search()
            try:
                await self._open(self.nearby)
                return
            except (BleakError, OSError, EOFError) as error:  # TimeoutError is an OSError
                await self.disconnect()
                if attempt == CONNECT_TRIES:
                    raise LinkError(
                        f"cannot connect to {self.nearby.name}: {error or type(error).__name__}; "
                        "go nearer, or close whatever else is connected to it"
                    ) from error
                await asyncio.sleep(0.2 * attempt)

    async def _search(self) -> Nearby:
        from bleak import BleakScanner
        from bleak.exc import BleakError

        found: dict[str, Nearby] = {}

        def wanted(device: "BLEDevice", seen: "AdvertisementData") -> bool:
            one = _nearby(device, seen)
            if may_be(one, self._serial):
                found[one.device.address] = one
            return bool(self._serial) and matches(one, self._serial)

        try:
            if not self._serial:  # there may be several, so the first to be heard is not enough
                await BleakScanner.find_device_by_filter(
                    wanted, min(self._scan_s, LOOK_ROUND_S), service_uuids=[SERVICE_UUID]
                )
            if not found:
                await BleakScanner.find_device_by_filter(
                    lambda device, seen: wanted(device, seen) or bool(found and not self._serial),
                    self._scan_s,
                    service_uuids=[SERVICE_UUID],
                )
        except (BleakError, OSError, EOFError) as error:
            raise LinkError(f"cannot look for loggers: {error}; is Bluetooth switched on?") from error
        if not found:
            name = f"logger {self._serial}" if self._serial else "logger"
            raise LinkTimeout(f"no {name} in range; is it on, and is nothing else connected to it?")
        if self._serial:  # who tells that it is the one goes before those who tell nothing
            found = {address: one for address, one in found.items() if matches(one, self._serial)} or found
        if len(found) > 1:
            names = ", ".join(sorted(one.serial_end or one.name for one in found.values()))
            raise UsageError(f"several loggers are in range ({names}); name one, as in ble:SERIAL")
        return next(iter(found.values()))

    async def _open(self, nearby: Nearby) -> None:
        from bleak import BleakClient

        inflow = self._inflow = Inflow()
        client = BleakClient(
            nearby.device,
            disconnected_callback=lambda _: inflow.close("the logger went out of range or off"),
            timeout=CONNECT_S,
            winrt={"use_cached_services": False},
        )
        self._client = client
        await client.connect()
        if client.services.get_characteristic(STREAM_UUID) is None or not self._command():
            raise LinkError("it advertises as a logger but does not have a logger's service")

        def deliver(_: Any, data: bytearray) -> None:
            if inflow is self._inflow:  # deaf once the link was opened anew
                self._heard_s = time.monotonic()
                inflow.put(bytes(data))

        await client.start_notify(STREAM_UUID, deliver, bluez={"use_start_notify": False})
        self._heard_s = self._wrote_s = time.monotonic()
        self._watch = asyncio.create_task(self._keep_alive(inflow))

    def _command(self) -> bool:
        assert self._client is not None
        return self._client.services.get_characteristic(COMMAND_UUID) is not None

    async def disconnect(self) -> None:
        """End the connection, so that others can have the logger."""
        watch, client = self._watch, self._client
        self._watch = self._client = None
        self._inflow.close("the link is closed; connect again")
        if watch is not None:
            watch.cancel()
            with suppress(asyncio.CancelledError):
                await watch
        if client is not None:
            from bleak.exc import BleakError

            with suppress(BleakError, OSError, EOFError, AssertionError):
                await client.disconnect()

    async def send(self, data: bytes) -> None:
        """Write and wait until it has arrived. Raises: LinkLost."""
        await self._write(data, self._inflow)

    async def _write(self, data: bytes, inflow: Inflow) -> None:
        from bleak.exc import BleakError

        async with self._writing:
            inflow.check()
            client = self._client
            if client is None:
                raise LinkLost("the link is closed; connect again")
            self._wrote_s = time.monotonic()
            writing = asyncio.ensure_future(client.write_gatt_char(COMMAND_UUID, data, response=True))
            ending = asyncio.ensure_future(inflow.closed.wait())
            try:
                # A write that the system never finishes must not outlast the link.
                await asyncio.wait((writing, ending), return_when=asyncio.FIRST_COMPLETED)
                inflow.check()
                writing.result()
            except (BleakError, OSError, EOFError) as error:
                if not isinstance(error, LinkLost):
                    inflow.close("the logger went out of range or off")
                raise LinkLost(f"the link broke: {error or type(error).__name__}") from error
            finally:
                ending.cancel()
                writing.cancel()
                await asyncio.gather(writing, ending, return_exceptions=True)
            self._heard_s = time.monotonic()

    async def receive(self) -> bytes:
        """Wait for a packet. Raises: LinkLost."""
        return await self._inflow.take()

    async def _keep_alive(self, inflow: Inflow) -> None:
        """Write an empty frame now and then, and say so when nothing comes back any more."""
        beat: asyncio.Task[None] | None = None
        beat_s = min(HEARTBEAT_S, self._lost_after_s / 3)
        step_s = beat_s / 2
        try:
            while True:
                before = time.monotonic()
                await asyncio.sleep(step_s)
                now = time.monotonic()
                if (
                    now - before > step_s + 0.5
                ):  # this computer was asleep or busy, which is not the logger's fault
                    self._heard_s += now - before - step_s
                if now - self._heard_s > self._lost_after_s:
                    inflow.close(f"nothing came from the logger for {self._lost_after_s:g} s")
                    return
                due = now - self._wrote_s >= beat_s
                if due and (beat is None or beat.done()):
                    if beat is not None and not beat.cancelled() and beat.exception() is not None:
                        return  # the link is closed already
                    beat = asyncio.create_task(self._write(b"\0", inflow))
        finally:
            if beat is not None:
                beat.cancel()
                with suppress(asyncio.CancelledError, LinkError):
                    await beat
