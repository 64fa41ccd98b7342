"""What the lamp shows, and the flash at the beginning of a run."""

from logger.core import layout, signals
from logger.core.signals import Signals, pattern
from logger.drivers.lamp import Button, Lamp

ALL = (
    signals.READY,
    signals.ARMED,
    signals.RECORDING,
    signals.FAULT,
    signals.LOW_BATTERY,
    signals.OVERLOAD,
)


def test_no_two_patterns_look_alike():
    """Not even when one looks at another moment of the two seconds."""
    for i in range(len(ALL)):
        for j in range(i):
            turned = [(ALL[i] << by | ALL[i] >> (16 - by)) & 0xFFFF for by in range(16)]
            assert ALL[j] not in turned, (i, j)


def test_the_first_that_applies():
    assert pattern(layout.STATE_FAULT, 2, True) == signals.FAULT
    assert pattern(layout.STATE_RECORDING, 1, True) == signals.OVERLOAD
    assert pattern(layout.STATE_RECORDING, 0, True) == signals.RECORDING
    assert pattern(layout.STATE_ARMED, 0, True) == signals.ARMED
    assert pattern(layout.STATE_IDLE, 0, True) == signals.LOW_BATTERY
    assert pattern(layout.STATE_IDLE, 0, False) == signals.READY


def test_a_pattern_takes_two_seconds_and_comes_again():
    lamp = Signals()
    levels = [lamp.level(signals.ARMED, ms) for ms in range(0, 4000, 125)]

    assert levels[:16] == levels[16:] == [1, 0, 1, 0, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0, 0]


def test_the_flash_stands_between_darkness_whatever_the_pattern():
    lamp = Signals()
    lamp.flash(10000)
    levels = [lamp.level(0xFFFF, ms) for ms in range(10000, 11100, 10)]

    assert levels == [0] * 12 + [1] * 30 + [0] * 58 + [1] * 10
    assert not lamp.lit


class Pin:
    def __init__(self, level=1):
        self.level = level

    def __call__(self, *level):
        if level:
            self.level = level[0]
        return self.level


def test_lamp_to_ground_and_lamp_to_supply():
    pin = Pin()
    lamp = Lamp(pin)
    assert pin.level == 0
    lamp.set(1)
    assert pin.level == 1
    lamp = Lamp(pin, inverted=True)
    assert pin.level == 1
    lamp.set(1)
    assert pin.level == 0


def test_a_press_counts_once_and_a_bounce_never():
    pin = Pin()
    button = Button(pin)
    pressed = []
    for level in (1, 0, 1, 0, 0, 1) + (0,) * 20 + (1, 0, 0, 0, 0, 0, 0):
        pin.level = level
        pressed.append(button.pressed())

    assert pressed == [False] * 10 + [True] + [False] * 20 + [True, False]
