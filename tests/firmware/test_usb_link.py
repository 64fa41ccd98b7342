"""The cable: a host that does not read never holds the logger up."""

from logger.links.usb import PACKET, UsbLink


class Port:
    """Takes so many bytes; a write beyond them would wait."""

    def __init__(self, room):
        self.room = room
        self.taken = b""

    def write(self, data):
        assert self.room, "this write waits for the host"
        count = min(self.room, len(data))
        self.room -= count
        self.taken += bytes(data[:count])
        return count

    def writable(self):
        return self.room > 0


def test_nothing_is_written_where_there_is_no_room():
    port = Port(0)
    link = UsbLink(None, port, None, port.writable)

    assert link.send(bytearray(300), 0, 300) == 0


def test_at_most_a_packet_at_a_time_and_in_order():
    port = Port(1000)
    link = UsbLink(None, port, None, port.writable)
    data = bytearray([i & 255 for i in range(300)])
    start = 0
    while start < 300:
        count = link.send(data, start, 300)
        assert 0 < count <= PACKET
        start += count

    assert port.taken == bytes(data)
