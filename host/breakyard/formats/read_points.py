"""Calibration points that someone already has: a table of what hung (or what force a reference showed) and counts.

Columns are known by their headers, in any order:

    hung, load, mass     the known load in words, as "20 kg", "45 lb", "3 x 20 kg +- 0.01 kg", "0"
    Mass [kg]            or a plain number with a unit of mass in the header
    Force [N]            or a force shown by a calibrated reference, with its unit in the header
    Uncertainty [N]      of that force as a certificate states it (k = 2); or [%] of the force. Needed with forces
    Counts               the mean reading
    Counts standard      its standard uncertainty, if it is known
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from breakyard.calibration.known_loads import Basis, KnownLoad, reference_load
from breakyard.calibration.load_text import parse_load
from breakyard.calibration.points import Point
from breakyard.errors import BreakyardError, DataError, UnitError
from breakyard.formats.columns import is_force, is_mass, split_unit
from breakyard.formats.numbers import NumberReader
from breakyard.formats.recording import SEPARATORS
from breakyard.formats.text import BLANKS, Lines, decode, split_fields
from breakyard.units import to_newtons

_NOTHING: Final = ("0", "zero", "empty", "nothing")
_LOAD: Final = ("hung", "load", "mass", "masses", "weight", "known load")
_FORCE: Final = ("force", "reference", "reference force", "load")
_UNCERTAINTY: Final = ("uncertainty", "uncertainty (k=2)", "expanded uncertainty")
_COUNTS: Final = ("counts", "count", "reading", "raw")
_STANDARD: Final = ("counts standard", "counts_standard", "standard", "counts uncertainty")


@dataclass(frozen=True, slots=True)
class _Column:
    """A column that was found: its place and unit."""

    at: int
    unit: str


@dataclass(frozen=True, slots=True)
class _Columns:
    counts: _Column
    standard: _Column | None
    load: _Column | None
    force: _Column | None
    uncertainty: _Column | None


def read_points(
    path: str | Path, *, mass_limit: float | None = None, known: Basis | None = None
) -> tuple[Point, ...]:
    """Read a table of calibration points; see parse_points. Raises: DataError, UnitError."""
    path = Path(path)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise DataError(f"{path}: cannot be read ({error.strerror or error})") from error
    return parse_points(data, where=path.name, mass_limit=mass_limit, known=known)


def parse_points(
    data: bytes,
    *,
    where: str = "the table",
    mass_limit: float | None = None,
    known: Basis | None = None,
) -> tuple[Point, ...]:
    """Read calibration points from the bytes of a CSV file, in the order of its rows.

    `mass_limit` and `known` as for parse_load. Raises: DataError with row and column for what
    cannot be read; UnitError for a unit of force where a mass belongs, or none at all.
    """
    text, _ = decode(data, where)
    rows = [(number, line) for number, line in enumerate(Lines(text), start=1) if line.strip()]
    if not rows:
        raise DataError(f"{where}: the file is empty")
    separator = max((mark for mark in SEPARATORS if mark != BLANKS), key=rows[0][1].count)
    header = split_fields(rows[0][1], separator)
    columns = _find(header, where)
    decimal = "." if separator == "," else _decimal([line for _, line in rows[1:]])
    reader = NumberReader(decimal, None)
    points = []
    for number, line in rows[1:]:
        fields = split_fields(line, separator)
        fields += [""] * (len(header) - len(fields))
        place = f"{where}, row {number}"
        try:
            points.append(_point(fields, columns, reader, mass_limit, known))
        except BreakyardError as error:
            raise type(error)(f"{place}: {error}") from None
    if not points:
        raise DataError(f"{where}: there is no row below the header")
    return tuple(points)


def _decimal(lines: Sequence[str]) -> str:
    """A comma, where the columns are not parted by commas and no number has a point."""
    return "," if any("," in line for line in lines) and not any("." in line for line in lines) else "."


def _find(header: Sequence[str], where: str) -> _Columns:
    parted = [split_unit(text) for text in header]
    names = [name.strip().casefold() for name, _ in parted]

    def find(wanted: Sequence[str], fits: Callable[[str], bool] | None = None) -> _Column | None:
        for at, name in enumerate(names):
            unit = parted[at][1]
            if name in wanted and (fits is None or fits(unit)):
                return _Column(at, unit)
        return None

    counts = find(_COUNTS)
    force = find(_FORCE, is_force)
    load = None if force else find(_LOAD, lambda unit: not unit or is_mass(unit))
    if counts is None or (load is None and force is None):
        wanted = "counts" if counts is None else 'the known load ("Load", "Mass [kg]" or "Force [N]")'
        raise DataError(
            f"{where}: no column is headed as {wanted}; the headers are {', '.join(map(repr, header[:8]))}. "
            'A table of points looks like: Load,Counts / 0,1204 / "20 kg",169350'
        )
    uncertainty = find(_UNCERTAINTY)
    if force is not None and uncertainty is None:
        raise DataError(
            f'{where}: forces of a reference need their uncertainty: add a column "Uncertainty [{force.unit}]" or '
            '"Uncertainty [%]", as on its certificate (k = 2)'
        )
    return _Columns(counts, find(_STANDARD), load, force, uncertainty)


def _point(
    fields: Sequence[str],
    columns: _Columns,
    reader: NumberReader,
    mass_limit: float | None,
    known: Basis | None,
) -> Point:
    counts = _number(fields, columns.counts, reader, "counts")
    standard = None
    if columns.standard is not None and fields[columns.standard.at]:
        standard = _number(fields, columns.standard, reader, "the standard uncertainty of the counts")
    if columns.force is not None:
        load = _force(fields, columns, reader)
    else:
        assert columns.load is not None
        load = _load(fields[columns.load.at], columns.load.unit, mass_limit, known)
    return Point(load, counts, standard)


def _number(fields: Sequence[str], column: _Column, reader: NumberReader, what: str) -> float:
    text = fields[column.at]
    value = reader.read(text)
    if value is None:
        raise DataError(f'{what}: "{text}" is not a number')
    return value


def _load(text: str, unit: str, mass_limit: float | None, known: Basis | None) -> KnownLoad:
    if not text:
        raise DataError("the known load is empty; write 0 for the empty cell")
    if unit and text.casefold() not in _NOTHING:
        text = f"{text} {unit}"
    return parse_load(text, mass_limit=mass_limit, known=known)


def _force(fields: Sequence[str], columns: _Columns, reader: NumberReader) -> KnownLoad:
    assert columns.force is not None
    assert columns.uncertainty is not None
    force_n = to_newtons(_number(fields, columns.force, reader, "the force"), columns.force.unit)
    if force_n == 0.0:
        return KnownLoad("0")
    expanded = _number(fields, columns.uncertainty, reader, "the uncertainty")
    unit = columns.uncertainty.unit
    if unit == "%":
        expanded_n = abs(force_n) * expanded / 100.0
    elif is_force(unit):
        expanded_n = to_newtons(expanded, unit)
    else:
        raise UnitError(f'the uncertainty of a force is a force or a percentage, not "{unit}"')
    # One certificate: its uncertainty is taken as common to all points, which the slope feels most.
    return reference_load(force_n, 0.0, shared=expanded_n / 2.0 / abs(force_n), name="reference force")
