"""The stop load of a session: kept in [rig] of session.toml, and what the logger's alarm is set to."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final

from breakyard.disk.alone import alone_with
from breakyard.disk.atomic import write_atomically
from breakyard.errors import DataError
from breakyard.plan.describe import rig_from_table
from breakyard.plan.rig import check_rig
from breakyard.units import from_newtons, significant

if TYPE_CHECKING:
    from breakyard.session.session import Session

_TABLE: Final = re.compile(r"^\[rig\][ \t]*(#.*)?$", re.MULTILINE)
_KEY: Final = re.compile(r"^stop[ \t]*=.*$", re.MULTILINE)
_NEXT: Final = re.compile(r"^\[", re.MULTILINE)


def stop_load_n(session: "Session") -> float | None:
    """The session's stop load in newtons: as stated, else where the first rating of its rig is met; None without.

    Raises: DataError, UnitError or UsageError for a rig that cannot be read.
    """
    if not isinstance(session.info.rig, Mapping) or "expected" not in session.info.rig:
        return None
    rig = rig_from_table(session.info.rig, where=str(session.layout.session_file))
    stop = check_rig(rig).stop
    return rig.stop_n if stop is None else stop.load_n


def alarm_counts(session: "Session") -> tuple[int, str]:
    """The stop load as a distance in counts for the logger, and in words; 0 without a stop load or a calibration.

    By the calibration's slope alone: what the cell's curve bends is far below what an alarm needs. Raises:
    BreakyardError for a rig or a calibration that cannot be read.
    """
    from breakyard.session.in_force import load_calibration

    stop_n = stop_load_n(session)
    if stop_n is None or not session.calibrations():
        return 0, ""
    made = load_calibration(None, session, "the alarm")
    span = 1_000_000
    slope_n = abs(float(made.load_n(span, 0)) - float(made.load_n(0, 0))) / span
    shown = f"{significant(from_newtons(stop_n, session.info.unit), 4)} {session.info.unit}"
    return (round(stop_n / slope_n) if slope_n else 0), shown


def keep_stop(file: Path, text: str) -> None:
    """Write stop = "600 kgf" into the table [rig] of a file, and touch nothing else in it. Raises: DataError."""
    with alone_with(file):
        write_atomically(file, _with_stop(file, file.read_bytes().decode("utf-8-sig"), text).encode())


def _with_stop(file: Path, before: str, text: str) -> str:
    table = _TABLE.search(before)
    if table is None:
        raise DataError(f'{file}: no line [rig] to write below; add stop = "{text}" to it by hand')
    following = _NEXT.search(before, table.end())
    end = following.start() if following else len(before)
    line = f'stop = "{text}"'
    inside = before[table.end() : end]
    inside = _KEY.sub(line, inside, count=1) if _KEY.search(inside) else f"\n{line}{inside}"
    return before[: table.end()] + inside + before[end:]
