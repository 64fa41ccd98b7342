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
"""After ten wrong codes within a minute no code is looked at until some of these minutes' tries are old: a stranger needs
about 10 million minutes to have tried half of them."""


class PairingCode:
    """One code for as long as the command runs."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.text = "".join(secrets.choice("0123456789") for _ in range(DIGITS))
        self._clock = clock
        self._wrong: deque[float] = deque(maxlen=WRONG_IN_A_ROW)

    def check(self, given: str) -> None:
        """Raises: UsageError unless it is this code, or while too many wrong ones came."""
        now = self._clock()
        if len(self._wrong) == WRONG_IN_A_ROW and now - self._wrong[0] < WAIT_S:
            raise UsageError("too many wrong codes; wait a minute")
        if not secrets.compare_digest(given.encode(), self.text.encode()):
            if given:
                self._wrong.append(now)
            raise UsageError("another code than the computer shows" if given else "pair first: type the code that the computer shows")
