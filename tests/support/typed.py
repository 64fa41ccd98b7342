"""A command typed in this process: words in, status and two streams out."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from breakyard.cli.app import main


def typed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], folder: Path, columns: int
) -> Callable[..., tuple[int, str, str]]:
    """What types commands in a folder, in front of a terminal so many columns wide."""
    monkeypatch.chdir(folder)
    monkeypatch.setenv("COLUMNS", str(columns))

    def run(*words: str | Path) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["breakyard", *map(str, words)])
        status: object = 0
        try:
            main()
        except SystemExit as stopped:
            status = stopped.code or 0
        captured = capsys.readouterr()
        assert isinstance(status, int)
        return status, captured.out, captured.err

    return run
