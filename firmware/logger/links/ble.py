"""Bluetooth LE: one service of our own, with a characteristic that notifies and one that is written to.

Moves bytes, knows nothing of records. What it looks after, because the radio stacks do not:

* A full stack either queues without limit and reports success (BTstack, Pico W) or raises ENOMEM (NimBLE,
  ESP32). So what is under way is `counted` by whoever sends (core/credit.py), and what was refused with ENOMEM is
  offered again.
* A notification longer than the MTU allows is cut silently. So `max_packet` follows the MTU.
* MicroPython tells neither of subscriptions nor of a host that says nothing. So nothing is sent before the
  host has written something, and a host that falls silent for SILENCE_MS is put out: the place may be the only
  one, and some systems keep the link of a program that died. Its first word may take FIRST_WORD_MS, as a host must
  find the characteristics first.
* An event handler must not allocate. It only sets attributes; all else is done in the task.

Advertised: a name with the end of the serial number, or without it where strangers are not told, and in the data of
company 0xFFFF (for experiments) version of this layout, state, battery in per cent (255: not known, as on all boards
here). That fills 30 of 31 bytes; the service is in the scan response. Nothing is advertised before `announce`.

Never change the services under these UUIDs: phones and computers remember them. A new layout is a new UUID.
"""

from micropython import const

# protocol/records.json, "uuids"; a test compares them
SERVICE_UUID = "d3d84cfa-56e2-4dec-a4e0-56fb321a2286"
STREAM_UUID = "d30ce564-06f5-4ced-8d8a-e130788816f9"
COMMAND_UUID = "170b746e-6cac-461f-80c0-48bec972c96c"

# LINK_SILENCE and LINK_FIRST_WORD of the same table
SILENCE_MS = const(5000)
FIRST_WORD_MS = const(20000)
_MAX_MTU = const(517)
_MAX_VALUE = const(512)  # longest value of an attribute (Core specification, Vol 3, Part F, 3.2.9)
_GATHER_MS = const(150)  # with what else is full sent at once, 4 to 10 notifications a second when live

_LAYOUT_VERSION = const(1)
_NAME = "Breakyard"
_SERIAL_NUMBER = const(0x2A25)
_BATTERY_UNKNOWN = const(255)
_COMMAND_ROOM = const(1024)  # what may be written between two polls
_ADVERTISE_US = const(152500)  # one of the intervals that phones find fast while scanning in the background
_MTU_WAIT_MS = const(500)  # phones exchange it by themselves; afterwards we ask
_ATT_NOTIFY = const(3)
_ATT_SMALLEST_MTU = const(23)
_AIR_PACKET = const(251)  # longest payload of the link layer (Core specification, Vol 6, Part B, 2.4)
_HEADERS = const(7)  # of L2CAP and of a notification, once in each

_IRQ_CENTRAL_CONNECT = const(1)
_IRQ_CENTRAL_DISCONNECT = const(2)
_IRQ_MTU_EXCHANGED = const(21)

_FLAG_READ = const(0x02)
_FLAG_WRITE_NO_RESPONSE = const(0x04)
_FLAG_WRITE = const(0x08)
_FLAG_NOTIFY = const(0x10)

_FULL = (11, 12)  # EAGAIN, ENOMEM


def _head(name: str) -> bytes:
    return bytes((2, 0x01, 0x06, len(name) + 1, 0x09)) + name.encode()


class BleLink:
    """`bluetooth` is the module of that name; `ticks_ms` and `ticks_diff` are those of the module `time`.

    `serial` has 8 bytes; model and firmware are texts for people.
    """

    trusted = False
    counted = True  # the stack tells of nothing that waits
    checked = True  # what is damaged in the air is sent again by the radios
    gather_ms = _GATHER_MS

    def __init__(self, bluetooth, ticks_ms, ticks_diff, serial, model, firmware) -> None:  # type: ignore[no-untyped-def]
        self.connected = False
        self.session = 0
        self.max_packet = _ATT_SMALLEST_MTU - _ATT_NOTIFY
        self.refused = 0  # notifications that the stack had no room for
        self.silence_ms = SILENCE_MS
        self._ticks_ms = ticks_ms
        self._ticks_diff = ticks_diff
        self._connection = 0
        self._seen_session = 0
        self._since_ms = 0
        self._heard_ms = 0
        self._heard = False
        self._asked_mtu = False
        self._advertising = False
        self._shown = b""
        self._waiting = b""  # written by the host, not handed on yet
        self._serial = serial.hex()
        self._private = True
        ble = bluetooth.BLE()
        self._ble = ble
        ble.active(True)
        ble.irq(self._irq)
        ble.config(gap_name=_NAME)
        try:
            ble.config(mtu=_MAX_MTU)
        except (ValueError, OSError):  # some builds have a smaller largest one
            ble.config(mtu=256)
        self._register(bluetooth, model, firmware)
        uuid = bytes.fromhex(SERVICE_UUID.replace("-", ""))
        self._head = _head(_NAME)
        self._response = bytes((17, 0x07)) + bytes(reversed(uuid))

    def _register(self, bluetooth, model: str, firmware: str) -> None:  # type: ignore[no-untyped-def]
        uuid = bluetooth.UUID
        own = (
            uuid(SERVICE_UUID),
            (
                (uuid(STREAM_UUID), _FLAG_NOTIFY),
                (uuid(COMMAND_UUID), _FLAG_WRITE | _FLAG_WRITE_NO_RESPONSE),
            ),
        )
        texts = ((_SERIAL_NUMBER, ""), (0x2A24, model), (0x2A26, firmware))
        information = (uuid(0x180A), tuple([(uuid(number), _FLAG_READ) for number, _ in texts]))
        ble = self._ble
        handles = ble.gatts_register_services((own, information))
        self._stream, self._command = handles[0]
        ble.gatts_set_buffer(self._command, _COMMAND_ROOM, True)
        for i in range(len(texts)):
            ble.gatts_write(handles[1][i], texts[i][1].encode())
        self._serial_handle = handles[1][0]

    def _irq(self, event: int, data) -> None:  # type: ignore[no-untyped-def]
        # Runs in between anything else; allocates nothing.
        if event == _IRQ_CENTRAL_CONNECT:
            self._connection = data[0]
            self.max_packet = _ATT_SMALLEST_MTU - _ATT_NOTIFY
            self.session += 1
            self._advertising = False
            self.connected = True
        elif event == _IRQ_CENTRAL_DISCONNECT:
            if data[0] == self._connection:
                self.connected = False
        elif event == _IRQ_MTU_EXCHANGED and data[0] == self._connection:
            size = data[1] - _ATT_NOTIFY
            if size > _MAX_VALUE:
                size = _MAX_VALUE
            # Whole packets of the link layer: a short one at the end costs as much in headers as a long one.
            whole = (size + _HEADERS) // _AIR_PACKET * _AIR_PACKET - _HEADERS
            self.max_packet = whole if whole > 0 else size

    def receive_into(self, buffer: bytearray) -> int:
        """Copy bytes that have come into `buffer` without waiting; return how many."""
        if not self.connected:
            if not self._advertising:
                self._advertise()
            if self._heard:
                self._heard = False
                self._waiting = b""
                self._ble.gatts_read(self._command)  # what the one before left unread
            return 0
        now = self._ticks_ms()
        if self.session != self._seen_session:
            self._begin_session(now)
        if not self._waiting:
            self._waiting = self._ble.gatts_read(self._command)
        count = len(self._waiting)
        if count:
            self._heard_ms = now
            self._heard = True
            if count > len(buffer):
                count = len(buffer)
            buffer[:count] = self._waiting[:count]
            self._waiting = self._waiting[count:]
        else:
            self._look_after(now)
        return count

    def _begin_session(self, now: int) -> None:
        self._seen_session = self.session
        self._waiting = b""
        self._since_ms = now
        self._heard_ms = now
        self._heard = False
        self._asked_mtu = False

    def _look_after(self, now: int) -> None:
        difference = self._ticks_diff
        if not self._asked_mtu and difference(now, self._since_ms) >= _MTU_WAIT_MS:
            self._asked_mtu = True
            if self.max_packet == _ATT_SMALLEST_MTU - _ATT_NOTIFY:
                try:
                    self._ble.gattc_exchange_mtu(self._connection)
                except OSError:
                    pass  # this stack leaves it to the other side
        if difference(now, self._heard_ms) >= (self.silence_ms if self._heard else FIRST_WORD_MS):
            self._drop()

    def send(self, buffer: bytearray, start: int, end: int) -> int:
        """Notify buffer[start:end], which must fit max_packet; return how many bytes were taken: all or none."""
        size = end - start
        if not self.connected or self.session != self._seen_session or not self._heard:
            return 0
        if size > self.max_packet:
            return 0
        try:
            self._ble.gatts_notify(self._connection, self._stream, memoryview(buffer)[start:end])
        except OSError as error:
            if error.args and error.args[0] in _FULL:
                self.refused += 1
            else:
                self._drop()
            return 0
        except MemoryError:
            self.refused += 1
            return 0
        return size

    def announce(self, state: int, private: bool) -> None:
        """Show the state in the advertisement; `private`: neither there nor to who connects the serial number."""
        data = bytes((6, 0xFF, 0xFF, 0xFF, _LAYOUT_VERSION, state, _BATTERY_UNKNOWN))
        if data != self._shown:
            self._shown = data
            self._advertising = False
        if private != self._private:
            self._private = private
            self._advertising = False
            name = _NAME if private else _NAME + "-" + self._serial[-8:]
            self._head = _head(name)
            self._ble.config(gap_name=name)
            self._ble.gatts_write(self._serial_handle, b"" if private else self._serial.encode())

    def _advertise(self) -> None:
        if not self._shown:
            return
        try:
            self._ble.gap_advertise(
                _ADVERTISE_US, adv_data=self._head + self._shown, resp_data=self._response
            )
            self._advertising = True
        except OSError:
            pass  # the stack is still busy with the last connection; tried again at the next poll

    def end(self) -> None:
        """Put the host out."""
        if self.connected:
            self._drop()

    def _drop(self) -> None:
        # The disconnect event may have been lost in a full queue; so believe it at once.
        self.connected = False
        self._advertising = False
        try:
            self._ble.gap_disconnect(self._connection)
        except OSError:
            pass
