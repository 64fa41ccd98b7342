"""A lamp or buzzer on a pin, and a button; each knows its pin and nothing else."""


class Lamp:
    """On at high, or at low when `inverted`. Also drives a buzzer that sounds by itself."""

    def __init__(self, pin, inverted: bool = False) -> None:  # type: ignore[no-untyped-def]
        self._pin = pin
        self._off = 1 if inverted else 0
        self.set(0)

    def set(self, level: int) -> None:
        """1 on, 0 off."""
        self._pin(level ^ self._off)


class Button:
    """To ground, with the pin's pull-up; `pressed` is true once per press that lasted STEADY calls."""

    STEADY = 5  # of 10 ms

    def __init__(self, pin) -> None:  # type: ignore[no-untyped-def]
        self._pin = pin
        self._down = 0

    def pressed(self) -> bool:
        """To be called every 10 ms."""
        if self._pin():
            self._down = 0
            return False
        if self._down <= self.STEADY:
            self._down += 1
        return self._down == self.STEADY
