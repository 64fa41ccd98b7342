"""Files that another program has open, as Windows treats them."""

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from breakyard.disk import atomic
from breakyard.disk.atomic import write_atomically, write_once
from breakyard.errors import FileHeld


class Clock:
    """A clock that goes only while somebody sleeps."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now_s = 0.0
        monkeypatch.setattr(atomic.time, "monotonic", lambda: self.now_s)
        monkeypatch.setattr(atomic.time, "sleep", self.sleep)

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


@pytest.fixture
def hold(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Let somebody have a file open, until a moment of the clock or for good."""
    clock = Clock(monkeypatch)
    held: dict[Path, float] = {}
    real = os.replace

    def replace(source: Any, target: Any) -> None:
        if held.get(Path(target), -1.0) > clock.now_s:
            raise PermissionError(13, "Access is denied", str(target))
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)
    return lambda path, until_s=float("inf"): held.update({Path(path): until_s})


def test_a_scanner_that_lets_go_is_waited_for(hold: Callable[..., None], tmp_path: Path) -> None:
    """Half a second is no reason to complain."""
    path = tmp_path / "summaries.csv"
    path.write_text("old")
    hold(path, 0.5)
    write_atomically(path, b"new")

    assert path.read_bytes() == b"new"


def test_a_spreadsheet_that_does_not_is_named(hold: Callable[..., None], tmp_path: Path) -> None:
    """What to do; the old file is whole, and nothing is left beside it."""
    path = tmp_path / "summaries.csv"
    path.write_text("old")
    hold(path)
    with pytest.raises(
        FileHeld, match=r"if a spreadsheet has it open, close it there and give the command again"
    ):
        write_atomically(path, b"new")

    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("name", ["results/summaries.csv", "results/A1.summary.json"])
def test_the_result_is_shown_all_the_same(
    hold: Callable[..., None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any, name: str
) -> None:
    """Every pull on the screen, then one line that says which file was held."""
    import sys

    from breakyard.cli.app import main

    root = tmp_path / "yard"
    rows = [f"{0.0125 * i:.4f},{max(0, min(i, 500) - 80) * 2 * (i < 700)}" for i in range(1000)]
    (tmp_path / "A1.csv").write_text("\n".join(["Time [s],Load [N]", *rows]) + "\n")
    (tmp_path / "A2.csv").write_text("\n".join(["Time [s],Load [N]", *rows, "12.6,0"]) + "\n")

    def run(*words: str) -> int:
        monkeypatch.setattr(sys, "argv", ["breakyard", *words])
        try:
            main()
        except SystemExit as stopped:
            return int(stopped.code or 0)
        return 0

    both = (str(tmp_path / "A1.csv"), str(tmp_path / "A2.csv"))
    assert run("import", *both, "--session", str(root), "--accuracy", "1") == 0
    assert run("summarize", str(root)) == 0
    capsys.readouterr()
    (root / name).write_text("{}")
    hold(root / name)
    status = run("summarize", str(root), "--json")
    said = capsys.readouterr()

    assert status == 0
    assert [pull["name"] for pull in json.loads(said.out)["pulls"]] == ["A1", "A2"]
    assert all(pull["summary"] for pull in json.loads(said.out)["pulls"])
    (line,) = [line for line in said.err.splitlines() if line.startswith("breakyard: ")]
    assert "shown, but not kept" in line
    assert name.rpartition("/")[2] in line


def test_a_disk_without_hard_links(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """FAT, and a system whose Python has no os.link at all: written once all the same, never over another."""
    from breakyard.errors import DataError

    monkeypatch.delattr(os, "link")

    assert write_once(tmp_path / "a.run", b"one")
    assert not write_once(tmp_path / "a.run", b"one")
    with pytest.raises(DataError, match="other content"):
        write_once(tmp_path / "a.run", b"two")
    assert [path.name for path in tmp_path.iterdir()] == ["a.run"]
