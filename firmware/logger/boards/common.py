"""What the boards share: settings file, lamp, buzzer, button, battery, watchdog. NOT RUN ON HARDWARE YET."""

import gc
import time

import machine
from machine import ADC, WDT, Pin

from ..core import layout
from ..core.identity import FIRMWARE
from ..core.settings_file import SettingsFile, text_of
from ..drivers.lamp import Button, Lamp
from ..drivers.sensors import Battery

SETTINGS_PATH = "/settings.txt"
RUNS_FOLDER = "/runs"
WATCHDOG_MS = 8000  # the RP2040 allows 8388
NO_PIN = -1
_HIGHEST_PIN = 48


def read_settings() -> SettingsFile:
    """The settings file; as if it were empty when there is none."""
    try:
        with open(SETTINGS_PATH, "rb") as file:
            return SettingsFile(text_of(file.read()))
    except OSError:
        return SettingsFile("")


def reset_cause() -> int:
    """Why the board started, as a RESET number."""
    cause = machine.reset_cause()
    for name, number in (
        ("PWRON_RESET", layout.RESET_POWER),
        ("WDT_RESET", layout.RESET_WATCHDOG),
        ("HARD_RESET", layout.RESET_RESET),
        ("SOFT_RESET", layout.RESET_SOFTWARE),
    ):
        if getattr(machine, name, None) == cause:
            return number
    return layout.RESET_UNKNOWN


def pin_number(config: SettingsFile, name: str, default: int) -> int:
    """A pin's number from the settings; NO_PIN for none."""
    return config.number(name, default, NO_PIN, _HIGHEST_PIN)


class Extras:
    """What may or may not be wired; see logger/upkeep.py for the names."""

    def __init__(self, config: SettingsFile, own_lamp, lamp_pin: int = NO_PIN) -> None:  # type: ignore[no-untyped-def]
        lamp = pin_number(config, "lamp_pin", lamp_pin)
        buzzer = pin_number(config, "buzzer_pin", NO_PIN)
        button = pin_number(config, "button_pin", NO_PIN)
        battery = pin_number(config, "battery_pin", NO_PIN)
        permille = config.number("battery_permille", 2000, 1000, 20000)
        self.low_battery_mv = config.number("low_battery_mv", 0, 0, 20000)
        # The board's own lamp may be slow to switch, where it sits on the radio's chip: it is no lamp for the video.
        self.lamp = Lamp(Pin(lamp, Pin.OUT)) if lamp >= 0 else None
        self.own_lamp = Lamp(own_lamp) if own_lamp is not None else None
        rate = pin_number(config, "rate_pin", NO_PIN)
        self.rate_pin = Lamp(Pin(rate, Pin.OUT)) if rate >= 0 else None
        if self.rate_pin:
            self.rate_pin.set(1)  # fast
        self.buzzer = Lamp(Pin(buzzer, Pin.OUT)) if buzzer >= 0 else None
        self.button = Button(Pin(button, Pin.IN, Pin.PULL_UP)) if button >= 0 else None
        self.battery = Battery(ADC(Pin(battery)), permille) if battery >= 0 else None

    def start_watchdog(self, config: SettingsFile) -> None:
        """Last of all: from now on it must be fed."""
        self.watchdog = WDT(timeout=WATCHDOG_MS) if config.number("watchdog", 1, 0, 1) else None

    def free_memory(self) -> int:
        """Bytes of the heap that are free; garbage that was not collected yet is not among them."""
        return int(gc.mem_free())


def radio_links(serial: bytes, name: str) -> list:  # type: ignore[type-arg]
    """The link over Bluetooth, or none where the board has no radio or it does not start: the logger records on."""
    try:
        import bluetooth

        from ..links.ble import BleLink

        return [BleLink(bluetooth, time.ticks_ms, time.ticks_diff, serial, name, FIRMWARE)]
    except (ImportError, OSError, RuntimeError):
        return []
