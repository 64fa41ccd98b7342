"""A command in a terminal of its own, as a person at a keyboard has it."""

import os
import signal
import sys

import pytest

pty = pytest.importorskip("pty", reason="no pseudo-terminals on this system")


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
