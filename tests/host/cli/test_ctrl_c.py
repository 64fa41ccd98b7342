"""Ctrl-C in a terminal, as the byte that a keyboard sends: the terminal gives the signal to every process in it."""

import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from breakyard.run import read_run

pty = pytest.importorskip("pty", reason="no pseudo-terminals on this system")

CTRL_C = b"\x03"


class Terminal:
    """A command in a terminal of its own."""

    def __init__(self, *words: str) -> None:
        self.pid, self._screen = pty.fork()
        if self.pid == 0:
            os.execv(sys.executable, [sys.executable, "-m", "breakyard", *words])
        self.seen = b""
        self._status: int | None = None

    def wait_for(self, words: bytes) -> None:
        """Read on until the words are there."""
        while words not in self.seen:
            if not self._read():
                raise AssertionError(f"it ended without {words!r}: {self.seen.decode(errors='replace')}")

    def press(self, key: bytes) -> None:
        os.write(self._screen, key)

    def status(self) -> int:
        """Read to the end; the exit status."""
        while self._read():
            pass
        if self._status is None:
            self._status = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        return self._status

    def close(self) -> None:
        if self._status is None:
            os.kill(self.pid, signal.SIGKILL)
            os.waitpid(self.pid, 0)
        os.close(self._screen)

    def _read(self) -> bytes:
        try:
            data = os.read(self._screen, 4096)
        except OSError:  # under Linux this is how a terminal says that nobody writes any more
            return b""
        self.seen += data
        return data


@pytest.fixture
def recording(tmp_path: Path) -> Iterator[Terminal]:
    """A recording from the virtual logger that is under way."""
    made = Terminal("record", str(tmp_path), "--link", "virtual", "--now")
    made.wait_for(b"recording")
    yield made
    made.close()


def test_ctrl_c_ends_the_run_and_keeps_it(recording: Terminal, tmp_path: Path) -> None:
    """The virtual logger lives on and hands over the whole run; nothing else is left in the folder."""
    recording.press(CTRL_C)

    assert recording.status() == 0, recording.seen
    (kept,) = tmp_path.iterdir()
    run = read_run(kept.read_bytes())
    assert run.loss.complete
    assert b"complete" in recording.seen


def test_a_second_ctrl_c_gives_up(recording: Terminal) -> None:
    """At once, in one line, whatever was under way."""
    recording.press(CTRL_C * 2)

    status = recording.status()
    assert status in (0, 2)  # 0: the run had come to its end before the second key was read
    assert b"Traceback" not in recording.seen
    assert status == 0 or b"stopped; what was written before stays valid" in recording.seen


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="finds the logger's process in /proc")
def test_a_link_that_is_gone_for_good_ends_the_command(recording: Terminal) -> None:
    """A virtual logger whose process died has no memory of the run: the command says so and ends."""
    children = Path(f"/proc/{recording.pid}/task/{recording.pid}/children").read_text().split()
    for child in children:
        os.kill(int(child), signal.SIGKILL)

    assert recording.status() == 2
    assert b"the virtual logger went off" in recording.seen


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="finds the logger's process in /proc")
def test_the_logger_ends_with_a_command_that_was_killed(recording: Terminal) -> None:
    """In a session of its own no terminal ends it; the end of its pipe does."""
    (child,) = Path(f"/proc/{recording.pid}/task/{recording.pid}/children").read_text().split()
    handle = os.pidfd_open(int(child))
    os.kill(recording.pid, signal.SIGKILL)

    import select

    select.select([handle], [], [])  # readable once the process has ended
    os.close(handle)
