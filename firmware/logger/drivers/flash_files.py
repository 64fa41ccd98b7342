"""The files of the run store in one folder of the board's own file system; decides nothing.

Law:
  * What `append` wrote is safe once `sync` returned, and not before: a power cut in between leaves the file
    as it was at the latest `sync` (littlefs: a file changes only when it is synchronised or closed).
  * `replace` is all or nothing.
  * A file is read as it was at the latest `sync`: an open reader does not see what came after it.

Works on the littlefs of a board and on any folder of a computer. OSError means that it cannot be done.
"""

import os

_TEMPORARY = "new.tmp"


class FlashFiles:
    """`folder` is made when it is absent; `limit` (bytes), where it is given, stands for a smaller flash."""

    def __init__(self, folder: str, limit: int = 0) -> None:
        self._folder = folder + "/"
        self._limit = limit
        self._writer = None
        self._writing = ""
        self._reader = None
        self._reading = ""
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there
        self.block_size = 4096 if limit else os.statvfs(folder)[0]

    def sizes(self) -> list[tuple[str, int]]:
        """Names and sizes of all files; what a power cut left of a `replace` is removed."""
        names = os.listdir(self._folder[:-1])
        if _TEMPORARY in names:
            os.remove(self._folder + _TEMPORARY)
            names.remove(_TEMPORARY)
        return [(name, os.stat(self._folder + name)[6]) for name in names]

    def free_blocks(self) -> int:
        """Blocks that are free; slow, because littlefs counts those in use."""
        if self._limit:
            free = self._limit // self.block_size
            for _, size in self.sizes():
                free -= (size + self.block_size - 1) // self.block_size
            return free
        status = os.statvfs(self._folder[:-1])
        return int(status[3] * status[1] // self.block_size)

    def append(self, name: str, data: memoryview) -> None:
        """Write at the end of a file, which stays open for more."""
        if self._writing != name:
            self.close()
            self._writer = open(self._folder + name, "ab")  # noqa: SIM115 - stays open
            self._writing = name
        self._writer.write(data)  # type: ignore[attr-defined]

    def sync(self) -> None:
        """Make safe what was appended."""
        if self._writer:
            self._writer.flush()
            if self._reading == self._writing:
                self._close_reader()

    def close(self) -> None:
        """Nothing more will be appended for now; what was not synchronised is written too."""
        if self._writer:
            writer = self._writer
            self._writer = None
            if self._reading == self._writing:
                self._close_reader()
            self._writing = ""
            writer.close()

    def read(self, name: str, offset: int, buffer: memoryview) -> int:
        """Fill `buffer` from a place in a file; return how many bytes there were."""
        if self._reading != name:
            self._close_reader()
            self._reader = open(self._folder + name, "rb")  # noqa: SIM115 - stays open
            self._reading = name
        self._reader.seek(offset)  # type: ignore[attr-defined]
        count = self._reader.readinto(buffer)  # type: ignore[attr-defined]
        return count if count else 0

    def replace(self, name: str, data: bytes) -> None:
        """Put a whole small file in place of the one before."""
        if self._reading == name:
            self._close_reader()
        with open(self._folder + _TEMPORARY, "wb") as file:
            file.write(data)
        os.rename(self._folder + _TEMPORARY, self._folder + name)

    def remove(self, name: str) -> None:
        """Remove a file."""
        if self._writing == name:
            self.close()
        if self._reading == name:
            self._close_reader()
        os.remove(self._folder + name)

    def _close_reader(self) -> None:
        if self._reader:
            self._reader.close()
            self._reader = None
        self._reading = ""


class FileSecrets:
    """A few bytes that must survive, in a file of their own beside the runs."""

    def __init__(self, files: FlashFiles, name: str) -> None:
        self._files = files
        self._name = name

    def load(self) -> bytes:
        """What was saved last, or nothing."""
        buffer = bytearray(256)
        try:
            count = self._files.read(self._name, 0, memoryview(buffer))
        except OSError:
            return b""
        return bytes(buffer[:count])

    def save(self, data: bytes) -> bool:
        """Replace it whole; False when that failed."""
        try:
            self._files.replace(self._name, data)
        except OSError:
            return False
        return True
