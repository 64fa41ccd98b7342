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


@pytest.mark.skipif(os.name == "nt", reason="words of a command are no bytes there")
def test_letters_are_kept_in_the_locale_c(tmp_path: Path) -> None:
    """Also where Python was told not to take UTF-8 for granted: what was typed stands in the session's files."""
    env = {**os.environ, "LC_ALL": "C", "PYTHONUTF8": "0"}
    words = (
        sys.executable,
        "-m",
        "breakyard",
        "new",
        "yard",
        "--place",
        "Ożarów",
        "--groups",
        "dębowe, tekowe",
    )
    said = subprocess.run(words, cwd=tmp_path, env=env, capture_output=True, check=False)

    assert (said.returncode, said.stderr) == (0, b"")
    assert 'place = "Ożarów"' in (tmp_path / "yard" / "session.toml").read_text("utf-8")
    assert "dębowe" in (tmp_path / "yard" / "specimens.csv").read_text("utf-8-sig")


@pytest.mark.skipif(os.name == "nt", reason="words of a command are no bytes there")
def test_a_word_that_is_no_utf_8_is_one_clear_line(tmp_path: Path) -> None:
    """A name typed in another code page cannot stand in a table: there is no session then, and it is said why."""
    words = (sys.executable, "-m", "breakyard", "new", "yard", "--place", b"caf\xe9")
    said = subprocess.run(words, cwd=tmp_path, capture_output=True, check=False)

    assert said.returncode == 2
    assert said.stderr.startswith(b"breakyard: a word of the command")
    assert said.stderr.count(b"\n") == 1
    assert not (tmp_path / "yard" / "session.toml").exists()
