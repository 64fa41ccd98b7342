"""Breakyard: what load a part really carried, with an interval.

    import breakyard as by

    session = by.open_session("2026-05-03-slipway")
    session.table("kgf")                        # every pull, as a pandas table
    session.compare()                           # what the groups carry
    by.summarize("runs/S1.run").plot()          # one pull, read and drawn

Names are loaded when they are first used, so that importing the package costs next to nothing. The stages lie in rooms
of their own: `wire` and `run` (records -> counts), `calibration`, `curve` (counts -> newtons), `converter` (what the
converter does to a force), `pull` (one pull, read), `comparison`, `plan`, `report`, `session`, `device`. The errors are
in `breakyard.errors`.
"""

from importlib import import_module

from breakyard import version

TYPE_CHECKING = False  # not from typing, which would be most of what opening the door costs

if TYPE_CHECKING:
    from breakyard import errors as errors
    from breakyard.calibration import Calibration
    from breakyard.comparison import Comparison
    from breakyard.comparison.given import at_least
    from breakyard.curve import LoadCurve
    from breakyard.device.logger import AsyncLogger, Logger
    from breakyard.errors import BreakyardError
    from breakyard.front import (
        calibrate,
        check_rig,
        compare,
        design,
        new_session,
        plan_range,
        read,
        read_calibration,
        summarize,
    )
    from breakyard.pull.results import Summary
    from breakyard.pull.split import split_pulls
    from breakyard.run import Run
    from breakyard.session.session import Session, open_session


__version__ = version.VERSION

__all__ = [
    "AsyncLogger",
    "BreakyardError",
    "Calibration",
    "Comparison",
    "LoadCurve",
    "Logger",
    "Run",
    "Session",
    "Summary",
    "at_least",
    "calibrate",
    "check_rig",
    "compare",
    "design",
    "new_session",
    "open_session",
    "plan_range",
    "read",
    "read_calibration",
    "split_pulls",
    "summarize",
]

_ROOMS = {
    "breakyard.calibration": ("Calibration",),
    "breakyard.comparison": ("Comparison",),
    "breakyard.comparison.given": ("at_least",),
    "breakyard.curve": ("LoadCurve",),
    "breakyard.device.logger": ("AsyncLogger", "Logger"),
    "breakyard.errors": ("BreakyardError",),
    "breakyard.front": (
        *("calibrate", "check_rig", "compare", "design", "new_session", "plan_range", "read"),
        *("read_calibration", "summarize"),
    ),
    "breakyard.pull.results": ("Summary",),
    "breakyard.pull.split": ("split_pulls",),
    "breakyard.run": ("Run",),
    "breakyard.session.session": ("Session", "open_session"),
}
"""Where each public name lives."""

_HOMES = {name: room for room, names in _ROOMS.items() for name in names}


def __getattr__(name: str) -> object:
    """Load a public name when it is first used (PEP 562)."""
    if name == "errors":
        return import_module("breakyard.errors")
    room = _HOMES.get(name)
    if room is None:
        raise AttributeError(f"module 'breakyard' has no attribute {name!r}; it has {', '.join(__all__)}")
    value = getattr(import_module(room), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__, "errors"})
