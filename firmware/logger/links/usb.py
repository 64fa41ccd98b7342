"""Binary standard input and output, over the board's USB.

Moves bytes, knows nothing of records. Nothing is sent before the other side has sent something, so that a
terminal that merely opens the port sees no rubbish. Nothing is written that would have to wait for a host that reads: a
write that finds no room stops the whole logger, half a second each time on a Pico.
"""

from micropython import const

PACKET = const(
    64
)  # of a USB of full speed: where there is room for any byte there is room for so many, as a rule


class UsbLink:
    """`source` has readinto(buffer, n), `sink` has write(bytes).

    `readable()` says whether a byte waits, `writable()` whether there is room for one.
    """

    trusted = True  # whoever holds the cable holds the logger
    counted = False  # the system of the other side says when it is full
    checked = False  # an adapter's serial line has no checksum of its own
    max_packet = 256
    gather_ms = 0
    session = 0  # the other end of a cable is always the same

    def __init__(self, source, sink, readable, writable) -> None:  # type: ignore[no-untyped-def]
        self.connected = False
        self._source = source
        self._sink = sink
        self._readable = readable
        self._writable = writable

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
        if end > start + PACKET:
            end = start + PACKET
        count = self._sink.write(memoryview(buffer)[start:end])
        return count if count else 0

    def end(self) -> None:
        """A cable stays."""

    def announce(self, state: int, battery_percent: int) -> None:
        """A cable shows nothing."""
