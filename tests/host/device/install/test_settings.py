"""Settings are changed line by line; what a builder wrote beside them stays."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.device.install import with_settings
from breakyard.errors import UsageError
from breakyard.simulate.logger import firmware_dir

TEXT = "# my logger\n# data_pin = 2   # DOUT\nhang_ms = 3000  # short\nname=x\n"


def test_in_place_from_a_remark_and_at_the_end() -> None:
    """The value changes, remarks and other lines stay."""
    changed = with_settings(TEXT, {"hang_ms": "4000", "data_pin": "7", "lamp_pin": "15"})

    assert changed == ("# my logger\ndata_pin = 7  # DOUT\nhang_ms = 4000  # short\nname=x\nlamp_pin = 15\n")


def test_the_same_change_again_changes_nothing() -> None:
    """So an installation may be repeated."""
    once = with_settings(TEXT, {"hang_ms": "4000", "data_pin": "7", "lamp_pin": "15"})

    assert with_settings(once, {"hang_ms": "4000", "data_pin": "7", "lamp_pin": "15"}) == once


@pytest.mark.parametrize(
    "change", [{"Data Pin": "2"}, {"data_pin": ""}, {"data_pin": "2 # 3"}, {"a": "1\nb = 2"}]
)
def test_what_cannot_stand_in_the_file_is_refused(change: dict[str, str]) -> None:
    """One line that says how to give it."""
    with pytest.raises(UsageError, match="NAME=VALUE"):
        with_settings(TEXT, change)


@given(
    st.dictionaries(
        st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True), st.integers(-9, 99999).map(str), max_size=6
    )
)
def test_the_firmware_reads_what_was_written(changes: dict[str, str]) -> None:
    """The firmware's own reader finds every value, in the file that is installed."""
    import sys

    sys.path.append(str(firmware_dir()))
    from logger.core.settings_file import SettingsFile

    text = (firmware_dir() / "settings.txt").read_text("utf-8")
    file = SettingsFile(with_settings(text, changes))

    assert {name: file.text(name, "") for name in changes} == changes
    assert file.complaints == []
