"""A stand-in of org.bluez on a D-Bus, over bumble's central: what bleak's own Linux backend talks to.

Faithful in what shows: paths by handles, GAP hidden, GATT shown, properties and the order of their signals, RSSI gone
when scanning stops, file descriptors of AcquireNotify, a connection that outlives the program that made it
(bluez issue 89). The names and shapes follow BlueZ's documentation (doc/org.bluez.*.rst).

Not simulated: pairing, advertisement monitors, caches of services, several adapters or devices, errors of the radio.
An unexpected call is answered with an error.
"""

import asyncio
import contextlib
import os
import socket
from typing import Any

from bumble import core, hci
from bumble.controller import Controller
from bumble.core import AdvertisingData
from bumble.device import Connection, Device, Peer
from bumble.host import Host
from bumble.link import LocalLink
from dbus_fast import Message, MessageType, Variant
from dbus_fast.aio import MessageBus

ADAPTER = "/org/bluez/hci0"
OWN_ADDRESS = "C0:C1:C2:C3:C4:C5"
_ADAPTER = "org.bluez.Adapter1"
_DEVICE = "org.bluez.Device1"
_SERVICE = "org.bluez.GattService1"
_CHARACTERISTIC = "org.bluez.GattCharacteristic1"
_DESCRIPTOR = "org.bluez.GattDescriptor1"
_OBJECTS = "org.freedesktop.DBus.ObjectManager"
_GAP = "1800"

Properties = dict[str, Variant]


class BluezError(Exception):
    """Becomes org.bluez.Error.NAME."""

    def __init__(self, name: str, text: str = "") -> None:
        super().__init__(text)
        self.name = name
        self.text = text


class Bluez:
    """The daemon. `host_mtu` is what it asks for right after connecting (23: it does not ask)."""

    def __init__(self, address: str, link: LocalLink, *, host_mtu: int = 517) -> None:
        self._address = address
        self.host_mtu = host_mtu
        radio = Controller("host", link=link)
        self.central = Device(name="host", address=hci.Address(OWN_ADDRESS), host=Host(radio, radio))
        self.central.gatt_server.max_mtu = host_mtu
        self.connects = 0
        self._objects: dict[str, dict[str, Properties]] = {}
        self._seen: dict[str, dict[int, bytes]] = {}
        self._connection: Connection | None = None
        self._peer: Peer | None = None
        self._proxies: dict[str, Any] = {}
        self._pipes: dict[str, socket.socket] = {}
        self._notifying: set[str] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self._lost = asyncio.Event()

    async def __aenter__(self) -> "Bluez":
        await self.central.power_on()
        self.central.on("advertisement", self._advertised)
        self.bus = await MessageBus(bus_address=self._address, negotiate_unix_fd=True).connect()
        self._objects[ADAPTER] = {
            _ADAPTER: {
                "Address": Variant("s", OWN_ADDRESS),
                "Name": Variant("s", "stand-in"),
                "Alias": Variant("s", "stand-in"),
                "Powered": Variant("b", True),
                "Discovering": Variant("b", False),
                "Roles": Variant("as", ["central"]),
            }
        }
        self.bus.add_message_handler(self._handle)
        await self.bus.request_name("org.bluez")
        return self

    async def __aexit__(self, *_: object) -> None:
        for task in tuple(self._tasks):
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task
        for path in tuple(self._pipes):
            self._release(path)
        self.bus.disconnect()
        with contextlib.suppress(Exception):
            await self.bus.wait_for_disconnect()
        with contextlib.suppress(Exception):
            await self.central.power_off()

    # D-Bus

    def _handle(self, message: Message) -> bool | None:
        if message.message_type != MessageType.METHOD_CALL:
            return None
        task = asyncio.ensure_future(self._answer(message))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return True

    async def _answer(self, message: Message) -> None:
        given: list[int] = []
        try:
            signature, body, given = await self._call(message)
            reply = Message.new_method_return(message, signature, body, given)
        except BluezError as error:
            reply = Message.new_error(message, f"org.bluez.Error.{error.name}", error.text)
        except (core.BaseBumbleError, TimeoutError) as error:
            reply = Message.new_error(message, "org.bluez.Error.Failed", str(error))
        await self.bus.send(reply)
        for fd in given:
            os.close(fd)  # theirs now, and to be closed once it was sent

    async def _call(self, message: Message) -> tuple[str, list[Any], list[int]]:
        path, member = message.path, message.member
        if member == "GetManagedObjects":
            return "a{oa{sa{sv}}}", [self._objects], []
        if path not in self._objects:
            raise BluezError("DoesNotExist", "Does Not Exist")
        match message.interface, member:
            case "org.bluez.Adapter1", "SetDiscoveryFilter":
                pass
            case "org.bluez.Adapter1", "StartDiscovery":
                await self.central.start_scanning(legacy=True, filter_duplicates=False)
                self._change(ADAPTER, _ADAPTER, {"Discovering": Variant("b", True)})
            case "org.bluez.Adapter1", "StopDiscovery":
                await self.central.stop_scanning()
                self._change(ADAPTER, _ADAPTER, {"Discovering": Variant("b", False)})
                for device in self._seen:
                    self._change(device, _DEVICE, {}, ["RSSI"])
            case "org.bluez.Device1", "Connect":
                await self._connect(path)
            case "org.bluez.Device1", "Disconnect":
                if self._connection is not None:
                    await self._connection.disconnect()
            case "org.bluez.GattCharacteristic1", "ReadValue":
                return "ay", [bytes(await self._unless_lost(self._proxy(path).read_value()))], []
            case "org.bluez.GattCharacteristic1", "WriteValue":
                value, options = message.body
                with_response = options.get("type", Variant("s", "request")).value == "request"
                proxy = self._proxy(path)
                await self._unless_lost(proxy.write_value(bytes(value), with_response=with_response))
            case "org.bluez.GattCharacteristic1", "AcquireNotify":
                return await self._acquire(path)
            case "org.bluez.GattCharacteristic1", "StartNotify":
                await self._proxy(path).subscribe(lambda value: self._notified(path, value))
                self._notifying.add(path)
            case "org.bluez.GattCharacteristic1", "StopNotify":
                self._notifying.discard(path)
                await self._proxy(path).unsubscribe(force=True)
            case _:
                raise BluezError("NotSupported", f"{message.interface}.{member} is not simulated")
        return "", [], []

    async def _unless_lost(self, request: Any) -> Any:
        """The result of a request; an error as soon as the connection is lost."""
        lost, asking = asyncio.ensure_future(self._lost.wait()), asyncio.ensure_future(request)
        await asyncio.wait((lost, asking), return_when=asyncio.FIRST_COMPLETED)
        lost.cancel()
        if not asking.done():
            asking.cancel()
            raise BluezError("Failed", "Not connected")
        return asking.result()

    def _change(self, path: str, interface: str, changed: Properties, gone: list[str] | None = None) -> None:
        properties = self._objects[path][interface]
        properties.update(changed)
        for name in gone or []:
            properties.pop(name, None)
        self._signal(path, "org.freedesktop.DBus.Properties", "PropertiesChanged", "sa{sv}as",
                     [interface, changed, gone or []])  # fmt: skip

    def _signal(self, path: str, interface: str, member: str, signature: str, body: list[Any]) -> None:
        self.bus.send(Message.new_signal(path, interface, member, signature, body))

    def _add(self, path: str, interface: str, properties: Properties) -> None:
        self._objects[path] = {interface: properties}
        self._signal("/", _OBJECTS, "InterfacesAdded", "oa{sa{sv}}", [path, self._objects[path]])

    def _remove(self, path: str) -> None:
        interfaces = list(self._objects.pop(path))
        self._signal("/", _OBJECTS, "InterfacesRemoved", "oas", [path, interfaces])

    # scanning

    def _advertised(self, advertisement: Any) -> None:
        address = str(advertisement.address).split("/")[0]
        path = f"{ADAPTER}/dev_{address.replace(':', '_')}"
        self._seen[path] = {}
        data: AdvertisingData = advertisement.data
        properties: Properties = {"RSSI": Variant("n", advertisement.rssi)}
        names = data.get_all(AdvertisingData.COMPLETE_LOCAL_NAME)
        if names:
            properties["Name"] = properties["Alias"] = Variant("s", str(names[0]))
        uuids = [
            str(uuid).lower()
            for group in data.get_all(AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS)
            for uuid in group
        ]
        if uuids:
            properties["UUIDs"] = Variant("as", [_dashed(uuid) for uuid in uuids])
        company = data.get(AdvertisingData.MANUFACTURER_SPECIFIC_DATA)
        if company:
            properties["ManufacturerData"] = Variant("a{qv}", {company[0]: Variant("ay", bytes(company[1]))})
        if path in self._objects:
            self._change(path, _DEVICE, properties)
            return
        fixed: Properties = {
            "Address": Variant("s", address),
            "AddressType": Variant("s", "random"),
            "Alias": Variant("s", address.replace(":", "-")),
            "Adapter": Variant("o", ADAPTER),
            "Paired": Variant("b", False),
            "Bonded": Variant("b", False),
            "Trusted": Variant("b", False),
            "Blocked": Variant("b", False),
            "LegacyPairing": Variant("b", False),
            "Connected": Variant("b", False),
            "ServicesResolved": Variant("b", False),
        }
        self._add(path, _DEVICE, fixed | properties)

    # connection and services

    async def _connect(self, path: str) -> None:
        if self._connection is not None:
            return
        address = self._objects[path][_DEVICE]["Address"].value
        try:
            connection = await self.central.connect(hci.Address(address), timeout=10.0)
        except Exception as error:
            raise BluezError("Failed", "le-connection-abort-by-remote") from error
        self.connects += 1
        self._lost = asyncio.Event()
        self._connection = connection
        self._peer = Peer(connection)
        connection.on("disconnection", lambda _: self._disconnected(path))
        self._change(path, _DEVICE, {"Connected": Variant("b", True)})
        task = asyncio.ensure_future(self._resolve(path, connection, self._peer))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _resolve(self, path: str, connection: Connection, peer: Peer) -> None:
        with contextlib.suppress(core.BaseBumbleError, TimeoutError):  # it may be lost meanwhile
            if self.host_mtu > 23:
                await peer.request_mtu(self.host_mtu)
            await peer.discover_all()
            if self._connection is connection:
                self._publish(path, peer, connection.att_mtu)
                self._change(path, _DEVICE, {"ServicesResolved": Variant("b", True)})

    def _publish(self, device: str, peer: Peer, mtu: int) -> None:
        for service in peer.services:
            if service.uuid.to_hex_str().lower() in (_GAP, ""):
                continue
            at = f"{device}/service{service.handle:04x}"
            self._add(at, _SERVICE, {
                "UUID": Variant("s", _long(service.uuid)),
                "Primary": Variant("b", True),
                "Device": Variant("o", device),
                "Includes": Variant("ao", []),
            })  # fmt: skip
            for one in service.characteristics:
                path = f"{at}/char{one.handle - 1:04x}"  # the declaration's handle
                flags = [name for bit, name in _FLAGS if one.properties & bit]
                properties: Properties = {
                    "UUID": Variant("s", _long(one.uuid)),
                    "Service": Variant("o", at),
                    "Value": Variant("ay", b""),
                    "Flags": Variant("as", flags),
                    "MTU": Variant("q", mtu),
                }
                if "notify" in flags:
                    properties |= {"Notifying": Variant("b", False), "NotifyAcquired": Variant("b", False)}
                self._proxies[path] = one
                self._add(path, _CHARACTERISTIC, properties)
                for descriptor in one.descriptors:
                    self._add(f"{path}/desc{descriptor.handle:04x}", _DESCRIPTOR, {
                        "UUID": Variant("s", _long(descriptor.type)),
                        "Characteristic": Variant("o", path),
                        "Value": Variant("ay", b""),
                        "Flags": Variant("as", ["read", "write"]),
                    })  # fmt: skip

    def _disconnected(self, device: str) -> None:
        self._connection = self._peer = None
        self._lost.set()
        self._proxies.clear()
        self._notifying.clear()
        for path in tuple(self._pipes):
            self._release(path)
        changed = {"ServicesResolved": Variant("b", False), "Connected": Variant("b", False)}
        self._change(device, _DEVICE, changed)
        for path in sorted((one for one in self._objects if one.startswith(device + "/")), reverse=True):
            self._remove(path)

    def _proxy(self, path: str) -> Any:
        if path not in self._proxies:
            raise BluezError("Failed", "Not connected")
        return self._proxies[path]

    # notifications

    async def _acquire(self, path: str) -> tuple[str, list[Any], list[int]]:
        if path in self._pipes:
            raise BluezError("NotPermitted", "Notify acquired")
        proxy = self._proxy(path)
        ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        ours.setblocking(False)
        self._pipes[path] = ours
        asyncio.get_running_loop().add_reader(ours.fileno(), self._release, path)  # readable: they closed it
        await proxy.subscribe(lambda value: self._notified(path, value))
        self._change(path, _CHARACTERISTIC, {"NotifyAcquired": Variant("b", True)})
        mtu = self._connection.att_mtu if self._connection else 23
        return "hq", [0, mtu], [theirs.detach()]

    def _release(self, path: str) -> None:
        pipe = self._pipes.pop(path, None)
        if pipe is not None:
            asyncio.get_running_loop().remove_reader(pipe.fileno())
            pipe.close()
            if path in self._objects:
                self._change(path, _CHARACTERISTIC, {"NotifyAcquired": Variant("b", False)})

    def _notified(self, path: str, value: bytes) -> None:
        pipe = self._pipes.get(path)
        if pipe is not None:
            with contextlib.suppress(BlockingIOError, BrokenPipeError, ConnectionResetError):
                pipe.send(value)
        if path in self._notifying:
            self._change(path, _CHARACTERISTIC, {"Value": Variant("ay", value)})


_FLAGS = (
    (0x02, "read"),
    (0x04, "write-without-response"),
    (0x08, "write"),
    (0x10, "notify"),
    (0x20, "indicate"),
)


def _dashed(uuid: str) -> str:
    bare = uuid.replace("-", "").split(" ")[0]
    return f"{bare[:8]}-{bare[8:12]}-{bare[12:16]}-{bare[16:20]}-{bare[20:32]}" if len(bare) >= 32 else bare


def _long(uuid: core.UUID) -> str:
    text = uuid.to_hex_str().lower()
    return f"0000{text}-0000-1000-8000-00805f9b34fb" if len(text) == 4 else _dashed(text)
