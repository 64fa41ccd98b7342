"""Whole jobs, as people do them: commands in a folder, and what they must print."""

import json
import shlex
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typed import typed

KGF = 9.80665


class Person:
    """Somebody who types commands in a folder and writes files with an editor or a spreadsheet."""

    def __init__(self, folder: Path, run: Callable[..., tuple[int, str, str]]) -> None:
        self.folder = folder
        self._run = run

    def says(self, command: str, *wanted: str, status: int = 0) -> str:
        """Type a command; it must end with this status and print these words (blanks and line ends aside)."""
        code, out, err = self._run(*shlex.split(command)[1:])
        assert code == status, f"{command}: {code}\n{out}\n{err}"
        printed = " ".join(f"{out} {err}".split())
        for words in wanted:
            assert words in printed, f'{command}: no "{words}" in\n{printed}'
        return printed

    def asks(self, command: str, status: int = 0) -> Any:
        """The same with --json: the document."""
        code, out, err = self._run(*shlex.split(command)[1:], "--json")
        assert code == status, f"{command}: {code}\n{out}\n{err}"
        return json.loads(out)

    def writes(self, name: str, text: str) -> None:
        """Write a file, its folder included."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")

    def records(self, name: str, times_s: Sequence[float], loads_kgf: Sequence[float], seed: int = 0) -> None:
        """What another instrument recorded: straight pieces at 20 samples a second, with 0.05 kgf of noise."""
        time = np.arange(0.0, times_s[-1], 0.05)
        load = np.interp(time, times_s, loads_kgf)
        load += 0.05 * np.random.default_rng(seed).standard_normal(len(time))
        rows = [f"{t:.2f},{f:.3f}" for t, f in zip(time, load, strict=True)]
        self.writes(name, "\n".join(["time_s,load_kgf", *rows]) + "\n")


@pytest.fixture
def person(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Person:
    """In an empty folder, in front of a terminal of 200 columns."""
    return Person(tmp_path, typed(monkeypatch, capsys, tmp_path, 200))
