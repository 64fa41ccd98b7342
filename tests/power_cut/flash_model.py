"""A flash chip in memory that remembers every operation, so that its state after any of them can be had again.

Simulated: blocks of 4096 bytes that an erase sets to ones, programming that can only clear bits, in pieces of
256 bytes (as the rp2 port tells littlefs). Programming what is not erased raises.
Not simulated: time, wear, bits that read differently after an erase was cut.
Runs in the MicroPython interpreter, whose littlefs (VfsLfs2) is the one of the boards.
"""

BLOCK = 4096
PAGE = 256
ERASE = 0
PROGRAM = 1
SYNC = 2

# How an operation is cut
NOTHING = 0  # as if it had not begun
HALF = 1  # its first half was done
SWAPPED = 2  # it was done, but nothing in the block that was first touched since the latest sync
WAYS = (NOTHING, HALF, SWAPPED)
WAY_NAMES = ("nothing written", "half written", "blocks out of order")


class Flash:
    """A block device for VfsLfs2; `journal` holds every operation since `record` was switched on."""

    def __init__(self, blocks=0, data=None):
        self.data = data if data is not None else bytearray(b"\xff" * (blocks * BLOCK))
        self.journal = []
        self.record = False
        self.erases = 0
        self.programs = 0

    def readblocks(self, block, buffer, offset=0):
        at = block * BLOCK + offset
        buffer[:] = memoryview(self.data)[at : at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        self.programs += len(buffer) // PAGE
        operation = (PROGRAM, block * BLOCK + offset, bytes(buffer))
        if self.record:
            self.journal.append(operation)
        carry_out(self.data, operation)

    def ioctl(self, what, argument):
        if what == 3:
            if self.record:
                self.journal.append((SYNC, 0, b""))
        elif what == 4:
            return len(self.data) // BLOCK
        elif what == 5:
            return BLOCK
        elif what == 6:
            self.erases += 1
            operation = (ERASE, argument * BLOCK, ONES)
            if self.record:
                self.journal.append(operation)
            carry_out(self.data, operation)
            return 0
        return 0


ONES = b"\xff" * BLOCK


def carry_out(data, operation):
    """Do a whole operation to an image."""
    what, at, content = operation
    place = memoryview(data)[at : at + len(content)]  # a slice of the array itself would move all behind it
    if what == PROGRAM and bytes(place) != ONES[: len(content)]:
        raise ValueError(f"programmed without an erase at {at}")
    if what != SYNC:
        place[:] = content


class Replay:
    """The flash at any operation of a journal: `image` after `number` operations; `step` does one more."""

    def __init__(self, initial, journal):
        self.image = bytearray(initial)
        self.number = 0
        self.safe_number = 0  # operations before the latest sync
        self._journal = journal
        self._safe = bytearray(initial)
        self._first_block = -1

    def step(self):
        operation = self._journal[self.number]
        carry_out(self.image, operation)
        self.number += 1
        if operation[0] == SYNC:
            self._safe[:] = self.image
            self.safe_number = self.number
            self._first_block = -1
        elif self._first_block < 0:
            self._first_block = operation[1] // BLOCK

    def cut(self, way):
        """The image after a cut during the next operation; None where that means nothing."""
        what, at, content = self._journal[self.number]
        if what == SYNC:
            return None
        data = bytearray(self.image)
        if way == HALF:
            half = len(content) // 2
            data[at : at + half] = content[:half]
        elif way == SWAPPED:
            # Within one block a chip does things in order: it cannot program what is not erased.
            first = self._first_block
            if first < 0 or at // BLOCK == first:
                return None
            data[at : at + len(content)] = content
            data[first * BLOCK : (first + 1) * BLOCK] = self._safe[first * BLOCK : (first + 1) * BLOCK]
        return data
