"""Folders of files that belong together: wholly the old one or wholly the new one, whatever stops a write.

The new files are written aside and forced to the disk; one rename to `.ready-NAME` makes them a whole. Then the old
folder goes aside and the new one takes its place. No system renames over a full folder, so a power that is lost between
these two leaves no folder of that name, but both aside: whoever writes there next brings the new one to its place.
"""

import os
import re
import shutil
import tempfile
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Final

from breakyard.disk.alone import alone_with
from breakyard.disk.atomic import DRAFT, make_folder, sync_folder

READY: Final = ".ready-"
"""Beginning of the name of a folder that is whole, but not in its place yet."""

LITTER: Final = (".DS_Store", "Thumbs.db", "desktop.ini")
"""What systems put into folders that are looked at."""


def replace_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make a folder hold these files (by relative path, with slashes) and nothing else. Raises: OSError, FileBusy."""
    make_folder(folder.parent)
    with alone_with(folder):
        _finish(folder)
        aside = Path(tempfile.mkdtemp(dir=folder.parent, prefix=_draft(folder)))
        try:
            fresh = aside / "new"
            fresh.mkdir()
            _write(fresh, files)
            fresh.rename(_ready(folder))
            sync_folder(folder.parent)
            _take(folder, aside / "old")
        finally:
            if folder.exists() or not (aside / "old").exists():
                shutil.rmtree(aside, ignore_errors=True)


def strangers(folder: Path, known: Collection[str]) -> list[str]:
    """Files in a folder, by relative path, that are none of the known; what systems leave everywhere aside."""
    found = [path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()]
    return sorted(name for name in found if name not in known and name.rpartition("/")[2] not in LITTER)


def finish_folder(folder: Path) -> None:
    """Bring a new folder to its place if that was stopped half-way. Raises: OSError, FileBusy."""
    if folder.parent.is_dir() and _left(folder):
        with alone_with(folder):
            _finish(folder)


def _finish(folder: Path) -> None:
    """Where the old one stands, it stays, and a new one that never took its place goes."""
    ready = _ready(folder)
    if ready.is_dir():
        if folder.exists():
            shutil.rmtree(ready, ignore_errors=True)
        else:
            ready.rename(folder)
            sync_folder(folder.parent)
    for path in _left(folder):
        shutil.rmtree(path, ignore_errors=True)


def _take(folder: Path, old: Path) -> None:
    """Put the new folder into the place of the old one; if that cannot be, the old one is back. Raises: OSError."""
    if folder.exists():
        folder.rename(old)
    try:
        _ready(folder).rename(folder)
    except BaseException:
        if old.exists() and not folder.exists():
            old.rename(folder)
        raise
    sync_folder(folder.parent)


def _left(folder: Path) -> list[Path]:
    """What a command that was stopped has left of this folder beside it."""
    ours = re.compile(
        re.escape(_draft(folder)) + "[a-z0-9_]+"
    )  # tempfile's letters; "pub" does not take "pub-2"'s
    found = [path for path in folder.parent.iterdir() if ours.fullmatch(path.name)]
    return [*found, *([_ready(folder)] if _ready(folder).is_dir() else [])]


def _ready(folder: Path) -> Path:
    return folder.parent / f"{READY}{folder.name}"


def _draft(folder: Path) -> str:
    return f"{DRAFT}{folder.name}-"


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
