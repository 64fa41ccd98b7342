"""settings.txt of the board: whatever it says, the logger starts with allowed values and says what is wrong."""

from fuzz_targets.feeding import Cursor
from logger.core.layout import SETTING_LIMITS
from logger.core.settings import Settings
from logger.core.settings_file import SettingsFile

MAX_LEN = 200


def seeds():
    return [
        b"",
        b"# a remark\nthreshold_counts = 20000   # another\nname = Slipway\n",
        b"input=3\r\nhang_ms = -5\nhang_ms = 7\n",
        b"commit_ms = 99999999999999999999999999\nstatus_ms = 1_000\n= 4\nnothing\n",
        "trigger_samples = \u0665\n".encode(),
    ]


def try_one(data):
    cursor = Cursor(data)
    longest = cursor.number()
    text = cursor.rest().decode("utf-8", errors="replace")
    file = SettingsFile(text)
    settings = Settings()
    settings.take(file)
    for value, (_, lowest, highest) in zip(settings.values(), SETTING_LIMITS, strict=True):
        assert type(value) is int
        assert lowest <= value <= highest
    assert len(file.text("name", "none", longest).encode()) <= max(longest, 4)
    file.unknown()
    assert len(file.complaints) <= 2 * text.count("\n") + 3
