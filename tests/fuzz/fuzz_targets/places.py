"""A folder for targets that read files, in memory where the system has such a place."""

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path


@cache
def folder():
    """One folder per process, removed at its end."""
    memory = Path("/dev/shm")
    made = Path(tempfile.mkdtemp(prefix="breakyard-fuzz-", dir=memory if memory.is_dir() else None))
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    return made


def scratch(name):
    """A file's place in it; the same for every input."""
    return folder() / name
