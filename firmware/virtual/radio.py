"""The air between the virtual board and whoever connects to it: connection events, buffers, losses.

Messages on channel 2 of the pipe, first byte says what:

    board -> host   A advertise (u8 length, advertisement, scan response; length 0 and nothing: stopped)
                    S the table of services, JSON     V handle u16, value   (a value was written locally)
                    N handle u16, value               (a notification went over the air)
                    X asks for an MTU exchange        D hangs up
                    Q most notifications that ever waited, u32
    host -> board   C connected, handle u16           D the link is lost
                    M MTU u16                         W handle u16, value   (written by the host)
                    P JSON: any of the parameters below   Q asks for the longest queue

In virtual time: while connected there is a connection event every `interval_us`; in each, up to `packets`
notifications go out and everything that the host has written comes in. Every `lose_every`-th event is lost in
noise (0: none): what should have gone then goes in the next, as the link layer repeats. At most `buffers`
notifications wait; when they are full, `overflow` tells what the stack does: "enomem" raises, as NimBLE does;
"heap" queues without limit and reports success, as BTstack does. `longest_queue` keeps the worst of it.

Not simulated: channels, range, advertising intervals, several connections, the time of a packet in an event,
pairing, the host's own buffers.
"""

import json
from struct import pack, unpack_from

import pipe

NEVER = 1 << 60


class OutOfBuffers(Exception):
    """The stack has no room for another notification."""


class Radio:
    """One connection at most. `on_connect`, `on_disconnect`, `on_mtu`, `on_write` are called as it happens."""

    interval_us = 30000
    packets = 6
    buffers = 12
    overflow = "enomem"
    lose_every = 0

    def __init__(self, clock):
        self.connection = -1
        self.longest_queue = 0
        self.on_connect = None
        self.on_disconnect = None
        self.on_mtu = None
        self.on_write = None
        self._clock = clock
        self._outgoing = []
        self._incoming = []
        self._events = 0
        clock.on_radio = self._event

    def tell(self, what, payload=b""):
        """Send a message to the host."""
        pipe.put(pipe.RADIO, what + payload)

    def notify(self, handle, value):
        """Queue a notification; raises OutOfBuffers, as the parameters say."""
        if len(self._outgoing) >= self.buffers and self.overflow == "enomem":
            raise OutOfBuffers()
        self._outgoing.append(pack("<H", handle) + value)
        if len(self._outgoing) > self.longest_queue:
            self.longest_queue = len(self._outgoing)

    def hang_up(self):
        """The board ends the connection."""
        self.tell(b"D")
        self._lost()

    def take(self, message):
        """A message from the host."""
        what = message[0:1]
        if what == b"P":
            for name, value in json.loads(message[1:]).items():
                if not hasattr(Radio, name):
                    raise ValueError("the radio has no %s" % name)
                setattr(self, name, value)
        elif what == b"Q":
            self.tell(b"Q", pack("<I", self.longest_queue))
        elif what == b"C":
            self.connection = unpack_from("<H", message, 1)[0]
            self._clock.next_radio_us = self._clock.now_us + self.interval_us
            self.on_connect(self.connection)
        elif self.connection < 0:
            return  # it crossed with the end of the connection
        elif what == b"D":
            self._lost()
        elif what == b"M":
            self.on_mtu(self.connection, unpack_from("<H", message, 1)[0])
        elif what == b"W":
            self._incoming.append(message[1:])
        else:
            raise ValueError("the radio does not know %r" % what)

    def _lost(self):
        if self.connection >= 0:
            connection = self.connection
            self.connection = -1
            self._outgoing = []
            self._incoming = []
            self._clock.next_radio_us = NEVER
            self.on_disconnect(connection)

    def _event(self):
        self._clock.next_radio_us = self._clock.now_us + self.interval_us
        self._events += 1
        if self.lose_every and self._events % self.lose_every == 0:
            return
        for _ in range(min(self.packets, len(self._outgoing))):
            self.tell(b"N", self._outgoing.pop(0))
        incoming = self._incoming
        self._incoming = []
        for message in incoming:
            self.on_write(unpack_from("<H", message, 0)[0], message[2:])
