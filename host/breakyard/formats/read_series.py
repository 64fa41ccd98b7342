"""A second series of a pull, written by hand or by another instrument: lengths over time or load, and remarks.

    time_s,mm            time_s,length_in,remark          load_kgf,mm
    0,0                  0,40.0,                          0,1012
    10,1.2               12,40.1,first crack              100,1013.5

Units stand in the headers, as everywhere here. A column without time is paired with loads instead.
"""

import csv
import io
import re
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import DataError
from breakyard.formats.numbers import NumberReader
from breakyard.formats.recording import (
    FILE_FORCES,
    LENGTH_UNITS,
    TIME_UNITS,
    find_force_unit,
    find_length_unit,
    find_time_unit,
)
from breakyard.formats.text import unicode_text

Array = NDArray[np.float64]

_REMARKS: Final = frozenset(
    ["remark", "remarks", "note", "notes", "text", "mark", "what", "event", "comment"]
)
_SHORTEST: Final = 2


@dataclass(frozen=True, slots=True)
class Series:
    """Rows in the order of the file; arrays (n,), with nan where a cell is empty."""

    time_s: Array | None
    load_n: Array | None
    length_m: Array | None
    remarks: tuple[str, ...]
    """One per row, or none at all."""
    length_unit: str
    """As the file has it: lengths are shown so."""


def parse_series(data: bytes, where: str) -> Series:
    """Read a table of lengths and remarks. Raises: DataError, with the row."""
    try:
        text = unicode_text(data)
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    lines = [line for line in text.splitlines() if line.strip()]
    if len(lines) < _SHORTEST:
        raise DataError(f"{where}: a header and at least one row are needed, as time_s,mm")
    separator = max((";", "\t", ","), key=lines[0].count)
    rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=separator, skipinitialspace=True))
    header = [cell.strip() for cell in rows[0]]
    roles = _roles(header, where)
    count = len(rows) - 1
    numbers: dict[str, Array] = {}
    for role, (column, factor) in roles.items():
        if role == "remark":
            continue
        values = np.full(count, np.nan)
        for at, row in enumerate(rows[1:]):
            cell = row[column].strip() if column < len(row) else ""
            if cell:
                values[at] = factor * _number(cell, f"{where}, row {at + 2}, {header[column]}")
        numbers[role] = values
    remarks: tuple[str, ...] = ()
    if "remark" in roles:
        column = roles["remark"][0]
        remarks = tuple(row[column].strip() if column < len(row) else "" for row in rows[1:])
    unit = next((found for cell in header if (found := find_length_unit(_unit(cell)))), "mm")
    return Series(numbers.get("time"), numbers.get("load"), numbers.get("length"), remarks, unit)


def _roles(header: list[str], where: str) -> dict[str, tuple[int, float]]:
    found: dict[str, tuple[int, float]] = {}
    for column, cell in enumerate(header):
        unit = _unit(cell)
        role: tuple[str, float] | None = None
        if cell.lower() in _REMARKS:
            role = ("remark", 1.0)
        elif (length := find_length_unit(unit)) is not None:
            role = ("length", LENGTH_UNITS[length])
        elif (time := find_time_unit(unit)) is not None:
            role = ("time", TIME_UNITS[time])
        elif (force := find_force_unit(unit)) is not None:
            role = ("load", FILE_FORCES[force])
        if role is None:
            continue
        if role[0] in found:
            raise DataError(
                f'{where}: two columns could be the {role[0]}, "{cell}" and another; take one out'
            )
        found[role[0]] = (column, role[1])
    if "time" not in found and "load" not in found:
        raise DataError(f'{where}: no column of time or load with its unit, as "time_s" or "load_kgf"')
    if "length" not in found and "remark" not in found:
        raise DataError(
            f'{where}: no column of lengths with its unit, as "extension_mm" or "in", and no remarks'
        )
    return found


def _unit(cell: str) -> str:
    """The last word of a header: "extension [mm]" -> "mm"."""
    words = re.split(r"[\s_\[\]()/,:]+", cell.strip())
    return next((word for word in reversed(words) if word), "")


def _number(cell: str, where: str) -> float:
    value = NumberReader("," if "," in cell else ".", None).read(cell)
    if value is None or not np.isfinite(value):
        raise DataError(f'{where}: "{cell}" is no number')
    return value
