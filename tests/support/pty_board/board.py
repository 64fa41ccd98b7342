"""Powers a board (boot.py) at a pseudo-terminal: starts it, starts it again after a reset, keeps its flash."""

import os
import pty
import subprocess
import threading
import time
import tty
from pathlib import Path

import numpy as np

from breakyard.simulate.converter import from_counts
from breakyard.simulate.feed import write_feed
from breakyard.simulate.logger import firmware_dir

HERE = Path(__file__).parent
POWER, WATCHDOG = "1", "3"
FLASH_BYTES = 212 * 4096


class PtyBoard:
    """Give it power by `with`; `port` is the serial port, `prompt_closed` the switch as the next start finds it.

    Not simulated: a port that goes away while the board restarts.
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

    def __enter__(self) -> "PtyBoard":
        inner, its_end = pty.openpty()
        outer, our_end = pty.openpty()
        for end in (its_end, our_end):
            tty.setraw(end)
        self._ends = (inner, its_end, outer, our_end)
        self.port = os.ttyname(our_end)
        for one, other in ((inner, outer), (outer, inner)):
            threading.Thread(target=_pump, args=(one, other), daemon=True).start()
        self._keeper = threading.Thread(target=self._keep_running, daemon=True)
        self._keeper.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._off.set()
        self.cut_power()
        self._keeper.join()
        for end in self._ends:
            os.close(end)

    def cut_power(self) -> None:
        """At once; power comes back at once too, unless the board is being put away."""
        if self._process is not None:
            self._process.kill()

    def restart_by_power(self) -> None:
        """Off and on; returns when the board starts."""
        before = self.starts
        self.cut_power()
        while self.starts == before:
            time.sleep(0.02)

    def _keep_running(self) -> None:
        while not self._off.is_set():
            self.starts += 1
            self._process = subprocess.Popen(
                [
                    *self._words,
                    str(self._flash),
                    str(self._feed),
                    "closed" if self.prompt_closed else "open",
                    POWER,
                ],
                stdin=self._ends[1],
                stdout=self._ends[1],
                stderr=self._ends[1],
                start_new_session=True,
                env={name: value for name, value in os.environ.items() if not name.startswith("MICROPY")},
            )
            self._process.wait()


def _pump(source: int, target: int) -> None:
    try:
        while data := os.read(source, 4096):
            os.write(target, data)
    except OSError:
        pass
