"""The command line as a user meets it: words in, status and two streams out."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from terminal import Terminal
from typed import typed


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
    run = typed(monkeypatch, capsys, tmp_path, 120)
    return lambda *words: Said(*run(*words))


@pytest.fixture
def recording(tmp_path: Path) -> Iterator[Terminal]:
    """A recording from the virtual logger that is under way, in a terminal."""
    made = Terminal("record", str(tmp_path), "--link", "virtual", "--now")
    made.wait_for(b"recording")
    yield made
    made.close()
