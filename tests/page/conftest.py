"""A session of the demo's, its computer's side as the command runs it, and pages in front of it."""

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from browser import missing

from breakyard.formats.read_csv import parse_csv
from breakyard.session.session import open_session

SECONDS_TO_START = 90


@dataclass(frozen=True)
class Computer:
    """`breakyard field` at work: the address of its page, its pairing code, its session."""

    address: str
    code: str
    session: Path
    process: "subprocess.Popen[str]"

    @property
    def paired(self) -> str:
        """The address as the QR code has it."""
        return f"{self.address}#code={self.code}"


@pytest.fixture(scope="session")
def demo_session(tmp_path_factory: pytest.TempPathFactory, micropython: str) -> Path:
    """The demo's session, which the virtual logger's pulls belong to."""
    folder = tmp_path_factory.mktemp("field") / "session"
    subprocess.run(
        [sys.executable, "-m", "breakyard", "demo", "--folder", str(folder), "--json"],
        check=True,
        capture_output=True,
    )
    _keep_a_weighing(folder)
    return folder


def _keep_a_weighing(folder: Path) -> None:
    """An anchor of 36.5 kg in slings of 3 kg, recorded by another instrument before the page is opened. Invented."""
    session = open_session(folder)
    time = np.arange(0.0, 40.0, 0.02)
    load = 9.814 * np.where(time < 15.0, 3.0, 39.5 * (1 + 0.01 * np.sin(3.7 * time)))
    data = "time_s,load_N\n" + "\n".join(f"{t:.2f},{f:.3f}" for t, f in zip(time, load, strict=True))
    session.add_recording("W1", data.encode(), parse_csv(data.encode(), name="W1"), accuracy=0.001)
    session.change_notes("W1", lambda notes: replace(notes, more={**notes.more, "purpose": "weighing"}))


def start(session: Path, port: str = "0") -> Computer:
    """Begin `breakyard field` on this machine, at a free port unless one is named."""
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "breakyard", "field", str(session)),
            *("--link", "virtual", "--here", "--port", port, "--json"),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert process.stdout is not None
    said = ""
    for line in process.stdout:
        said += line
        try:
            told = json.loads(said)
        except ValueError:
            continue
        return Computer(told["pages"][0], told["code"], session, process)
    raise AssertionError(f"breakyard field ended: {said}")


@pytest.fixture
def computer(demo_session: Path) -> Iterator[Computer]:
    """The command, ended as Ctrl-C does."""
    if missing():
        pytest.skip(missing())
    running = start(demo_session)
    yield running
    running.process.terminate()
    running.process.wait(30)
    assert running.process.stdout is not None
    running.process.stdout.close()
