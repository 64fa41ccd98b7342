"""Powers a board (boot.py) at a pseudo-terminal: starts it, starts it again after a reset, keeps its flash."""

import os
import pty
import signal
import subprocess
import threading
import time
import tty
from contextlib import suppress
from pathlib import Path

import numpy as np

from breakyard.simulate.converter import from_counts
from breakyard.simulate.feed import write_feed
from breakyard.simulate.logger import firmware_dir

HERE = Path(__file__).parent
POWER = 1
ENDS = {7: 3 | 2 << 2, 8: 3 | 1 << 2}
"""After a reset that was asked for, and a bite: what the next start sees, WDT_RESET and the register REASON."""
FLASH_BYTES = 212 * 4096


class PtyBoard:
    """Give it power by `with`; `port` is the serial port, `prompt_closed` the switch as the next start finds it.

    A byte 3 that comes while main.py obeys Ctrl-C interrupts it and is no data. Not simulated: a port that goes away
    while the board restarts.
    """

    def __init__(self, micropython: str, folder: Path) -> None:
        self.prompt_closed = False
        self.starts = 0
        self._words = [
            micropython,
            "-X",
            "heapsize=1m",
            str(HERE / "boot.py"),
            str(firmware_dir() / "virtual"),
        ]
        self._said = [folder / name for name in ("words", "replies")]
        for fifo in self._said:
            fifo.unlink(missing_ok=True)
            os.mkfifo(fifo)
        self._flash = folder / "flash.bin"
        self._feed = folder / "cell.feed"
        if not self._flash.exists():
            self._flash.write_bytes(b"\xff" * FLASH_BYTES)
        # A cell at rest for ten minutes: 92/s, noise of the data sheet at 3.3 V.
        time_s = np.arange(1, 55_200) / 92.0
        counts = np.random.default_rng(3).normal(20_500.0, 59.0, time_s.size)
        write_feed(self._feed, from_counts(time_s, np.rint(counts).astype(np.int32)))
        self._process: subprocess.Popen[bytes] | None = None
        self._off = threading.Event()
        self._obeys = False  # the board obeys Ctrl-C now
        self._obeying = threading.Lock()

    def __enter__(self) -> "PtyBoard":
        inner, its_end = pty.openpty()
        outer, our_end = pty.openpty()
        for end in (its_end, our_end):
            tty.setraw(end)
        self._ends = (inner, its_end, outer, our_end)
        self.port = os.ttyname(our_end)
        # Opened both ways, so that neither end waits for the other one.
        self._words_end, self._replies_end = (os.open(fifo, os.O_RDWR) for fifo in self._said)
        for work in (self._board_to_host, self._host_to_board, self._listen):
            threading.Thread(target=work, daemon=True).start()
        self._keeper = threading.Thread(target=self._keep_running, daemon=True)
        self._keeper.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._off.set()
        self.cut_power()
        self._keeper.join()
        for end in (*self._ends, self._words_end, self._replies_end):
            os.close(end)

    def put(self, folder: Path) -> None:
        """Have every file of a folder on the flash, as if it had been installed; call it before there is power."""
        names = [path.relative_to(folder).as_posix() for path in sorted(folder.rglob("*")) if path.is_file()]
        subprocess.run(
            [*self._words[:3], str(HERE / "fill.py"), str(self._flash), str(folder), *names],
            check=True,
            env=_environment(),
        )

    def cut_power(self) -> None:
        """At once; power comes back at once too, unless the board is being put away."""
        if self._process is not None:
            self._process.kill()

    def restart_by_power(self) -> None:
        """Off and on; returns when the board starts."""
        before = self.starts
        while self.starts == before:
            self.cut_power()
            time.sleep(0.02)

    def _keep_running(self) -> None:
        cause = POWER
        while not self._off.is_set():
            self.starts += 1
            with self._obeying:
                self._obeys = False
            self._process = subprocess.Popen(
                [
                    *self._words,
                    str(self._flash),
                    str(self._feed),
                    "closed" if self.prompt_closed else "open",
                    str(cause),
                    *map(str, self._said),
                ],
                stdin=self._ends[1],
                stdout=self._ends[1],
                stderr=self._ends[1],
                start_new_session=True,
                env=_environment(),
            )
            cause = ENDS.get(self._process.wait(), POWER)

    def _board_to_host(self) -> None:
        inner, _, outer, _ = self._ends
        with suppress(OSError):
            while data := os.read(inner, 4096):
                os.write(outer, data)

    def _host_to_board(self) -> None:
        inner, _, outer, _ = self._ends
        with suppress(OSError):
            while data := os.read(outer, 4096):
                first, *others = data.split(b"\x03")
                os.write(inner, first)
                for other in others:
                    os.write(inner, self._control_c() + other)

    def _control_c(self) -> bytes:
        """Byte 3 has come: what is left of it for the board to read."""
        # No byte is written under the lock: it may have to wait for the board, which may wait for _listen.
        with self._obeying:
            if not self._obeys:
                return b"\x03"
            self._obeys = False  # the prompt takes byte 3 as data, as a board's does
            assert self._process is not None
            self._process.send_signal(signal.SIGINT)
            return b""

    def _listen(self) -> None:
        """Hear from the board whether it obeys; after the reply it can rely on that."""
        with suppress(OSError):
            while word := os.read(self._words_end, 1):
                with self._obeying:
                    self._obeys = word == b"y"
                    os.write(self._replies_end, b".")


def _environment() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if not name.startswith("MICROPY")}
