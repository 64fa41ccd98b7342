"""Letters that the system's code page does not have: never a traceback, UTF-8 wherever programs read."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

NAME = "Ożarów ≥ 1"
SYSTEMS = {
    "Windows, Western": {"PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"},
    "locale C": {"LC_ALL": "C"},
    "ASCII alone": {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"},
}


@pytest.fixture
def recording(tmp_path: Path) -> str:
    """A pull of another instrument, in a file with such a name."""
    rows = [f"{0.0125 * i:.4f},{max(0, min(i, 500) - 80) * 2 * (i < 700)}" for i in range(1000)]
    (tmp_path / f"{NAME}.csv").write_text("\n".join(["Time [s],Load [N]", *rows]) + "\n", "utf-8")
    return f"{NAME}.csv"


def run(words: tuple[str, ...], folder: Path, system: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "breakyard", *words],
        cwd=folder,
        env={**os.environ, **SYSTEMS[system]},
        capture_output=True,
        check=False,
    )


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_pipe_gets_utf_8(recording: str, tmp_path: Path, system: str) -> None:
    """The table as text; JSON in plain ASCII, which every code page reads alike; complaints too."""
    said = run(("summarize", recording, "--accuracy", "1"), tmp_path, system)
    assert said.returncode == 0, said.stderr
    assert "Ożarów" in said.stdout.decode("utf-8")

    said = run(("summarize", recording, "--accuracy", "1", "--json"), tmp_path, system)
    assert said.returncode == 0, said.stderr
    assert json.loads(said.stdout.decode("ascii"))["run"]["name"] == NAME

    said = run(("summarize", f"{NAME}.run"), tmp_path, system)
    assert said.returncode == 2
    assert "Ożarów" in said.stderr.decode("utf-8")
    assert b"Traceback" not in said.stderr


@pytest.mark.parametrize("system", ["Windows, Western", "ASCII alone"])
def test_a_terminal_shows_what_it_can(recording: str, tmp_path: Path, system: str) -> None:
    """A letter that it does not have is replaced, and the command goes on."""
    pty = pytest.importorskip("pty", reason="no pseudo-terminals on this system")
    ours, its = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "breakyard", "summarize", recording, "--accuracy", "1"],
        cwd=tmp_path,
        env={**os.environ, **SYSTEMS[system], "TERM": "dumb", "COLUMNS": "120"},
        stdin=its,
        stdout=its,
        stderr=its,
    )
    os.close(its)
    seen = b""
    try:
        while data := os.read(ours, 4096):
            seen += data
    except OSError:  # how Linux says that nobody writes any more
        pass
    os.close(ours)

    assert process.wait() == 0, seen
    assert b"O?ar" in seen
    assert b"Traceback" not in seen
