"""The radio link on a stub of the module `bluetooth`: limits, credit, silence, and errors of the stack."""

from firmware_support import read_json

from logger.links import ble
from logger.links.ble import BleLink

CONNECT, DISCONNECT, MTU = 1, 2, 21


class Radio:
    """Records what is registered and sent; `error` is raised by the next notification."""

    def __init__(self):
        self.notified = []
        self.advertised = []
        self.written = b""
        self.values = {}
        self.names = []
        self.error = None
        self.hung_up = 0
        self.exchanges = 0

    def UUID(self, value):  # noqa: N802 - its name there
        return value

    def BLE(self):  # noqa: N802
        return self

    def active(self, on):
        pass

    def irq(self, handler):
        self.handler = handler

    def config(self, **values):
        if values.get("mtu", 0) > 256:
            raise ValueError("unknown config param")
        self.names.append(values.get("gap_name"))

    def gatts_register_services(self, services):
        self.services = services
        return ((1, 2), (3, 4, 5))

    def gatts_set_buffer(self, handle, room, append):
        assert append

    def gatts_write(self, handle, value):
        self.values[handle] = value

    def gatts_read(self, handle):
        data = self.written
        self.written = b""
        return data

    def gap_advertise(self, interval_us, adv_data, resp_data):
        self.advertised.append((adv_data, resp_data))

    def gatts_notify(self, connection, handle, data):
        if self.error:
            raise self.error
        self.notified.append(bytes(data))

    def gattc_exchange_mtu(self, connection):
        self.exchanges += 1

    def gap_disconnect(self, connection):
        self.hung_up += 1


class Line:
    """A link with its radio and a clock."""

    def __init__(self):
        self.radio = Radio()
        self.now = 0
        self.link = BleLink(
            self.radio, lambda: self.now, lambda later, earlier: later - earlier, bytes(range(8)), "x", "y"
        )
        self.link.announce(0, False)
        self.buffer = bytearray(64)

    def connect(self, mtu=247):
        self.radio.handler(CONNECT, (9, 0, b""))
        self.radio.handler(MTU, (9, mtu))
        assert self.link.receive_into(self.buffer) == 0

    def hear(self, data=b"\0"):
        self.radio.written += data
        return self.link.receive_into(self.buffer)

    def send(self, size):
        return self.link.send(bytearray(size + 3), 3, size + 3)


def test_uuids_and_limits_are_those_of_the_table():
    table = read_json("protocol/records.json")
    for name in ("SERVICE_UUID", "STREAM_UUID", "COMMAND_UUID"):
        assert getattr(ble, name) == table["uuids"][name]["value"]
    assert table["limits"]["LINK_SILENCE"]["value"] == ble.SILENCE_MS
    assert table["limits"]["LINK_FIRST_WORD"]["value"] == ble.FIRST_WORD_MS


def test_the_table_of_attributes_fits_a_pico_w():
    """BTstack's own form: 6 bytes, UUID and value per attribute, 512 in all (MAX_ATT_DB_SIZE in its port)."""
    size = 2 * (6 + 2 + 2) + 2 * (6 + 2 + 1 + 2 + 2) + 2 * (6 + 2 + 32)  # GAP and GATT, by a generous guess
    notifying = 0
    for uuid, characteristics in Line().radio.services:
        size += 6 + 2 + _size(uuid)
        for kind, flags in characteristics:
            size += 6 + 2 + 3 + _size(kind)  # declaration
            size += 6 + _size(kind) + 2  # value
            if flags & 0x10:
                size += 6 + 2 + 2  # configuration by the client
                notifying += 1

    assert notifying == 1
    assert size < 512


def _size(uuid):
    return 2 if isinstance(uuid, int) else 16


def test_the_advertisement_fits_and_says_name_and_state():
    line = Line()
    line.link.announce(2, False)
    line.link.receive_into(line.buffer)
    adv, response = line.radio.advertised[-1]

    assert len(adv) <= 31
    assert len(response) <= 31
    assert adv[:3] == b"\x02\x01\x06"
    assert adv[3:23] == b"\x13\x09Breakyard-04050607"
    assert adv[23:] == bytes((6, 0xFF, 0xFF, 0xFF, 1, 2, 255))
    assert response[:2] == b"\x11\x07"
    assert bytes(reversed(response[2:])).hex() == ble.SERVICE_UUID.replace("-", "")


def test_a_private_logger_shows_its_serial_number_nowhere():
    """Neither in what it advertises, from the first packet on, nor in its name or Device Information."""
    line = Line()
    radio = line.radio
    radio.advertised.clear()
    radio.names.clear()
    link = BleLink(radio, lambda: 0, lambda later, earlier: 0, bytes(range(8)), "x", "y")
    link.receive_into(line.buffer)
    assert radio.advertised == []  # not before it is known what may be told
    link.announce(0, True)
    link.receive_into(line.buffer)
    (advertised,) = radio.advertised
    assert advertised[0] == b"\x02\x01\x06" + b"\x0a\x09Breakyard" + bytes((6, 255, 255, 255, 1, 0, 255))
    assert {name for name in radio.names if name} == {"Breakyard"}
    assert b"04050607" not in b"".join(radio.values.values())

    link.announce(0, False)
    link.receive_into(line.buffer)
    assert b"Breakyard-04050607" in radio.advertised[-1][0]
    assert radio.names[-1] == "Breakyard-04050607"
    assert radio.values[3] == b"0001020304050607"
    link.announce(0, True)
    link.receive_into(line.buffer)
    assert b"0405" not in radio.advertised[-1][0]
    assert radio.values[3] == b""


def test_no_battery_is_claimed():
    """No board knows its battery in per cent, so there is no Battery Level to read as 0."""
    kinds = [kind for _, characteristics in Line().radio.services for kind, _ in characteristics]
    assert 0x2A19 not in kinds


def test_any_mtu():
    """Packets fill those of the link layer, of 251 bytes with 7 of headers, or stay below the first."""
    line = Line()
    line.connect()
    for mtu in (23, 24, 185):
        line.radio.handler(MTU, (9, mtu))
        assert line.link.max_packet == mtu - 3
    for mtu, expected in ((247, 244), (256, 244), (497, 244), (498, 495), (515, 495), (517, 495)):
        line.radio.handler(MTU, (9, mtu))
        assert line.link.max_packet == expected
    line.radio.handler(MTU, (8, 100))  # somebody else's
    assert line.link.max_packet == 495


def test_nothing_is_sent_before_the_host_has_written():
    line = Line()
    assert line.send(10) == 0
    line.connect()
    assert line.send(10) == 0
    assert line.hear(b"\0\1\0") == 3
    assert line.send(10) == 10
    assert line.radio.notified == [bytes(10)]
    line.radio.handler(DISCONNECT, (9, 0, b""))
    assert line.send(10) == 0
    line.connect()
    assert line.send(10) == 0


def test_a_full_stack_is_asked_again_and_a_dead_one_is_hung_up():
    line = Line()
    line.connect()
    line.hear()
    for error in (OSError(12), OSError(11), MemoryError()):
        line.radio.error = error
        assert line.send(100) == 0
        assert line.link.connected
    assert line.link.refused == 3
    line.radio.error = OSError(107)
    assert line.send(100) == 0
    assert not line.link.connected
    assert line.radio.hung_up == 1


def test_too_long_a_packet_is_not_sent_to_be_cut():
    line = Line()
    line.connect(100)
    line.hear()
    assert line.send(98) == 0
    assert line.send(97) == 97


def test_silence_ends_the_link_and_advertising_begins_again():
    line = Line()
    line.connect()
    line.hear()
    line.now = ble.SILENCE_MS - 1
    line.link.receive_into(line.buffer)
    assert line.link.connected
    line.hear()
    line.now += ble.SILENCE_MS
    line.link.receive_into(line.buffer)
    assert not line.link.connected
    before = len(line.radio.advertised)
    line.link.receive_into(line.buffer)
    assert len(line.radio.advertised) == before + 1


def test_a_first_word_may_take_longer():
    line = Line()
    line.connect()
    for line.now in (ble.SILENCE_MS, ble.FIRST_WORD_MS - 1):
        line.link.receive_into(line.buffer)
        assert line.link.connected
    line.now = ble.FIRST_WORD_MS
    line.link.receive_into(line.buffer)
    assert not line.link.connected


def test_an_mtu_is_asked_for_once_when_nobody_has():
    line = Line()
    line.connect(23)
    for line.now in (100, 499, 500, 1000, 2000):
        line.link.receive_into(line.buffer)
    assert line.radio.exchanges == 1


def test_a_loss_too_short_to_be_seen_begins_a_new_session():
    line = Line()
    line.connect()
    line.hear()
    session = line.link.session
    line.radio.handler(DISCONNECT, (9, 0, b""))
    line.radio.handler(CONNECT, (9, 0, b""))
    assert line.send(10) == 0
    line.link.receive_into(line.buffer)
    assert line.link.session == session + 1
    assert line.send(10) == 0
    assert line.link.max_packet == 20


def test_what_was_written_comes_in_pieces_that_fit():
    line = Line()
    line.connect()
    line.radio.written = bytes(range(150))
    got = b""
    while True:
        count = line.link.receive_into(line.buffer)
        if not count:
            break
        got += bytes(line.buffer[:count])
    assert got == bytes(range(150))
