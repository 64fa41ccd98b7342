"""specimens.csv: what was broken. Made for a spreadsheet, so read tolerantly and written plainly.

Read: separated by commas, semicolons or tabs; columns in any order; decimal comma or point. Written: the
same columns and separator as it was read, in UTF-8 with a mark by which spreadsheets know it.
"""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from breakyard.disk.atomic import write_atomically
from breakyard.disk.names import same_on_some_disk
from breakyard.errors import DataError, UnitError
from breakyard.formats.text import unicode_text
from breakyard.session.files.keys import SPECIMEN_COLUMNS, refuse_slips
from breakyard.units import mass_unit, parse_mass, to_kilograms

_MOST_DIGITS: Final = 10
_HEAVIEST_KG: Final = 1e6

COLUMNS: Final = ("id", "group", "order", "mass_kg", "notes")


@dataclass(frozen=True, slots=True)
class Specimen:
    """One specimen. `order` is the place in the planned sequence; `more` holds people's own columns."""

    id: str
    group: str = ""
    order: int | None = None
    mass_kg: float | None = None
    notes: str = ""
    more: Mapping[str, str] = field(default_factory=dict)


def read_specimens(path: Path) -> tuple[Specimen, ...]:
    """Read the table; no file is an empty table.

    Raises: DataError with the row (counted from 1, the header included), UnitError for a mass.
    """
    if not path.exists():
        return ()
    try:
        data = path.read_bytes()
    except OSError as error:
        raise DataError(f"{path}: cannot be read ({error.strerror or error})") from error
    try:
        text = unicode_text(data)
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    return parse_specimens(text, str(path))


def parse_specimens(text: str, where: str) -> tuple[Specimen, ...]:
    """Read the table from its text. Raises: DataError, UnitError."""
    header_line = next((line for line in text.splitlines() if line.strip()), "")
    separator = separator_of(header_line)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    specimens: list[Specimen] = []
    names: list[str] | None = None
    rows: dict[str, tuple[str, int]] = {}
    try:
        for fields in reader:
            cells = [cell.strip() for cell in fields]
            if not any(cells):
                continue
            if names is None:
                names = _names(cells, where)
                continue
            place = f"{where}, row {reader.line_num}"
            if len(cells) > len(names) and any(cells[len(names) :]):
                raise DataError(
                    f"{place}: {len(cells)} fields for {len(names)} columns; quote texts that hold {separator!r}"
                )
            specimen = _specimen(dict(zip(names, cells, strict=False)), place)
            other, row = rows.setdefault(same_on_some_disk(specimen.id), (specimen.id, reader.line_num))
            if other == specimen.id and row != reader.line_num:
                raise DataError(f'{place}: the id "{specimen.id}" is already in row {row}; ids must differ')
            if other != specimen.id:
                raise DataError(
                    f'{place}: the id "{specimen.id}" is too like "{other}" in row {row}: Windows or a Mac would take '
                    "their files for one; rename one of them"
                )
            specimens.append(specimen)
    except csv.Error as error:
        raise DataError(f"{where}, row {reader.line_num}: {error}; save the table as CSV again") from None
    return tuple(specimens)


def separator_of(header_line: str) -> str:
    """The separator of a table by its header."""
    return max((",", ";", "\t"), key=header_line.count)


def _names(cells: Sequence[str], where: str) -> list[str]:
    names = [cell if _is_mass(cell) else cell.lower() if cell.lower() in COLUMNS else cell for cell in cells]
    refuse_slips(
        ["mass_kg" if _is_mass(name) else name for name in names if name], SPECIMEN_COLUMNS, where, "column"
    )
    if "id" not in names:
        raise DataError(f'{where}: no column "id"; the first row must name the columns: {", ".join(COLUMNS)}')
    for name in names:
        if name and names.count(name) > 1:
            raise DataError(f'{where}: two columns are called "{name}"; rename one')
    return names


def _is_mass(name: str) -> bool:
    return name.lower().replace("[", " ").replace("(", " ").replace("_", " ").split()[:1] == ["mass"]


def _specimen(cells: dict[str, str], place: str) -> Specimen:
    more = {name: cell for name, cell in cells.items() if name and name not in COLUMNS and not _is_mass(name)}
    if not cells.get("id"):
        raise DataError(f"{place}: the specimen has no id; give it one or delete the row")
    order = cells.get("order", "")
    if order and not (order.isdecimal() and len(order) < _MOST_DIGITS):
        raise DataError(f'{place}: "order" must be a whole number, not "{order[:40]}"')
    masses = [(name, cell) for name, cell in cells.items() if _is_mass(name) and cell]
    if len(masses) > 1:
        raise DataError(f"{place}: more than one column gives the mass; keep one")
    return Specimen(
        id=cells["id"],
        group=cells.get("group", ""),
        order=int(order) if order else None,
        mass_kg=_mass(*masses[0], place) if masses else None,
        notes=cells.get("notes", ""),
        more=more,
    )


def _mass(name: str, cell: str, place: str) -> float:
    """A mass in kilograms from "mass_kg" 0.25, "mass [g]" 250 or "mass" "250 g"."""
    words = name.translate(str.maketrans("[]()_", "     ")).split()
    unit = words[1] if len(words) > 1 else ""
    try:
        try:
            value = float(cell.replace(",", "."))
        except ValueError:
            mass_kg = parse_mass(cell)
        else:
            if not unit:
                raise UnitError(f'the mass "{cell}" has no unit; write "{cell} g" or name the column mass_kg')
            mass_kg = to_kilograms(value, mass_unit(unit))
        if not 0 <= mass_kg < _HEAVIEST_KG:
            raise UnitError(f'"{cell[:40]}" is not the mass of a specimen')
        return mass_kg
    except UnitError as error:
        raise UnitError(f"{place}: {error}") from None


def write_specimens(path: Path, specimens: Iterable[Specimen]) -> None:
    """Write the table, with the separator that the file has already. Raises: DataError."""
    separator = ","
    if path.exists():
        with suppress(UnicodeDecodeError):
            first = unicode_text(path.read_bytes()).splitlines()
            separator = separator_of(first[0]) if first else ","
    write_atomically(path, specimens_text(tuple(specimens), separator).encode("utf-8-sig"))


def specimens_text(specimens: Sequence[Specimen], separator: str = ",") -> str:
    """The table as text."""
    extra = list(dict.fromkeys(name for specimen in specimens for name in specimen.more))
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator="\r\n")
    writer.writerow([*COLUMNS, *extra])
    for one in specimens:
        mass = "" if one.mass_kg is None else repr(one.mass_kg)
        if separator == ";":
            # Where semicolons separate columns, spreadsheets expect a decimal comma.
            mass = mass.replace(".", ",")
        order = "" if one.order is None else str(one.order)
        writer.writerow(
            [one.id, one.group, order, mass, one.notes, *(one.more.get(name, "") for name in extra)]
        )
    return out.getvalue()
