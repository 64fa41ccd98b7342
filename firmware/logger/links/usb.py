"""Binary standard input and output, over the board's USB.

Moves bytes, knows nothing of records. Nothing is sent before the other side has sent something, so that a
terminal that merely opens the port sees no rubbish. Nothing is written that would have to wait for a host that reads: a
write that finds no room stops the whole logger, half a second each time on a Pico.
"""

from micropython import const

PACKET = const(64)  # of a USB of full speed


class UsbLink:
    """`source` has readinto(buffer, n), `sink` has write(bytes).

    `readable()` says whether a byte waits, `writable()` whether there is room for one. Where the port's queue is a
    multiple of PACKET and empties by packets, `whole_packets` makes room for one byte mean room for a packet: what is
    shorter is filled up with delimiters, which mean nothing between records.
    """

    trusted = True  # whoever holds the cable holds the logger
    counted = False  # the system of the other side says when it is full
    checked = False  # an adapter's serial line has no checksum of its own
    max_packet = 256
    gather_ms = 0
    session = 0  # the other end of a cable is always the same

    def __init__(self, source, sink, readable, writable, whole_packets: bool = False) -> None:  # type: ignore[no-untyped-def]
        self.connected = False
        self._source = source
        self._sink = sink
        self._readable = readable
        self._writable = writable
        self._packet = bytearray(PACKET) if whole_packets else None

    def receive_into(self, buffer: bytearray) -> int:
        """Copy bytes that have come into `buffer` without waiting; return how many."""
        used = 0
        view = memoryview(buffer)
        while used < len(buffer) and self._readable():
            count = self._source.readinto(view[used : used + 1])
            if not count:
                break
            used += count
        if used:
            self.connected = True
        return used

    def send(self, buffer: bytearray, start: int, end: int) -> int:
        """Send the beginning of buffer[start:end]; return how many bytes were taken, 0 when there is no room."""
        if not self._writable():
            return 0
        size = min(end - start, PACKET)
        chunk = memoryview(buffer)[start : start + size]
        packet = self._packet
        # Only what is shorter than it could be ends with a record.
        if packet and size < PACKET and end < self.max_packet:
            packet[:size] = chunk
            for i in range(size, PACKET):
                packet[i] = 0
            count = self._sink.write(packet)
        else:
            count = self._sink.write(chunk)
        return min(count, size) if count else 0

    def end(self) -> None:
        """A cable stays."""

    def announce(self, state: int, private: bool) -> None:
        """A cable shows nothing."""
