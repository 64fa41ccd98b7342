"""What Windows does differently with files, done here: what is open is not removed, what is open is not replaced.

Not simulated: names that differ in case only, the length of paths, drives.
"""

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path


def open_elsewhere(folder: Path) -> Iterator[Path]:
    """The files below a folder that other processes of this user have open; by /proc, so under Linux only."""
    inside = folder.resolve()
    for handle in Path("/proc").glob("[0-9]*/fd/*"):
        try:
            file = Path(os.readlink(handle))
        except OSError:  # closed meanwhile, or not ours to look at
            continue
        if inside in file.parents and handle.parts[2] != str(os.getpid()):
            yield file


class TemporaryDirectory(tempfile.TemporaryDirectory):  # type: ignore[type-arg]
    """Fails, as under Windows, when it is removed while another process has a file open in it."""

    def cleanup(self) -> None:
        """Raises: PermissionError, as Windows says it."""
        held = next(open_elsewhere(Path(self.name)), None)
        super().cleanup()
        if held is not None:
            raise PermissionError(
                13,
                "The process cannot access the file because it is being used by another process",
                str(held),
            )

    def __exit__(self, *_: object) -> None:
        self.cleanup()
