"""Settings changed by SET outlive a restart; who spoke last is right; damage is named and stops nothing."""

from logger.core import layout
from logger.core.kept_settings import FILE, KeptSettings
from logger.core.settings import Settings
from logger.core.settings_file import SettingsFile

HANG = 4  # protocol/records.json, settings
STATUS = 6


class Files:
    """One small file in memory; counts what is written."""

    def __init__(self):
        self.data = None
        self.written = 0
        self.full = False

    def replace(self, name, data):
        assert name == FILE
        if self.full:
            raise OSError(28)
        self.data = data
        self.written += 1

    def read(self, name, offset, buffer):
        if self.data is None:
            raise OSError(2)
        count = min(len(buffer), len(self.data))
        buffer[:count] = self.data[:count]
        return count


def start(files, text=""):
    """What holds after a start with this settings.txt."""
    settings = Settings()
    settings.take(SettingsFile(text))
    kept = KeptSettings(files)
    kept.take(settings)
    return settings, kept


def test_what_was_set_is_there_after_a_restart():
    files = Files()
    _, kept = start(files)
    assert kept.keep(HANG, 2500)
    assert kept.keep(STATUS, 200)
    settings, kept = start(files)

    assert (settings.hang_ms, settings.status_ms) == (2500, 200)
    assert kept.complaints == []


def test_flash_is_written_only_when_something_changes():
    files = Files()
    _, kept = start(files)
    for _ in range(10):
        kept.keep(HANG, 2500)
        kept.keep(STATUS, layout.SETTING_LIMITS[STATUS - 1][0])
    assert files.written == 1
    _, kept = start(files)
    kept.keep(HANG, 2500)

    assert files.written == 1
    kept.keep(HANG, 5000)  # what settings.txt says: nothing is to be kept any more
    assert files.written == 2
    assert start(files)[0].hang_ms == 5000
    assert start(files, "hang_ms = 4000\n")[0].hang_ms == 4000


def test_who_spoke_last_is_right():
    """The file, edited after SET, wins and says so; SET after that wins again; other settings are not touched."""
    files = Files()
    _, kept = start(files, "hang_ms = 3000\n")
    kept.keep(HANG, 2500)
    kept.keep(STATUS, 200)
    assert start(files, "hang_ms = 3000\n")[0].hang_ms == 2500
    settings, kept = start(files, "hang_ms = 4000\n")

    assert settings.hang_ms == 4000
    assert settings.status_ms == 200
    assert kept.complaints == ["settings.txt changed: SET of number 4 is over"]
    assert kept.keep(HANG, 2500)
    assert start(files, "hang_ms = 4000\n")[0].hang_ms == 2500


def test_a_damaged_file_is_named_and_the_logger_starts():
    files = Files()
    _, kept = start(files)
    kept.keep(HANG, 2500)
    sound = files.data
    for at in range(len(sound)):
        for data in (sound[:at], sound[:at] + bytes([sound[at] ^ 4]) + sound[at + 1 :]):
            files.data = data
            settings, kept = start(files, "hang_ms = 3000\n")

            assert settings.hang_ms == 3000, at
            assert kept.complaints == ["kept settings are damaged: settings.txt holds"], at
            assert len(kept.complaints[0]) <= layout.MAX_TEXT
    assert kept.keep(STATUS, 300)
    assert start(files)[0].status_ms == 300


def test_what_is_not_allowed_is_named():
    """Written by another version: a number that is not there, a value out of range."""
    files = Files()
    _, kept = start(files)
    files.data = kept._packed({HANG: (5, 5000), 99: (1, 1), STATUS: (200, 100)})
    settings, kept = start(files)

    assert settings.hang_ms == 5000
    assert settings.status_ms == 200
    assert kept.complaints == [
        "kept settings: number 4 is out of range",
        "kept settings: there is no number 99",
    ]


def test_what_cannot_be_kept_changes_nothing():
    files = Files()
    _, kept = start(files)
    kept.keep(HANG, 2500)
    files.full = True
    assert not kept.keep(HANG, 2600)
    files.full = False

    assert start(files)[0].hang_ms == 2500
    assert kept.keep(HANG, 2600)
    assert start(files)[0].hang_ms == 2600
    assert KeptSettings(None).keep(HANG, 1)


def test_all_settings_at_once_fit():
    files = Files()
    _, kept = start(files)
    for i in range(len(layout.SETTING_LIMITS)):
        default, lowest, highest = layout.SETTING_LIMITS[i]
        assert kept.keep(i + 1, highest if default != highest else lowest)
    settings, kept = start(files)

    assert kept.complaints == []
    assert settings.values() == tuple([limits[2] for limits in layout.SETTING_LIMITS])
