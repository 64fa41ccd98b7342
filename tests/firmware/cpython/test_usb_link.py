"""The cable: a host that does not read never holds the logger up."""

import pytest

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


class Queue:
    """As in MicroPython's rp2 port: 256 bytes, which leave by packets; a write beyond its room waits 500 ms."""

    def __init__(self):
        self.held = b""
        self.sent = b""
        self.flying = b""
        self.waits = 0

    def writable(self):
        return len(self.held) < 256

    def write(self, data):
        room = 256 - len(self.held)
        self.waits += len(data) > room
        self.held += bytes(data[:room])
        self.flush()
        return min(room, len(data))

    def flush(self):
        if not self.flying:
            self.flying, self.held = self.held[:64], self.held[64:]

    def host_takes(self):
        self.sent += self.flying
        self.flying = b""
        self.flush()


@pytest.mark.parametrize("whole_packets", [True, False])
def test_a_host_that_stops_at_any_moment_is_waited_for_only_without_whole_packets(whole_packets):
    """What waits is shorter than a packet; the bytes between the zeros are the same."""
    waits = 0
    for stop in range(40):
        queue = Queue()
        link = UsbLink(None, queue, None, queue.writable, whole_packets)
        wanted = b""
        for number in range(40):
            size = (37 * number + 11) % 255
            packet = bytearray([1 + (i + number) % 255 for i in range(size)] + [0])
            wanted += packet
            start = 0
            while start < len(packet):
                if number < stop:
                    queue.host_takes()
                count = link.send(packet, start, len(packet))
                if not count:
                    assert number >= stop
                    queue.host_takes()
                start += count
        while queue.held or queue.flying:
            queue.host_takes()
        waits += queue.waits
        assert queue.sent.replace(b"\0", b"") == wanted.replace(b"\0", b"")
        assert [one for one in queue.sent.split(b"\0") if one] == [one for one in wanted.split(b"\0") if one]

    assert (waits == 0) == whole_packets
