"""Sees the builder press the cell and let go, by the status records of a stream that is on."""

from collections.abc import Awaitable, Callable
from typing import Final

from breakyard.device.client.client import Client
from breakyard.device.selftest.checks import BACK_FACTOR, BACK_SHARE, PRESS_FACTOR
from breakyard.device.selftest.seen import Press

TICK_S: Final = 0.1
IN_A_ROW: Final = 2
BACK_IN_A_ROW: Final = 5


class PressDetector:
    """Judges counts one after another; pure."""

    def __init__(self, zero_counts: int, noise_counts: float) -> None:
        self._zero = zero_counts
        self._noise = noise_counts
        self._row = 0
        self.largest = 0
        self.left = 0
        self.pressed = False
        self.returned = False

    def take(self, counts: int) -> bool:
        """Look at a count; True once the press is over."""
        distance = counts - self._zero
        self.left = distance
        if abs(distance) > abs(self.largest):
            self.largest = distance
        if not self.pressed:
            self._row = self._row + 1 if abs(distance) > PRESS_FACTOR * self._noise else 0
            if self._row >= IN_A_ROW:
                self.pressed, self._row = True, 0
            return False
        near = max(BACK_FACTOR * self._noise, BACK_SHARE * abs(self.largest))
        self._row = self._row + 1 if abs(distance) <= near else 0
        self.returned = self._row >= BACK_IN_A_ROW
        return self.returned

    @property
    def seen(self) -> Press:
        """So far."""
        return Press(self.largest, self.pressed, self.returned, self.left)


async def watch_press(
    client: Client,
    pause: Callable[[float], Awaitable[None]],
    zero_counts: int,
    noise_counts: float,
    patience_s: float,
) -> Press:
    """Wait for a press and for its end, each at most `patience_s`. Raises: LinkError."""
    detector = PressDetector(zero_counts, noise_counts)
    ticks_left = round(patience_s / TICK_S)
    was_pressed = False
    while ticks_left > 0:
        client.conversation.status = None
        await pause(TICK_S)
        ticks_left -= 1
        status = client.status
        if status is None:
            continue
        if detector.take(status.counts):
            break
        if detector.pressed and not was_pressed:
            was_pressed = True
            ticks_left = round(patience_s / TICK_S)
    return detector.seen
