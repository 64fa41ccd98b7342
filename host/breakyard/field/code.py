"""The pairing code: shown on the computer, typed on the phone (or in the QR code); whoever has it may command."""

import secrets
import time
from collections import deque
from collections.abc import Callable
from typing import Final

from breakyard.errors import UsageError

DIGITS: Final = 8
WRONG_IN_A_ROW: Final = 10
WAIT_S: Final = 60.0
"""After ten wrong codes within a minute none is looked at until the oldest is a minute old, so half of all codes
take about 5 million minutes."""


class PairingCode:
    """One code for as long as the command runs."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.text = "".join(secrets.choice("0123456789") for _ in range(DIGITS))
        self._clock = clock
        self._wrong: deque[float] = deque(maxlen=WRONG_IN_A_ROW)

    def check(self, given: str) -> None:
        """Raises: UsageError unless it is this code, or while too many wrong ones came.

        The computer shows it in two halves, and so it may be typed.
        """
        given = "".join(given.split())
        now = self._clock()
        if len(self._wrong) == WRONG_IN_A_ROW and now - self._wrong[0] < WAIT_S:
            raise UsageError("too many wrong codes; wait a minute")
        if not secrets.compare_digest(given.encode(), self.text.encode()):
            if not given:
                raise UsageError("pair first: type the code that the computer shows")
            self._wrong.append(now)
            raise UsageError("another code than the computer shows")
