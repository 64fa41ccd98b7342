"""Tab in real shells: commands and options are completed, and files where a file is asked for."""

import os
import select
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ENOUGH_S = 60.0
"""Only ends a test whose shell never answers."""


@pytest.fixture
def at_home(tmp_path: Path) -> dict[str, str]:
    """An environment whose `breakyard` is the one under test, with a home of its own."""
    command = tmp_path / "bin" / "breakyard"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m breakyard "$@"\n')
    command.chmod(0o755)
    (tmp_path / "pulls.csv").write_text("")
    path = os.pathsep.join((str(command.parent), os.environ["PATH"]))
    return {
        "PATH": path,
        "HOME": str(tmp_path),
        "TERM": "dumb",
        "LANG": "C.UTF-8",
        "PS1": "> ",
        "COLUMNS": "200",
    }


def needs(shell: str) -> str:
    """Where a shell is; skips without it."""
    found = shutil.which(shell)
    if found is None:
        pytest.skip(f"no {shell} (Debian and its kin: the package {shell})")
    return found


class Typed:
    """A shell at a pseudo-terminal, to which one types."""

    def __init__(self, words: list[str], environment: dict[str, str], folder: Path) -> None:
        pty = pytest.importorskip("pty", reason="no pseudo-terminals on this system")
        self.child, self.terminal = pty.fork()
        if self.child == 0:  # pragma: no cover
            os.chdir(folder)
            os.execve(words[0], words, environment)
        self.said = b""

    def type(self, text: str) -> None:
        os.write(self.terminal, text.encode())

    def wait_for(self, text: str) -> None:
        """Read until a text was said after what was read before."""
        new = b""
        while text.encode() not in new:
            ready, _, _ = select.select([self.terminal], [], [], ENOUGH_S)
            assert ready, f"{text!r} never came; instead: {self.said + new!r}"
            new += os.read(self.terminal, 4096)
        self.said += new

    def end(self) -> None:
        os.close(self.terminal)
        os.waitpid(self.child, 0)


@pytest.fixture(params=["bash", "zsh"])
def shell(request: pytest.FixtureRequest, at_home: dict[str, str], tmp_path: Path) -> Iterator[Typed]:
    """An interactive shell that knows the completion, as --install-completion would have it."""
    name = request.param
    words = {"bash": ["--norc", "--noprofile", "-i"], "zsh": ["-f", "-i"]}[name]
    typed = Typed([needs(name), *words], at_home, tmp_path)
    if name == "zsh":
        typed.type("autoload -Uz compinit; compinit -u -D; unsetopt zle_bracketed_paste\n")
    typed.type(f'eval "$(_BREAKYARD_COMPLETE=source_{name} breakyard)"; echo rea""dy\n')
    typed.wait_for("ready")
    yield typed
    typed.end()


@pytest.mark.parametrize(
    ("begun", "whole"),
    [
        ("breakyard summ", "summarize"),
        ("breakyard import --acc", "--accuracy"),
        ("breakyard import pul", "pulls.csv"),
    ],
    ids=["command", "option", "file"],
)
def test_tab_completes(shell: Typed, begun: str, whole: str) -> None:
    """What was begun stands there as a whole."""
    rest = whole.removeprefix(begun.split()[-1])
    shell.type(f"{begun}\t")

    shell.wait_for(rest)


def test_fish_completes(at_home: dict[str, str], tmp_path: Path) -> None:
    """fish tells what it would offer."""
    script = (
        "_BREAKYARD_COMPLETE=source_fish breakyard | source; complete -C 'breakyard summ'; "
        "complete -C 'breakyard import --acc'; complete -C 'breakyard import pul'"
    )
    done = subprocess.run(
        [needs("fish"), "--no-config", "-c", script],
        cwd=tmp_path,
        env=at_home,
        capture_output=True,
        check=False,
    )
    offered = [line.split("\t")[0] for line in done.stdout.decode().splitlines()]

    assert "summarize" in offered
    assert "--accuracy" in offered
    assert "pulls.csv" in offered
