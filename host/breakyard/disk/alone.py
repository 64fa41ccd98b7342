"""Two commands that would change one file: the second waits, and if that takes too long it says who is at work."""

import hashlib
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from breakyard.errors import FileBusy

WAIT_S: Final = 10.0
"""What changes a file does so in far less."""


@contextmanager
def alone_with(path: Path, *, wait_s: float | None = None) -> Iterator[None]:
    """Nobody else who asks for it has the path meanwhile; it need not be there. None waits WAIT_S.

    Where this computer has no place for locks, there are none. Raises: FileBusy, which says who has it.
    """
    from filelock import FileLock, Timeout

    place = _place(path)
    if place is None:
        yield
        return
    lock, holder = FileLock(place), place.with_suffix(".who")
    try:
        lock.acquire(timeout=WAIT_S if wait_s is None else wait_s)
    except Timeout:
        raise FileBusy(f"{path}: {_read(holder)} is at work on it; wait until that has ended") from None
    except OSError:  # a disk that knows no locks
        yield
        return
    try:
        with suppress(OSError):
            holder.write_text(f"{_me()}, process {os.getpid()},", encoding="utf-8")
        yield
    finally:
        with suppress(OSError):
            holder.unlink()
        lock.release()


def _place(path: Path) -> Path | None:
    """Where its lock lies: not beside it, since a session holds what people understand; in a folder of this user."""
    if sys.platform == "win32":
        user = os.environ.get("USERNAME", "")
    else:
        user = str(os.getuid())
    folder = Path(tempfile.gettempdir()) / f"breakyard-{user}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        if sys.platform != "win32" and folder.lstat().st_uid != os.getuid():
            return None
    except OSError:
        return None
    return folder / f"{hashlib.sha256(os.fsencode(path.resolve())).hexdigest()[:32]}.lock"


def _me() -> str:
    words = [word for word in sys.argv[1:3] if not word.startswith("-") and os.sep not in word]
    return (
        " ".join(("breakyard", *words[:1]))
        if Path(sys.argv[0]).stem in ("breakyard", "__main__")
        else "a script"
    )


def _read(holder: Path) -> str:
    try:
        return holder.read_text(encoding="utf-8") or "another command"
    except (OSError, UnicodeDecodeError):
        return "another command"
