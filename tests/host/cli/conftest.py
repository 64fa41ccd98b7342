"""The command line as a user meets it: words in, status and two streams out."""

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from breakyard.cli.app import main


@dataclass(frozen=True)
class Said:
    """What a command left behind."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """The one JSON document on standard output; anything else there is an error."""
        return json.loads(self.out)

    @property
    def complaint(self) -> str:
        """The single line on standard error."""
        lines = [line for line in self.err.splitlines() if line.startswith("breakyard: ")]
        assert len(lines) == 1, self.err
        assert "Traceback" not in self.err
        return lines[0]


@pytest.fixture
def breakyard(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Callable[..., Said]:
    """Run the command in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "120")

    def run(*words: str | Path) -> Said:
        monkeypatch.setattr(sys, "argv", ["breakyard", *map(str, words)])
        status: object = 0
        try:
            main()
        except SystemExit as stopped:
            status = stopped.code or 0
        captured = capsys.readouterr()
        assert isinstance(status, int)
        return Said(status, captured.out, captured.err)

    return run
