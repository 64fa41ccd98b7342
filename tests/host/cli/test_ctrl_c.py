"""Ctrl-C in a terminal, as the byte that a keyboard sends: the terminal gives the signal to every process in it."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from terminal import Terminal

from breakyard.run import read_run

CTRL_C = b"\x03"


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
    assert status in (0, 130)  # 0: the run had come to its end before the second key was read
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


def test_ctrl_c_while_modules_load(tmp_path: Path) -> None:
    """Before the command has begun: it ends as any program does, and Python says nothing of its own."""
    (tmp_path / "typer.py").write_text("import signal\nsignal.raise_signal(signal.SIGINT)\n")
    ended = subprocess.run(
        [sys.executable, "-m", "breakyard", "--help"],
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        capture_output=True,
        check=False,
    )

    assert (ended.returncode, ended.stdout, ended.stderr) == (-signal.SIGINT, b"", b"")


def test_processes_that_read_leave_ctrl_c_to_the_command() -> None:
    """A terminal sends it to all of them; only one says something."""
    from breakyard.session.reading import _pool

    with _pool(1) as pool:
        assert pool.submit(signal.getsignal, signal.SIGINT).result() is signal.SIG_IGN
