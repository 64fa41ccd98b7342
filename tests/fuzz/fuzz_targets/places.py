"""A folder for targets that read files, in memory where the system has such a place."""

import atexit
import os
import shutil
import tempfile
from functools import cache
from pathlib import Path

PLACE = "BREAKYARD_FUZZ_PLACE"
"""Names a folder that somebody else removes: a fuzzer ends without a word."""


def memory():
    """A folder in memory, or None."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


@cache
def folder():
    """One folder per process, removed at its end."""
    made = Path(tempfile.mkdtemp(prefix="breakyard-fuzz-", dir=os.environ.get(PLACE) or memory()))
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    return made


def scratch(name):
    """A file's place in it; the same for every input."""
    return folder() / name
