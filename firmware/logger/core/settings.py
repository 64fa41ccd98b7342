"""The settings: defaults, limits, validation. Changed by the settings file at the start, then by SET only."""

from .layout import SETTING_LIMITS
from .settings_file import SettingsFile


class Settings:
    """Settings in force, as named in the table."""

    def __init__(self) -> None:
        self.threshold_counts = 0
        self.trigger_samples = 0
        self.pre_trigger_ms = 0
        self.hang_ms = 0
        self.input = 0
        self.status_ms = 0
        self.commit_ms = 0
        self.capacity_counts = 0
        self.mean_ms = 0
        self.privacy = 0
        self.alarm_counts = 0
        for i in range(len(SETTING_LIMITS)):
            self.change(i + 1, SETTING_LIMITS[i][0])

    def change(self, setting: int, value: int) -> bool:
        """Change one setting by its number; False when number or value is out of range."""
        if not 1 <= setting <= len(SETTING_LIMITS):
            return False
        _, lowest, highest = SETTING_LIMITS[setting - 1]
        if not lowest <= value <= highest:
            return False
        setattr(self, _NAMES[setting - 1], value)
        return True

    def take(self, file: SettingsFile) -> None:
        """Take what a settings file says, as far as it is allowed; it complains of the rest."""
        for i in range(len(SETTING_LIMITS)):
            _, lowest, highest = SETTING_LIMITS[i]
            self.change(i + 1, file.number(_NAMES[i], self.values()[i], lowest, highest))

    def values(self) -> tuple[int, ...]:
        """All values in the order of the table."""
        return (
            self.threshold_counts,
            self.trigger_samples,
            self.pre_trigger_ms,
            self.hang_ms,
            self.input,
            self.status_ms,
            self.commit_ms,
            self.capacity_counts,
            self.mean_ms,
            self.privacy,
            self.alarm_counts,
        )


_NAMES = (
    "threshold_counts",
    "trigger_samples",
    "pre_trigger_ms",
    "hang_ms",
    "input",
    "status_ms",
    "commit_ms",
    "capacity_counts",
    "mean_ms",
    "privacy",
    "alarm_counts",
)
