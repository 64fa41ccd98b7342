"""Standard input and output as messages: u8 channel, u16 length (little-endian), payload.

Channel 0 carries the bytes of the cable, channel 1 JSON for the bench, channel 2 the air (radio.py).
"""

import sys

LINK = 0
BENCH = 1
RADIO = 2

ON_MICROPYTHON = sys.implementation.name == "micropython"


def _put(channel, payload):
    out = sys.stdout.buffer
    out.write(bytes((channel, len(payload) & 255, len(payload) >> 8)) + payload)
    if not ON_MICROPYTHON:
        out.flush()


def put(channel, payload):
    """Send a payload of any length; the other side joins what belongs together."""
    for start in range(0, len(payload), 65535):
        _put(channel, bytes(payload[start : start + 65535]))


def _read_exactly(size):
    data = sys.stdin.buffer.read(size) if size else b""
    if len(data) < size:
        return None
    return data


def read_message():
    """Wait for a message; None when the other side is gone."""
    head = _read_exactly(3)
    if head is None:
        return None
    payload = _read_exactly(head[1] | head[2] << 8)
    if payload is None:
        return None
    return head[0], payload


if ON_MICROPYTHON:
    import select

    _poll = select.poll()
    _poll.register(sys.stdin, select.POLLIN)

    def wait_message(milliseconds):
        """Wait so long for a message; False when none came, None when the other side is gone."""
        if not _poll.poll(milliseconds):
            return False
        return read_message()

else:
    _messages = None

    def wait_message(milliseconds):
        """Wait so long for a message; False when none came, None when the other side is gone."""
        # A thread, because pipes cannot be polled on every system. From the first call on it alone reads.
        global _messages
        import queue
        import threading

        if _messages is None:
            _messages = queue.Queue()

            def read_on():
                message = b""
                while message is not None:
                    message = read_message()
                    _messages.put(message)

            threading.Thread(target=read_on, daemon=True).start()
        try:
            return _messages.get(timeout=milliseconds / 1000)
        except queue.Empty:
            return False
