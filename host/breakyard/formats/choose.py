"""Choosing the columns of time, load and extension, and their units; what is open is refused."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from breakyard.errors import DataError, UnitError, UsageError
from breakyard.formats.columns import Header, is_force, is_mass, split_unit
from breakyard.formats.recording import (
    COUNTS,
    LENGTH_UNITS,
    TIME_UNITS,
    Column,
    CsvOptions,
    find_length_unit,
    find_time_unit,
    means_counts,
)
from breakyard.units import FORCE_UNITS, force_unit

_MOST_DIGITS: Final = 6
"""Of a column's number."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """The columns to read, with their units settled."""

    time: Column
    load: Column
    extension: Column | None
    notes: tuple[str, ...]


def choose_columns(
    headers: Sequence[Header], numeric: Sequence[bool], options: CsvOptions, where: str
) -> Chosen:
    """Choose by what the person said, then by units, then by names.

    Raises: DataError where nothing or more than one column fits; UnitError for units; UsageError for a
    column that the file does not have.
    """
    notes: list[str] = []
    usable = [header for header in headers if numeric[header.number - 1]]
    time = _named(headers, options.time_column, "--time-column", where)
    load = _named(headers, options.load_column, "--load-column", where)
    extension = _named(headers, options.extension_column, "--extension-column", where)
    if time is None:
        free = [one for one in usable if one not in (load, extension)]
        time = _choose_time(free, headers, len(usable), load is not None, where)
    if load is None:
        load = _choose_load([one for one in usable if one not in (time, extension)], headers, notes, where)
    if time == load:
        raise UsageError(f"{where}: column {time} cannot be both time and load")
    if extension is None:
        extension = _choose_extension([one for one in usable if one not in (time, load)], notes)
    elif extension in (time, load):
        raise UsageError(f"{where}: column {extension} cannot be the extension and something else")
    return Chosen(
        time=Column(time.text, time.number, _time_unit(time, options, where)),
        load=Column(load.text, load.number, _load_unit(load, options, where)),
        extension=None
        if extension is None
        else Column(extension.text, extension.number, _length_unit(extension, options, where)),
        notes=tuple(notes),
    )


def _listed(headers: Sequence[Header]) -> str:
    if not any(header.text for header in headers):
        return f"columns 1 to {len(headers)}, without names"
    shown = ", ".join(str(header) for header in headers[:8])
    return shown + (f" and {len(headers) - 8} more" if len(headers) > 8 else "")


def _named(headers: Sequence[Header], wanted: str | int | None, option: str, where: str) -> Header | None:
    if wanted is None:
        return None
    if isinstance(wanted, str):
        key = wanted.strip().casefold()
        tests: tuple[Callable[[Header], str], ...] = (
            lambda header: header.text,
            lambda header: header.name,
            lambda header: split_unit(header.text)[0],
        )
        for test in tests:
            found = [header for header in headers if header.text and test(header).strip().casefold() == key]
            if len(found) == 1:
                return found[0]
            if found:
                numbers = " and ".join(str(header.number) for header in found)
                raise UsageError(
                    f'{where}: columns {numbers} are both called "{wanted}"; give {option} as a number'
                )
        if not key.isdecimal() or len(key) > _MOST_DIGITS:
            raise UsageError(f'{where}: {option}: no column "{wanted}"; there is {_listed(headers)}')
        wanted = int(key)
    if not 1 <= wanted <= len(headers):
        raise UsageError(f"{where}: {option} {wanted}: the columns are numbered 1 to {len(headers)}")
    return headers[wanted - 1]


def _choose_time(
    free: Sequence[Header], headers: Sequence[Header], numeric: int, load_known: bool, where: str
) -> Header:
    found = [header for header in free if header.is_time]
    if len(found) > 1:
        # "Time [s]" beside "Pause [s]": the name decides, if it can.
        found = [header for header in found if header.names_time] or found
    if len(found) == 1:
        return found[0]
    if found:
        both = " and ".join(map(str, found))
        raise DataError(f"{where}: columns {both} can all be the time; give --time-column")
    if load_known and numeric == 2 and len(free) == 1:
        return free[0]
    clock = next((header for header in headers if header.is_time), None)
    if clock is not None:
        raise DataError(
            f"{where}: column {clock} holds no plain numbers; a recording needs elapsed times in numbers: "
            "give --time-column"
        )
    raise DataError(
        f"{where}: no column is known to be the time; give --time-column (there is {_listed(headers)})"
    )


def _choose_load(free: Sequence[Header], headers: Sequence[Header], notes: list[str], where: str) -> Header:
    # From the surest to the least sure; the first kind that occurs at all decides.
    kinds: tuple[Callable[[Header], bool], ...] = (
        lambda header: header.is_load and is_force(header.unit or header.name),
        lambda header: header.is_counts,
        lambda header: is_mass(header.unit) and not header.is_time,
        lambda header: header.is_load and not header.unit,
        lambda header: header.is_load,
    )
    for kind in kinds:
        found = [header for header in free if kind(header)]
        if len(found) > 1 and len(named := [header for header in found if header.names_load]) == 1:
            others = ", ".join(str(header) for header in found if header not in named)
            notes.append(f"{others} was left out; --load-column chooses another column")
            found = named
        if len(found) == 1:
            return found[0]
        if found:
            both = " and ".join(map(str, found))
            raise DataError(f"{where}: columns {both} can all be the load; give --load-column")
    if len(free) == 1 and not free[0].text:
        return free[0]
    raise DataError(
        f"{where}: no column is known to be the load; give --load-column (there is {_listed(headers)})"
    )


def _choose_extension(free: Sequence[Header], notes: list[str]) -> Header | None:
    found = [header for header in free if header.is_extension]
    if len(found) > 1:
        names = " and ".join(map(str, found))
        notes.append(f"{names} can all be the extension, so none was taken; give --extension-column")
        return None
    if found and not find_length_unit(found[0].unit):
        notes.append(
            f"{found[0]} has no unit, so no extension was taken; give --extension-column and its unit"
        )
        return None
    return found[0] if found else None


def _refuse_other(header: Header, said: str | None, wanted: str, option: str, where: str) -> None:
    """Refuse an option that contradicts the header: one of them hides a factor."""
    if said is not None and said != wanted:
        raise UnitError(
            f"{where}, column {header}: the header says {said}, {option} says {wanted}; "
            f"leave out {option}, or mend the header if it is wrong"
        )


def _force_or_counts(unit: str) -> str | None:
    if unit == COUNTS:
        return COUNTS
    return force_unit(unit) if is_force(unit) else None


def _time_unit(header: Header, options: CsvOptions, where: str) -> str:
    if options.time_unit is not None:
        _refuse_other(header, find_time_unit(header.unit), options.time_unit, "--time-unit", where)
        return options.time_unit
    if found := find_time_unit(header.unit or header.name):
        return found
    said = f'"{header.unit}" is not a unit of time' if header.unit else "no unit of time is given"
    raise UnitError(f"{where}, column {header}: {said}; give --time-unit ({', '.join(TIME_UNITS)})")


def _load_unit(header: Header, options: CsvOptions, where: str) -> str:
    if options.unit is not None:
        wanted = COUNTS if means_counts(options.unit) else force_unit(options.unit)
        said = COUNTS if means_counts(header.unit) else header.unit
        # A mass in a header is a slip that the person sets right; another force would be a hidden factor.
        _refuse_other(header, _force_or_counts(said), wanted, "--unit", where)
        return wanted
    if header.is_counts:
        return COUNTS
    if not header.unit and header.name in FORCE_UNITS:
        return header.name
    if not header.unit:
        raise UnitError(f"{where}, column {header}: no unit is given; give --unit ({', '.join(FORCE_UNITS)})")
    try:
        return force_unit(header.unit)
    except UnitError as error:
        raise UnitError(f"{where}, column {header}: {error} (with --unit)") from None


def _length_unit(header: Header, options: CsvOptions, where: str) -> str:
    if options.extension_unit is not None:
        _refuse_other(
            header, find_length_unit(header.unit), options.extension_unit, "--extension-unit", where
        )
        return options.extension_unit
    if found := find_length_unit(header.unit):
        return found
    raise UnitError(
        f"{where}, column {header}: no unit of length; give --extension-unit ({', '.join(LENGTH_UNITS)})"
    )
