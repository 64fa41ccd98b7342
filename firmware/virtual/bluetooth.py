"""Stand-in of the module `bluetooth` of MicroPython, for a peripheral; the air behind it is radio.py.

Simulated: registering services, values limited to 20 bytes until gatts_set_buffer says otherwise, writes that
replace or append, notifications cut to the MTU without a word, OSError(ENOMEM) when there is no buffer,
events delivered to a handler that must not allocate (under MicroPython the heap is locked around it).
Not simulated: central role, descriptors, indications, subscriptions (the real module neither reports nor
checks them), pairing, L2CAP. An unexpected call raises.
"""

import json
import sys
from struct import pack

import micropython
from radio import OutOfBuffers

_CONNECT = 1
_DISCONNECT = 2
_WRITE = 3
_MTU_EXCHANGED = 21
_ENOMEM = 12
_ENOTCONN = 107
_EINVAL = 22
_ATT_NOTIFY = 3

FLAG_READ = 0x02
FLAG_WRITE_NO_RESPONSE = 0x04
FLAG_WRITE = 0x08
FLAG_NOTIFY = 0x10

air = None  # set by whoever starts the board


class UUID:
    """A 16-bit number or a 128-bit text."""

    def __init__(self, value):
        if isinstance(value, int):
            self.raw = pack("<H", value)
        else:
            digits = value.replace("-", "")
            if len(digits) != 32:
                raise ValueError("invalid UUID")
            self.raw = bytes(reversed(bytes.fromhex(digits)))

    def __bytes__(self):
        return self.raw

    def __eq__(self, other):
        return isinstance(other, UUID) and self.raw == other.raw


class _Value:
    """What an attribute holds."""

    def __init__(self):
        self.data = b""
        self.room = 20
        self.append = False


class BLE:
    """The only radio of the board."""

    def __init__(self):
        self._handler = None
        self._active = False
        self._values = {}
        self._flags = {}
        self._mtu = 23
        self._config = {"gap_name": "", "mtu": 256}
        air.on_connect = self._connected
        air.on_disconnect = self._disconnected
        air.on_mtu = self._mtu_changed
        air.on_write = self._written

    def active(self, on):
        """Switch it on."""
        if not on:
            raise ValueError("switching off is not simulated")
        self._active = True

    def irq(self, handler):
        """Events go to handler(event, data)."""
        self._handler = handler

    def config(self, **values):
        """Set the name and the largest MTU."""
        for name, value in values.items():
            if name not in self._config:
                raise ValueError("unknown config param")
            self._config[name] = value

    def gatts_register_services(self, services):
        """Register services; returns their value handles."""
        handle = 8  # the services that every device has come first
        table = []
        result = []
        for uuid, characteristics in services:
            handle += 1
            entries = []
            handles = []
            for one in characteristics:
                if len(one) != 2:
                    raise ValueError("descriptors are not simulated")
                kind, flags = one
                handle += 2
                self._values[handle] = _Value()
                self._flags[handle] = flags
                handles.append(handle)
                entries.append({"uuid": _hex(kind), "flags": flags, "handle": handle})
                if flags & FLAG_NOTIFY:
                    handle += 1
            table.append({"uuid": _hex(uuid), "characteristics": entries})
            result.append(tuple(handles))
        air.tell(b"S", json.dumps({"name": self._config["gap_name"], "services": table}).encode())
        return tuple(result)

    def gatts_set_buffer(self, handle, room, append=False):
        """How long a written value may be, and whether writes add up until they are read."""
        self._values[handle].room = room
        self._values[handle].append = append

    def gatts_read(self, handle):
        """The value; an appending one is empty afterwards."""
        value = self._values[handle]
        data = value.data
        if value.append:
            value.data = b""
        return data

    def gatts_write(self, handle, data):
        """Set a value locally."""
        value = self._values[handle]
        value.room = max(value.room, len(data))
        value.data = bytes(data)
        air.tell(b"V", pack("<H", handle) + value.data)

    def gatts_notify(self, connection, handle, data):
        """Send a notification, cut to the MTU."""
        if connection != air.connection:
            raise OSError(_ENOTCONN)
        if not self._flags[handle] & FLAG_NOTIFY:
            raise OSError(_EINVAL)
        try:
            air.notify(handle, bytes(data[: self._mtu - _ATT_NOTIFY]))
        except OutOfBuffers:
            raise OSError(_ENOMEM) from None

    def gattc_exchange_mtu(self, connection):
        """Ask the other side to exchange the MTU."""
        if connection != air.connection:
            raise OSError(_ENOTCONN)
        air.tell(b"X", pack("<H", self._config["mtu"]))

    def gap_advertise(self, interval_us, adv_data=None, resp_data=None):
        """Advertise; at most 31 bytes each."""
        if interval_us is None:
            air.tell(b"A", b"\0")
            return
        if len(adv_data) > 31 or len(resp_data) > 31:
            raise OSError(_EINVAL)
        air.tell(b"A", bytes((len(adv_data),)) + bytes(adv_data) + bytes(resp_data))

    def gap_disconnect(self, connection):
        """Hang up; False when there is no such connection."""
        if connection != air.connection:
            return False
        air.hang_up()
        return True

    def _connected(self, connection):
        self._mtu = 23
        self._tell(_CONNECT, (connection, 0, b"\0" * 6))

    def _disconnected(self, connection):
        self._tell(_DISCONNECT, (connection, 0, b"\0" * 6))

    def _mtu_changed(self, connection, mtu):
        self._mtu = mtu
        self._tell(_MTU_EXCHANGED, (connection, mtu))

    def _written(self, handle, data):
        value = self._values.get(handle)
        if value is None or not self._flags[handle] & (FLAG_WRITE | FLAG_WRITE_NO_RESPONSE):
            return
        value.data = ((value.data if value.append else b"") + data)[: value.room]
        self._tell(_WRITE, (air.connection, handle))

    def _tell(self, event, data):
        if self._handler is None:
            return
        if sys.implementation.name != "micropython":
            self._handler(event, data)
            return
        micropython.heap_lock()
        try:
            self._handler(event, data)
        finally:
            micropython.heap_unlock()


def _hex(uuid):
    return bytes(reversed(uuid.raw)).hex()
