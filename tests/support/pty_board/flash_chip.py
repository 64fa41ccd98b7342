"""A flash chip that is a file of this computer, and the littlefs on it as a board has it."""

import vfs

BLOCK = 4096
BLOCKS = 212  # 848 KiB, as a Pico W has
ERASED = b"\xff" * 64  # no large piece of a heap that may be as small as a board's


class Flash:
    """Blocks of a file; an erase sets them to ones."""

    def __init__(self, path):
        self._file = open(path, "r+b")  # noqa: SIM115 - for the life of the board

    def readblocks(self, block, buffer, offset=0):
        self._file.seek(block * BLOCK + offset)
        self._file.readinto(buffer)

    def writeblocks(self, block, buffer, offset=0):
        self._file.seek(block * BLOCK + offset)
        self._file.write(buffer)
        self._file.flush()

    def ioctl(self, what, argument):
        if what == 4:
            return BLOCKS
        if what == 5:
            return BLOCK
        if what == 6:
            self._file.seek(argument * BLOCK)
            for _ in range(BLOCK // len(ERASED)):
                self._file.write(ERASED)
            self._file.flush()
        return 0


def littlefs(path):
    """The file system on it, made if there is none yet."""
    flash = Flash(path)
    try:
        return vfs.VfsLfs2(flash, progsize=256)
    except OSError:
        vfs.VfsLfs2.mkfs(flash, progsize=256)
        return vfs.VfsLfs2(flash, progsize=256)
