"""Starts the real interpreter with the firmware's folders on its path."""

import os
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent


@pytest.fixture(scope="session")
def interpret(micropython):
    """Run the interpreter with arguments; returns the finished process, its output as text."""

    def run(*arguments, folders=(), heap="16m", stdin=None):
        path = os.pathsep.join([*(str(ROOT / folder) for folder in folders), ".frozen"])
        return subprocess.run(
            [micropython, "-X", f"heapsize={heap}", *map(str, arguments)],
            env={**os.environ, "MICROPYPATH": path},
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
            input=stdin,
        )

    return run
