"""session.toml: where and with what the pulls were made."""

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from breakyard.errors import DataError, UnitError
from breakyard.session.files.keys import CELL_KEYS, SESSION_KEYS, explained, refuse_slips
from breakyard.session.files.toml_text import read_toml, take, toml_text, write_toml
from breakyard.units import force_unit

DEMO_MARK: Final = "breakyard-demo"
"""Value of `made_by` in the session.toml of a demo: only such a folder is replaced, only its data are invented."""

_HEAD: Final = (
    "# Where and with what it was done. Text after a # is a remark or an example; remove the # to use it.\n"
    "# FILES.txt explains every file and key.\n\n"
)
_PLATE: Final = "breakyard calibrate takes it from here."

_HIGHEST_M: Final = 9000.0
_LOWEST_M: Final = -500.0


@dataclass(frozen=True, slots=True)
class SessionInfo:
    """What a session says of itself; keys of session.toml have the same names.

    latitude_deg and height_m (above sea level) give the local gravity for calibrations. `unit` is the unit
    of force people read. `rig` is a sentence, or the table that `breakyard rig` checks. `calibration` names
    the one to use where several are there. `cell` is what the cell's plate says. `more` holds everything else that
    people wrote, and is kept.
    """

    place: str = ""
    date: datetime.date | None = None
    latitude_deg: float | None = None
    height_m: float | None = None
    unit: str = "N"
    rig: str | Mapping[str, Any] = ""
    logger: str = ""
    calibration: str | None = None
    notes: str = ""
    cell: Mapping[str, Any] = field(default_factory=dict)
    more: Mapping[str, Any] = field(default_factory=dict)


def read_info(path: Path) -> SessionInfo:
    """Read session.toml. Raises: DataError (file), UnitError (unit)."""
    data = read_toml(path)
    refuse_slips(data, SESSION_KEYS, str(path))
    latitude = take(data, "latitude_deg", (float, int), path)
    height = take(data, "height_m", (float, int), path)
    if latitude is not None and not (math.isfinite(latitude) and -90 <= latitude <= 90):
        raise DataError(f'{path}: "latitude_deg" must lie between -90 and 90, not {latitude}')
    if height is not None and not (math.isfinite(height) and _LOWEST_M <= height <= _HIGHEST_M):
        raise DataError(f'{path}: "height_m" must lie between {_LOWEST_M:g} and {_HIGHEST_M:g}, not {height}')
    try:
        unit = force_unit(take(data, "unit", str, path) or "N")
    except UnitError as error:
        raise UnitError(f"{path}: {error}") from None
    date = take(data, "date", (datetime.date,), path)
    return SessionInfo(
        place=take(data, "place", str, path) or "",
        date=date.date() if isinstance(date, datetime.datetime) else date,
        latitude_deg=None if latitude is None else float(latitude),
        height_m=None if height is None else float(height),
        unit=unit,
        rig=take(data, "rig", (str, dict), path) or "",
        logger=take(data, "logger", str, path) or "",
        calibration=take(data, "calibration", str, path),
        notes=take(data, "notes", str, path) or "",
        cell=_cell(take(data, "cell", dict, path) or {}, path),
        more=data,
    )


def _cell(table: Mapping[str, Any], path: Path) -> Mapping[str, Any]:
    """What the plate says. Raises: DataError."""
    where = f"{path}: [cell]"
    refuse_slips(table, CELL_KEYS, where)
    for name, value in table.items():
        kind = str if name == "capacity" else float | int
        if name in {key.name for key in CELL_KEYS} and (
            not isinstance(value, kind) or isinstance(value, bool)
        ):
            wanted = 'a force, as "1000 kgf"' if name == "capacity" else "a number"
            raise DataError(f'{where}: "{name}" must be {wanted}, not {value!r}')
    return table


def new_info_text(info: SessionInfo) -> str:
    """A new session.toml, in which each key is explained; what is not said yet is a remark. Raises: UnitError."""
    values = {
        "place": info.place,
        "date": info.date,
        "unit": force_unit(info.unit),
        "latitude_deg": info.latitude_deg,
        "height_m": info.height_m,
        "logger": info.logger,
        "calibration": info.calibration,
        "notes": info.notes,
        "rig": info.rig,
        **info.more,
    }
    said = {name: value for name, value in values.items() if value not in (None, "", {})}
    parts = [_HEAD]
    tables = []
    for key in SESSION_KEYS:
        value = said.pop(key.name, None)
        if isinstance(value, Mapping):
            tables.append(toml_text({key.name: value}))
        elif value is not None:
            parts.append(f"# {key.meaning}\n{toml_text({key.name: value})}")
        else:
            parts.append(explained([key]))
    plate = [f"\n[cell]\n# What the plate of the load cell says; {_PLATE}\n"]
    for key in CELL_KEYS:
        line = toml_text({key.name: info.cell[key.name]}) if key.name in info.cell else ""
        plate.append(f"# {key.meaning}\n{line}" if line else explained([key]))
    rest = toml_text(said) if said else ""
    return "".join((*parts, rest, *plate, *(f"\n{table}" for table in tables)))


def write_info(path: Path, info: SessionInfo) -> None:
    """Write session.toml. Raises: DataError, UnitError."""
    write_toml(
        path,
        {
            "place": info.place,
            "date": info.date,
            "latitude_deg": info.latitude_deg,
            "height_m": info.height_m,
            "unit": force_unit(info.unit),
            "rig": info.rig,
            "logger": info.logger,
            "calibration": info.calibration,
            "notes": info.notes,
            "cell": dict(info.cell),
            **info.more,
        },
    )
