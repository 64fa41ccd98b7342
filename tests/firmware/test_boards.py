"""Which board's file is taken, from what interpreters say of themselves (as printed by release images; from memory)."""

from firmware_support import raises

from logger.boards.choose import board_name


def test_known_boards():
    for platform, machine, name in (
        ("rp2", "Raspberry Pi Pico W with RP2040", "pico_w"),
        ("rp2", "Raspberry Pi Pico 2 W with RP2350", "pico2_w"),
        ("esp32", "Generic ESP32 module with ESP32", "esp32"),
        ("esp32", "Generic ESP32 module with SPIRAM with ESP32", "esp32"),
        ("esp32", "Generic ESP32S3 module with ESP32S3", "esp32_s3"),
        ("esp32", "Generic ESP32S3 module with Octal-SPIRAM with ESP32S3", "esp32_s3"),
    ):
        assert board_name(platform, machine) == name


def test_other_boards_are_refused_by_name():
    for platform, machine in (("esp32", "ESP32C3 module with ESP32C3"), ("linux", "linux")):
        assert raises(ValueError, board_name, platform, machine)
