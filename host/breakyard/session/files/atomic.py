"""Files that are either wholly there or not there, and files that never change.

Each write goes to a temporary file in the same folder, is forced to the disk, and is then renamed, so
that a flat battery in the middle leaves the old file or the new one and nothing between.
"""

import contextlib
import os
import tempfile
import time
from pathlib import Path
from typing import Final

from breakyard.errors import DataError, FileHeld
from breakyard.session.files.layout import same_on_some_disk

PATIENCE_S: Final = 1.0
"""How long to try again: a scanner or a copying service lets go of a file at once, a spreadsheet does not."""
PAUSE_S: Final = 0.05

HOLDERS: Final = {
    ".csv": "a spreadsheet",
    ".toml": "an editor",
    ".json": "an editor or a browser",
    ".html": "a browser",
    ".svg": "a browser",
    ".png": "a picture viewer",
}
"""Who has a file open, as a rule; under Windows nobody else can then replace it."""


def write_atomically(path: Path, data: bytes) -> None:
    """Write or replace a file. Raises: FileHeld if another program has it open, DataError if the disk refuses."""
    try:
        temporary = _written_beside(path, data)
        try:
            _replace(temporary, path)
        except OSError:
            temporary.unlink(missing_ok=True)
            raise
        _sync_folder(path.parent)
    except PermissionError as error:
        if not path.exists():
            raise DataError(f"{path}: cannot be written ({error.strerror or error})") from error
        holder = HOLDERS.get(path.suffix.lower(), "another program")
        raise FileHeld(
            f"{path}: cannot be replaced ({error.strerror or error}); if {holder} has it open, close it there and "
            "give the command again"
        ) from error
    except OSError as error:
        raise DataError(f"{path}: cannot be written ({error.strerror or error})") from error


def _replace(temporary: Path, path: Path) -> None:
    """Raises: PermissionError if the file is held for longer than PATIENCE_S."""
    give_up_s = time.monotonic() + PATIENCE_S
    while True:
        try:
            return os.replace(temporary, path)
        except PermissionError:
            if time.monotonic() > give_up_s:
                raise
            time.sleep(PAUSE_S)


def write_once(path: Path, data: bytes, *, alone: bool = True) -> bool:
    """Write a file that must never change. True if it was new, False if it was there with this very content.

    Raises: DataError if it is there with other content, if (unless not `alone`) a file is there that Windows or a Mac
    would take for the same, or if the disk refuses.
    """
    try:
        if alone and (other := double_of(path)):
            raise DataError(
                f"{path}: {other} is there already, and Windows or a Mac takes the two for one file; "
                "choose another name"
            )
        temporary = _written_beside(path, data)
        try:
            # A hard link, unlike a rename, never replaces what another process wrote meanwhile.
            os.link(temporary, path)
            new = True
        except FileExistsError:
            new = False
        except (OSError, AttributeError):
            # Some file systems (FAT on a memory card) have no hard links, and some systems' Python no such function.
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


def double_of(path: Path) -> str | None:
    """The name of another file in the folder that Windows or a Mac would take for this one, or None."""
    wanted = same_on_some_disk(path.name)
    try:
        names = os.listdir(path.parent)
    except FileNotFoundError:
        return None
    return next((name for name in names if name != path.name and same_on_some_disk(name) == wanted), None)


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
