"""How the logger itself is: supply, temperature, memory, why it started. Numbers only; the board measures.

Zero, and UNKNOWN for a temperature, say that the board cannot tell.
"""

from .layout import RAIL_LOW

UNKNOWN = RAIL_LOW


class Health:
    """Kept up once or more a second; read by STATUS and RUN_END."""

    def __init__(self) -> None:
        self.battery_mv = 0
        self.lowest_battery_mv = 0  # since the start, or since the latest run began
        self.temperature_cdeg = UNKNOWN
        self.free_memory = 0
        self.reset_cause = 0
        self.low_battery_mv = 0  # below it the battery is low; 0: never
        self.overload = 0  # one of the OVERLOAD numbers, the highest since arming
        self.ring_high = 0  # most samples that waited for the run writer in the latest run

    @property
    def low_battery(self) -> bool:
        """True when the battery is measured and low."""
        return 0 < self.battery_mv < self.low_battery_mv

    def battery(self, millivolts: int) -> None:
        """Take a voltage."""
        self.battery_mv = millivolts
        if self.lowest_battery_mv == 0 or millivolts < self.lowest_battery_mv:
            self.lowest_battery_mv = millivolts

    def run_begins(self) -> None:
        """From now on lowest and highest are those of the run."""
        self.lowest_battery_mv = self.battery_mv
        self.ring_high = 0
