"""Folders of files that belong together: the new ones take the place of the old ones, whatever stops that.

The new files are written into a draft inside the folder and forced to the disk; one rename makes the draft READY, and
from then on the new ones hold. Each takes its place by a rename of its own, and what is of the old ones alone goes.
Whatever stops that half-way, READY says so: whoever writes there next goes on with it. At no moment is a file half
written, or the folder gone.
"""

import os
import shutil
import tempfile
from collections.abc import Collection, Mapping
from contextlib import suppress
from pathlib import Path, PurePosixPath
from typing import Final

from breakyard.disk.alone import alone_with
from breakyard.disk.atomic import DRAFT, make_folder, replace_patiently, sync_folder

READY: Final = ".ready-files"
"""Folder with new files that hold, but are not all in their places yet."""
GONE: Final = ".gone"
"""File in it: names of the old files that are to go, one a line."""
LITTER: Final = (".DS_Store", "Thumbs.db", "desktop.ini")
"""What systems put into folders that are looked at."""


def replace_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make a folder hold these files (by relative path, with slashes) and nothing else. Raises: OSError, FileBusy."""
    make_folder(folder)
    with alone_with(folder):
        _finish(folder)
        gone = strangers(folder, files)
        aside = Path(tempfile.mkdtemp(dir=folder, prefix=DRAFT))
        try:
            _write(aside, {**files, GONE: "\n".join(gone).encode()})
            aside.rename(folder / READY)
            sync_folder(folder)
            _take(folder)
        finally:
            shutil.rmtree(aside, ignore_errors=True)


def finish_folder(folder: Path) -> None:
    """Go on with what was stopped half-way, and remove what was stopped before. Raises: OSError, FileBusy."""
    if folder.is_dir() and _left(folder):
        with alone_with(folder):
            _finish(folder)


def strangers(folder: Path, known: Collection[str]) -> list[str]:
    """Files in a folder, by relative path, that are none of the known; what systems leave everywhere aside."""
    found = [path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()]
    return sorted(name for name in found if name not in known and name.rpartition("/")[2] not in LITTER)


def _finish(folder: Path) -> None:
    for path in _left(folder):
        if path.name == READY:
            _take(folder)
        else:
            shutil.rmtree(path, ignore_errors=True)


def _left(folder: Path) -> list[Path]:
    """What a command that was stopped has left in it."""
    return [path for path in folder.iterdir() if path.name == READY or path.name.startswith(DRAFT)]


def _take(folder: Path) -> None:
    """Put the new files into their places; to be repeated if it was stopped. Raises: OSError."""
    ready = folder / READY
    touched = {folder}
    for name in strangers(ready, {GONE}):
        place = folder / name
        make_folder(place.parent)
        replace_patiently(ready / name, place)
        touched.update(folder / one for one in PurePosixPath(name).parents)
    gone = ready / GONE
    for name in gone.read_text(encoding="utf-8").splitlines() if gone.exists() else ():
        (folder / name).unlink(missing_ok=True)
        touched.update(folder / one for one in PurePosixPath(name).parents)
    for one in touched:
        sync_folder(one)
    shutil.rmtree(ready)
    # The deepest first.
    for one in sorted((path for path in folder.rglob("*") if path.is_dir()), reverse=True):
        if not any(one.iterdir()):
            with suppress(OSError):
                one.rmdir()


def _write(fresh: Path, files: Mapping[str, bytes]) -> None:
    folders = {fresh}
    for name, data in files.items():
        path = fresh / name
        make_folder(path.parent)
        with path.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        folders.add(path.parent)
    for one in folders:
        sync_folder(one)
