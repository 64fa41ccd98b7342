"""The files of a board on this computer, which fail on command."""

import machine
from clock import clock

from logger.drivers.flash_files import FlashFiles


class FaultyFiles(FlashFiles):
    """`fault`: "refuses" every write, "forgets" what was written, "spoils" a bit of what is read, None: sound.

    `erase_ms`: making something safe erases a block for so long, in which nothing runs and no interrupt comes through.
    """

    fault = None
    erase_ms = 0

    def append(self, name, data):
        """As FlashFiles, unless it refuses or forgets."""
        if self.fault == "refuses":
            raise OSError(28)
        if self.fault != "forgets":
            super().append(name, data)

    def sync(self):
        """As FlashFiles, but slow."""
        super().sync()
        self._erase()

    def replace(self, name, data):
        """As FlashFiles, unless it refuses; slow."""
        if self.fault == "refuses":
            raise OSError(28)
        super().replace(name, data)
        self._erase()

    def _erase(self):
        if self.erase_ms:
            machine.hold_interrupts()
            clock.advance_to(clock.now_us + self.erase_ms * 1000)
            machine.release_interrupts()

    def read(self, name, offset, buffer):
        """As FlashFiles; a bit may be wrong."""
        count = super().read(name, offset, buffer)
        if self.fault == "spoils" and count:
            buffer[0] ^= 1
        return count
