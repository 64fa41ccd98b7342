"""The settings file: what is right is taken, what is wrong is named, and nothing stops the logger."""

from firmware_support import ROOT

from logger.core import layout
from logger.core.settings import Settings
from logger.core.settings_file import SettingsFile, text_of


def test_values_remarks_and_spaces():
    file = SettingsFile("\n# remark\n data_pin =  7 # GP7\nname= red box \r\nempty =\n")

    assert file.number("data_pin", 2, 0, 28) == 7
    assert file.text("name", "logger") == "red box"
    assert file.text("empty", "x") == "x"
    assert file.number("other", 5, 0, 9) == 5
    file.unknown()
    assert file.complaints == []


def test_what_is_wrong_is_named_with_its_line_and_the_default_holds():
    file = SettingsFile(
        "hang_ms = many\ntrigger_samples = 11\ntreshold_counts = 5\nhello\nname = 1\nname = 2\nlong = "
        + "x" * 70
    )

    assert file.number("hang_ms", 5000, 100, 600000) == 5000
    assert file.number("trigger_samples", 2, 1, 10) == 2
    assert file.text("name", "") == "1"
    assert file.text("long", "short") == "short"
    file.unknown()
    assert file.complaints == [
        "settings.txt line 4: 'hello' is not NAME = VALUE",
        "settings.txt line 6: name is there twice",
        "settings.txt line 1: hang_ms is no whole number",
        "settings.txt line 2: trigger_samples is not 1 to 10",
        "settings.txt line 7: long has over 64 bytes",
        "settings.txt line 3: no setting is called treshold_counts",
    ]


def test_settings_of_the_protocol_are_taken_one_by_one():
    file = SettingsFile("threshold_counts = 5000\nhang_ms = 5\ncapacity_counts = 4294967\n")
    settings = Settings()
    settings.take(file)

    assert settings.threshold_counts == 5000
    assert settings.capacity_counts == 4294967
    assert settings.hang_ms == layout.SETTING_LIMITS[4 - 1][0]
    assert len(file.complaints) == 1


def test_the_file_that_is_installed_says_nothing_but_what_holds_anyway():
    with open(ROOT + "/firmware/settings.txt") as file:
        text = file.read()
    assert SettingsFile(text).complaints == []
    lines = text.split("\n")
    uncommented = [line[2:] for line in lines if line[:2] == "# " and " = " in line and line[2].islower()]
    file = SettingsFile("\n".join(uncommented))
    settings = Settings()
    settings.take(file)

    assert settings.values() == Settings().values()
    assert len(uncommented) >= 15
    assert file.complaints == []


def test_a_file_in_another_encoding_is_read_all_the_same():
    text = text_of(b"\xef\xbb\xbfhang_ms = 700\r\n# d\xfcnn\r\nname = H\xfctte\r\n")
    file = SettingsFile(text)

    assert file.number("hang_ms", 1, 1, 1000) == 700
    assert file.text("name", "") == "H?tte"
    assert file.complaints == []
