"""What is under way on a link whose stack queues without limit, or drops without a word.

The logger asks for receipts: RECEIPT records with a token drawn at random, which the host sends back as they came.
As a link keeps its order, a token that comes back shows that all before it has arrived; nobody can send back a token
that has not reached him, so a stranger fills no queue either. Each packet counts what a stack needs for it, too.

Live data (STATUS, records that are followed) asks for a receipt behind each packet, so that what is shown is never old:
a second packet follows before the first is known to have arrived only where that took little time before.
"""

from micropython import const

from .layout import LINK_CREDIT, MAX_LIVE, PACKET_COST
from .timebase import ticks_between

QUICK_US = const(150000)  # a way there and back; two packets of live data are under way then
# With half of it a link of 6 packets each 50 ms stood still for four tenths of the time, so for two.
_ASK = LINK_CREDIT // 3
_MOST = const(12)  # receipts under way

# places in a receipt under way
_TOKEN = const(0)
_BYTES = const(1)
_ASKED = const(2)
_LIVE = const(3)


class Credit:
    """Credit of one link; `random(n)` gives n random bytes. With `counted` False nothing is ever counted."""

    def __init__(self, counted: bool, random) -> None:  # type: ignore[no-untyped-def]
        self.counted = counted
        self._random = random
        self._under_way: list = []  # type: ignore[type-arg]
        self._since = 0  # bytes sent behind the latest receipt
        self._counted_bytes = 0  # of all that is under way
        self.live_bytes = 0  # of live data behind the latest receipt
        self._quick = True

    def clear(self) -> None:
        """The link was lost, and with it what was under way."""
        self._under_way = []
        self._since = 0
        self._counted_bytes = 0
        self.live_bytes = 0
        self._quick = True

    def allows(self, size: int) -> bool:
        """True when a packet of that size may be sent."""
        return not self.counted or self._counted_bytes + size + PACKET_COST <= LINK_CREDIT

    def sent(self, size: int) -> None:
        """Note that a packet was taken by the stack."""
        if self.counted:
            self._since += size + PACKET_COST
            self._counted_bytes += size + PACKET_COST

    def receipt_due(self) -> bool:
        """True when so much was sent that a receipt should be asked for."""
        return self.counted and self._since >= _ASK and len(self._under_way) < _MOST

    def may_live(self, room: int) -> bool:
        """True when live data may be sent now; a packet of it has `room` bytes."""
        if not self.counted:
            return True
        if self.live_bytes >= room or len(self._under_way) >= _MOST:
            return False
        live = 0
        for one in self._under_way:
            live += one[_LIVE]
        return live < (MAX_LIVE if self._quick else 1)

    def live(self, size: int) -> None:
        """Note live data put into a packet."""
        if self.counted:
            self.live_bytes += size

    def ask(self, ticks: int) -> int:
        """Draw the token of a receipt that is sent now."""
        drawn = self._random(4)
        token: int = drawn[0] | drawn[1] << 8 | drawn[2] << 16 | drawn[3] << 24
        self._under_way.append((token, self._since, ticks, 1 if self.live_bytes else 0))
        self._since = 0
        self.live_bytes = 0
        return token

    def came_back(self, token: int, ticks: int) -> bool:
        """Note a receipt that the host sent back; False for one that was not asked for."""
        for i in range(len(self._under_way)):
            if self._under_way[i][_TOKEN] == token:
                took_us = ticks_between(ticks, self._under_way[i][_ASKED])
                self._quick = 0 <= took_us <= QUICK_US
                for _ in range(i + 1):
                    self._counted_bytes -= self._under_way.pop(0)[_BYTES]
                return True
        return False
