"""Files that are either wholly there or not there, and files that never change.

Each write goes to a draft in the same folder, is forced to the disk, and is then renamed (or linked, where nothing may
be replaced), so that a flat battery in the middle leaves the old file or the new one and nothing between. A draft that
was left behind is removed by the next write into its folder.
"""

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from breakyard.disk.names import same_on_some_disk
from breakyard.errors import DataError, FileHeld

if sys.platform != "win32":
    import fcntl

PATIENCE_S: Final = 1.0
"""How long to try again: a scanner or a copying service lets go of a file at once, a spreadsheet does not."""
PAUSE_S: Final = 0.05

DRAFT: Final = ".writing-"
"""Beginning of a draft's name."""
OLD_DRAFT_S: Final = 60.0
"""Where no lock tells whether its writer lives (Windows), a draft of this age has none."""

HOLDERS: Final = {
    ".csv": "a spreadsheet",
    ".toml": "an editor",
    ".json": "an editor or a browser",
    ".html": "a browser",
    ".svg": "a browser",
    ".png": "a picture viewer",
}
"""Who has a file open, as a rule; under Windows nobody else can then replace it."""


def write_atomically(path: Path, data: bytes, *, private: bool = False) -> None:
    """Write or replace a file; if `private`, nobody else may read it.

    Raises: FileHeld if another program has it open, DataError if the disk refuses.
    """
    try:
        make_folder(path.parent)
        remove_drafts(path.parent)
        with _Draft(path.parent, data, private=private) as draft:
            replace_patiently(draft.path, path)
        sync_folder(path.parent)
    except PermissionError as error:
        if not path.exists():
            raise _refused(path, error) from error
        holder = HOLDERS.get(path.suffix.lower(), "another program")
        raise FileHeld(
            f"{path}: cannot be replaced ({error.strerror or error}); if {holder} has it open, close it there and "
            "give the command again"
        ) from error
    except OSError as error:
        raise _refused(path, error) from error


@contextmanager
def draft_of(path: Path) -> Iterator[Path]:
    """For what is too long for the memory, or written by name: a draft to write to, which becomes the file at the end.

    If the block ends with an error or is interrupted, the draft is removed and an older file stays.
    Raises: FileHeld if another program has the file open, DataError if the disk refuses; what the block raises.
    """
    try:
        make_folder(path.parent)
        remove_drafts(path.parent)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=DRAFT, suffix=path.suffix)
    except OSError as error:
        raise _refused(path, error) from error
    draft = Path(name)
    try:
        _lock(handle)
        if sys.platform == "win32":
            os.close(handle)  # what is open is not written by another name there
        yield draft
        try:
            os.chmod(name, 0o666 & ~_umask())
            sync_file(draft)
            replace_patiently(draft, path)
        except PermissionError as error:
            if not path.exists():
                raise _refused(path, error) from error
            raise FileHeld(
                f"{path}: cannot be replaced ({error.strerror or error}); if another program plays it, close it there "
                "and give the command again"
            ) from error
        except OSError as error:
            raise _refused(path, error) from error
        sync_folder(path.parent)
    finally:
        try:
            with suppress(OSError):  # a medium that takes nothing any more; the next write removes it
                draft.unlink(missing_ok=True)
        finally:
            if sys.platform != "win32":
                os.close(handle)


def write_once(path: Path, data: bytes, *, alone: bool = True) -> bool:
    """Write a file that must never change. True if it was new, False if it was there with this very content.

    An empty file counts as none: it is what a lost power leaves of one on some disks.
    Raises: DataError if it is there with other content, if (unless not `alone`) a file is there that Windows or a Mac
    would take for the same, or if the disk refuses.
    """
    try:
        _refuse_double(path, alone)
        make_folder(path.parent)
        remove_drafts(path.parent)
        if _there(path, data):
            return False
        with _Draft(path.parent, data) as draft:
            new = _place(draft.path, path)
        sync_folder(path.parent)
    except OSError as error:
        raise _refused(path, error) from error
    return new or not _there(path, data)


def move_once(source: Path, path: Path) -> bool:
    """Give a file that is complete its final name, in the same folder; else as `write_once`. Raises: DataError."""
    try:
        _refuse_double(path, True)
        remove_drafts(path.parent)
        if path.exists() and not source.exists():  # it has its name already
            return False
        data = source.read_bytes()
        new = False
        if not _there(path, data):
            sync_file(source)
            new = _place(source, path) or not _there(path, data)
            sync_folder(path.parent)
        source.unlink(missing_ok=True)
    except OSError as error:
        raise _refused(path, error) from error
    return new


def ensure_takes_files(folder: Path) -> None:
    """Write a small file into a folder and remove it. Raises: DataError if the disk refuses."""
    try:
        with _Draft(folder, bytes(4096)):
            pass
    except OSError as error:
        raise DataError(
            f"{folder}: nothing can be written there ({error.strerror or error}); make room, or choose another folder"
        ) from error


def make_folder(folder: Path) -> None:
    """Make a folder with those above it, and force their names to the disk. Raises: OSError."""
    missing = [folder]
    while not missing[-1].parent.exists():
        missing.append(missing[-1].parent)
    for one in reversed(missing):
        try:
            one.mkdir()
        except FileExistsError:
            if not one.is_dir():
                raise
        else:
            sync_folder(one.parent)


def sync_file(path: Path) -> None:
    """Force what a file holds to the disk. Raises: OSError."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Force the names in a folder to the disk."""
    # Windows cannot open a folder; there the rename itself is the best that can be had.
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def double_of(path: Path) -> str | None:
    """The name of another file in the folder that Windows or a Mac would take for this one, or None."""
    wanted = same_on_some_disk(path.name)
    try:
        names = os.listdir(path.parent)
    except FileNotFoundError:
        return None
    return next((name for name in names if name != path.name and same_on_some_disk(name) == wanted), None)


def _refused(path: Path, error: OSError) -> DataError:
    return DataError(f"{path}: cannot be written ({error.strerror or error})")


def _refuse_double(path: Path, alone: bool) -> None:
    if alone and (other := double_of(path)):
        raise DataError(
            f"{path}: {other} is there already, and Windows or a Mac takes the two for one file; choose another name"
        )


def _there(path: Path, data: bytes) -> bool:
    """Whether the file is there with this content. Raises: DataError for other content, OSError."""
    try:
        found = path.read_bytes()
    except FileNotFoundError:
        return False
    if found != data and found:
        raise DataError(
            f"{path}: a file with other content is there and is never overwritten; choose another name"
        )
    return found == data


def replace_patiently(draft: Path, path: Path) -> None:
    """Give a file the name of another. Raises: PermissionError if that is held for longer than PATIENCE_S; OSError."""
    give_up_s = time.monotonic() + PATIENCE_S
    while True:
        try:
            return os.replace(draft, path)
        except PermissionError:
            if time.monotonic() > give_up_s:
                raise
            time.sleep(PAUSE_S)


def _place(source: Path, path: Path) -> bool:
    """Give a whole file a name that is not taken; False if another process took it meanwhile. Raises: OSError."""
    from breakyard.disk.alone import alone_with

    if path.exists():  # empty, or it would have been refused
        os.replace(source, path)
        return True
    try:
        # A hard link, unlike a rename, never replaces what another process wrote meanwhile.
        os.link(source, path)
    except FileExistsError:
        return False
    except (OSError, AttributeError):
        # Some file systems (FAT on a memory card) have no hard links, and some systems' Python no such function.
        with alone_with(path):
            if path.exists():
                return False
            os.rename(source, path)
    return True


class _Draft:
    """A whole file under a passing name, gone at the end unless it was renamed; locked as long as its writer lives."""

    def __init__(self, folder: Path, data: bytes, *, private: bool = False) -> None:
        self._folder, self._data, self._private = folder, data, private
        self.path = folder

    def __enter__(self) -> Self:
        while True:
            handle, name = tempfile.mkstemp(dir=self._folder, prefix=DRAFT)
            self.path = Path(name)
            self._file = os.fdopen(handle, "wb")
            try:
                if not _lock(handle) or _same(handle, name):
                    self._write(name)
                    return self
            except BaseException:
                self.__exit__(None, None, None)
                raise
            self._file.close()  # somebody took it for one that was left behind, before it was locked

    def _write(self, name: str) -> None:
        self._file.write(self._data)
        self._file.flush()
        if not self._private:
            os.chmod(name, 0o666 & ~_umask())
        os.fsync(self._file.fileno())
        if sys.platform == "win32":
            self._file.close()  # what is open is not renamed there

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        # What could not be written is told already; what is left is removed the next time.
        try:
            with suppress(OSError):
                if self.path.exists():
                    self.path.unlink()
        finally:
            with suppress(OSError):
                self._file.close()


def remove_drafts(folder: Path) -> None:
    """Remove drafts whose writer was killed."""
    with suppress(OSError):
        for name in os.listdir(folder):
            path = folder / name
            if name.startswith(DRAFT) and path.is_file():
                with suppress(OSError):
                    if _left_behind(path):
                        path.unlink()


def _left_behind(path: Path) -> bool:
    if sys.platform == "win32":
        return time.time() - path.stat().st_mtime > OLD_DRAFT_S
    with path.open("rb") as file:
        return _lock(file.fileno())


def _lock(handle: int) -> bool:
    """Lock an open file until it is closed; False if somebody has it locked, or where there are no locks."""
    if sys.platform != "win32":
        with suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
    return False


def _same(handle: int, name: str) -> bool:
    """Whether an open file still has its name."""
    with suppress(FileNotFoundError):
        return os.path.samestat(os.fstat(handle), os.stat(name))
    return False


def _umask() -> int:
    # The only way to read the mask is to set it.
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
