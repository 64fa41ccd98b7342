"""Files that are either wholly there or not there, and files that never change.

Each write goes to a temporary file in the same folder, is forced to the disk, and is then renamed, so
that a flat battery in the middle leaves the old file or the new one and nothing between.
"""

import contextlib
import os
import tempfile
from pathlib import Path

from breakyard.errors import DataError


def write_atomically(path: Path, data: bytes) -> None:
    """Write or replace a file. Raises: DataError if the disk refuses."""
    try:
        temporary = _written_beside(path, data)
        try:
            os.replace(temporary, path)
        except OSError:
            temporary.unlink(missing_ok=True)
            raise
        _sync_folder(path.parent)
    except OSError as error:
        raise DataError(f"{path}: cannot be written ({error.strerror or error})") from error


def write_once(path: Path, data: bytes) -> bool:
    """Write a file that must never change. True if it was new, False if it was there with this very content.

    Raises: DataError if it is there with other content, or if the disk refuses.
    """
    try:
        temporary = _written_beside(path, data)
        try:
            # A hard link, unlike a rename, never replaces what another process wrote meanwhile.
            os.link(temporary, path)
            new = True
        except FileExistsError:
            new = False
        except OSError:
            # Some file systems (FAT on a memory card) have no hard links.
            new = _create(path, data)
        finally:
            temporary.unlink(missing_ok=True)
        if not new and path.read_bytes() != data:
            raise DataError(
                f"{path}: a file with other content is there and is never overwritten; choose another name"
            )
        _sync_folder(path.parent)
    except OSError as error:
        raise DataError(f"{path}: cannot be written ({error.strerror or error})") from error
    return new


def _create(path: Path, data: bytes) -> bool:
    try:
        with path.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError:
        return False
    return True


def _written_beside(path: Path, data: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".writing-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, 0o666 & ~_umask())
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return Path(name)


def _umask() -> int:
    # The only way to read the mask is to set it.
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def _sync_folder(folder: Path) -> None:
    # Windows cannot open a folder; there the rename itself is the best that can be had.
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
