"""A flash that forgets what was not synchronised, and fails in the ways that a flash does."""

import random

BLOCK = 4096


class PowerCut(BaseException):
    """The power goes at this operation; nothing on the board may catch it."""


class Flash:
    """What FlashFiles offers, in memory. `safe` is what outlives the power.

    Faults, each as likely as its number says per operation: `program` (a write is refused), `erase` (what was written
    is not kept, and an error says so), `read` (an error, once). `rot` flips a bit of a run that is there. Not
    simulated: the file system's own tables, wear of single blocks (tests/power_cut has both).
    """

    block_size = BLOCK

    def __init__(self, draw: random.Random, blocks: int) -> None:
        self.safe: dict[str, bytes] = {}
        self.blocks = blocks
        self.faults = {"program": 0.0, "erase": 0.0, "read": 0.0}
        self.failed = 0
        self.reads_failed = 0
        self.operations = 0
        self.cut_at = -1
        self.dead = False
        self._draw = draw
        self._open: dict[str, bytes] = {}

    def cut(self) -> None:
        """The power is gone."""
        self._open = {}
        self.dead = False
        self.cut_at = -1

    def rot(self, name: str) -> None:
        """A bit of a file is stuck."""
        data = bytearray(self.safe[name])
        data[self._draw.randrange(len(data))] ^= 1 << self._draw.randrange(8)
        self.safe[name] = bytes(data)

    def _operate(self, fault: str) -> None:
        self.operations += 1
        if self.dead or self.operations == self.cut_at:
            self.dead = True
            raise PowerCut
        if self._draw.random() < self.faults[fault]:
            self.failed += 1
            raise OSError(5)

    def sizes(self) -> list[tuple[str, int]]:
        return [(name, len(data)) for name, data in self.safe.items()]

    def free_blocks(self) -> int:
        used = [
            (len(self.safe.get(name, b"") + self._open.get(name, b"")) + BLOCK - 1) // BLOCK
            for name in self.safe.keys() | self._open.keys()
        ]
        return self.blocks - sum(used)

    def append(self, name: str, data: memoryview) -> None:
        self._operate("program")
        if self.free_blocks() <= 0:
            raise OSError(28)
        self._open[name] = self._open.get(name, b"") + bytes(data)

    def sync(self) -> None:
        try:
            self._operate("erase")
        except OSError:
            self._open = {}
            raise
        for name, data in self._open.items():
            self.safe[name] = self.safe.get(name, b"") + data
        self._open = {}

    def close(self) -> None:
        if self._open:
            self.sync()

    def read(self, name: str, offset: int, buffer: memoryview) -> int:
        if name not in self.safe:
            raise OSError(2)
        if self._draw.random() < self.faults["read"]:
            self.failed += 1
            self.reads_failed += 1
            raise OSError(5)
        piece = self.safe[name][offset : offset + len(buffer)]
        buffer[: len(piece)] = piece
        return len(piece)

    def replace(self, name: str, data: bytes) -> None:
        self._operate("program")
        self.safe[name] = bytes(data)

    def remove(self, name: str) -> None:
        self._operate("erase")
        if name not in self.safe:
            raise OSError(2)
        del self.safe[name]
