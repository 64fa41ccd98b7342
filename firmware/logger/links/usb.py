"""Binary standard input and output, over the board's USB.

Moves bytes, knows nothing of records. Nothing is sent before the other side has sent something, so that a
terminal that merely opens the port sees no rubbish.
"""


class UsbLink:
    """`source` has readinto(buffer, n), `sink` has write(bytes); `readable()` says whether a byte waits."""

    trusted = True  # whoever holds the cable holds the logger
    counted = False  # the system of the other side says when it is full
    checked = False  # an adapter's serial line has no checksum of its own
    max_packet = 256
    gather_ms = 0
    session = 0  # the other end of a cable is always the same

    def __init__(self, source, sink, readable) -> None:  # type: ignore[no-untyped-def]
        self.connected = False
        self._source = source
        self._sink = sink
        self._readable = readable

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
        """Send buffer[start:end]; return how many bytes were taken."""
        count = self._sink.write(memoryview(buffer)[start:end])
        return count if count else 0

    def end(self) -> None:
        """A cable stays."""

    def announce(self, state: int, battery_percent: int) -> None:
        """A cable shows nothing."""
