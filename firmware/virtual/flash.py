"""The files of a board on this computer, which fail on command."""

from logger.drivers.flash_files import FlashFiles


class FaultyFiles(FlashFiles):
    """`fault`: "refuses" every write, "forgets" what was written, "spoils" a bit of what is read, None: sound."""

    fault = None

    def append(self, name, data):
        """As FlashFiles, unless it refuses or forgets."""
        if self.fault == "refuses":
            raise OSError(28)
        if self.fault != "forgets":
            super().append(name, data)

    def replace(self, name, data):
        """As FlashFiles, unless it refuses."""
        if self.fault == "refuses":
            raise OSError(28)
        super().replace(name, data)

    def read(self, name, offset, buffer):
        """As FlashFiles; a bit may be wrong."""
        count = super().read(name, offset, buffer)
        if self.fault == "spoils" and count:
            buffer[0] ^= 1
        return count
