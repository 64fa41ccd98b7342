"""A session of the demo's, its computer's side as the command runs it, and pages in front of it."""

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from browser import missing

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
    return folder


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
