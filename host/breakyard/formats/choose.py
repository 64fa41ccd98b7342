"""Choosing the columns of time, load and extension, and their units; what is open is refused."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import DataError, UnitError, UsageError
from breakyard.formats.columns import ColumnHeader, is_force, is_mass, split_unit
from breakyard.formats.recording import (
    CLOCK,
    COUNTS,
    LENGTH_UNITS,
    NO_COLUMN,
    TIME_UNITS,
    Column,
    CsvOptions,
    find_force_unit,
    find_length_unit,
    find_time_unit,
    load_unit,
    means_counts,
)
from breakyard.units import FORCE_UNITS, force_unit

_SAME: Final = 1e-3
"""Two columns say the same where they differ by no more than this share, besides what their displays round."""
_MOST_DIGITS: Final = 6
"""Of a column's number."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """The columns to read, with their units settled as far as headers and options settle them.

    `times` and `loads` hold one column each, or several of which only their values can tell whether they say the same.
    A time without a unit has "", until its values were seen.
    """

    times: tuple[Column, ...]
    loads: tuple[Column, ...]
    extension: Column | None
    notes: tuple[str, ...]


def choose_columns(
    headers: Sequence[ColumnHeader],
    numeric: Sequence[bool],
    options: CsvOptions,
    where: str,
    clock: Sequence[bool] = (),
) -> Chosen:
    """Choose by what the person said, then by units, then by names.

    Raises: DataError where nothing fits, or more than one column that cannot say the same; UnitError for units;
    UsageError for a column that the file does not have.
    """
    notes: list[str] = []
    moments = [header for header in headers if clock and clock[header.number - 1]]
    usable = [header for header in headers if numeric[header.number - 1]]
    untimed = options.rate is not None and options.time_column == NO_COLUMN
    named = None if untimed else _named(headers, options.time_column, "--time-column", where)
    load = _named(headers, options.load_column, "--load-column", where)
    no_extension = options.extension_column == NO_COLUMN and not any(
        header.text.casefold() == NO_COLUMN for header in headers
    )
    extension = (
        None if no_extension else _named(headers, options.extension_column, "--extension-column", where)
    )
    times: list[ColumnHeader] = []
    if options.rate is not None:
        if not untimed:
            _refuse_times(headers, usable, moments, where)
    elif named is not None:
        times = [named]
    else:
        free = [one for one in usable if one not in (load, extension)]
        times = _choose_time(free, moments, headers, len(usable), load is not None, where)
    if load is not None:
        loads = [load]
    else:
        free = [one for one in usable if one not in (*times, extension)]
        loads = _choose_load(free, headers, notes, where)
    if any(one in loads for one in times):
        raise UsageError(f"{where}: column {times[0]} cannot be both time and load")
    if extension is None:
        free = [one for one in usable if one not in (*times, *loads)]
        extension = None if no_extension else _choose_extension(free, notes)
    elif extension in (*times, *loads):
        raise UsageError(f"{where}: column {extension} cannot be the extension and something else")
    return Chosen(
        times=tuple(
            Column(one.text, one.number, _time_unit(one, one in moments, options, where)) for one in times
        ),
        loads=tuple(Column(one.text, one.number, _load_unit(one, options, where)) for one in loads),
        extension=None
        if extension is None
        else Column(extension.text, extension.number, _length_unit(extension, options, where)),
        notes=tuple(notes),
    )


def _refuse_times(
    headers: Sequence[ColumnHeader],
    usable: Sequence[ColumnHeader],
    moments: Sequence[ColumnHeader],
    where: str,
) -> None:
    """A rate beside times that the file has is a slip, or one of the two is wrong."""
    found = [one for one in headers if (one in usable and one.is_time) or one in moments]
    if found:
        raise UsageError(
            f"{where}: column {found[0]} holds times, so leave out --rate (or give --time-column {NO_COLUMN}, too)"
        )


def _listed(headers: Sequence[ColumnHeader]) -> str:
    if len(headers) == 1:
        return f"one column, {headers[0]}" if headers[0].text else "one column, without a name"
    if not any(header.text for header in headers):
        return f"columns 1 to {len(headers)}, without names"
    shown = ", ".join(str(header) for header in headers[:8])
    return shown + (f" and {len(headers) - 8} more" if len(headers) > 8 else "")


def _named(
    headers: Sequence[ColumnHeader], wanted: str | int | None, option: str, where: str
) -> ColumnHeader | None:
    if wanted is None:
        return None
    if isinstance(wanted, str):
        key = wanted.strip().casefold()
        tests: tuple[Callable[[ColumnHeader], str], ...] = (
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
            raise UsageError(f'{where}: {option}: no column "{wanted}"; the file has {_listed(headers)}')
        wanted = int(key)
    if not 1 <= wanted <= len(headers):
        raise UsageError(f"{where}: {option} {wanted}: the columns are numbered 1 to {len(headers)}")
    return headers[wanted - 1]


def _choose_time(
    free: Sequence[ColumnHeader],
    moments: Sequence[ColumnHeader],
    headers: Sequence[ColumnHeader],
    numeric: int,
    load_known: bool,
    where: str,
) -> list[ColumnHeader]:
    found = [header for header in free if header.is_time]
    if len(found) > 1:
        # "Time [s]" beside "Pause [s]": the name decides, if it can.
        found = [header for header in found if header.names_time] or found
    if found:
        return found
    if moments:
        # A date beside a time of day: what holds both is best, and what is called a time.
        timed = [header for header in moments if header.names_time] or list(moments)
        return timed[:1]
    if load_known and numeric == 2 and len(free) == 1:
        return [free[0]]
    named = next((header for header in headers if header.is_time), None)
    if named is not None:
        raise DataError(
            f"{where}: column {named} holds neither plain numbers nor times of day with seconds: give --time-column"
        )
    raise DataError(
        f"{where}: no column is known to be the time; give --time-column, or --rate where there is none "
        f"(the file has {_listed(headers)})"
    )


def _choose_load(
    free: Sequence[ColumnHeader], headers: Sequence[ColumnHeader], notes: list[str], where: str
) -> list[ColumnHeader]:
    # From the surest to the least sure; the first kind that occurs at all decides.
    kinds: tuple[Callable[[ColumnHeader], bool], ...] = (
        lambda header: header.is_load and (is_force(header.unit) or header.bare_force is not None),
        lambda header: header.is_counts,
        lambda header: is_mass(header.unit) and not header.is_time,
        lambda header: header.is_load and not header.unit,
        lambda header: header.is_load,
    )
    for sureness, kind in enumerate(kinds):
        found = [header for header in free if kind(header)]
        if len(found) > 1 and len(named := [header for header in found if header.names_load]) == 1:
            others = ", ".join(str(header) for header in found if header not in named)
            notes.append(f"{others} was left out; --load-column chooses another column")
            found = named
        if len(found) == 1 or (found and sureness == 0):
            return found
        if found:
            raise DataError(f"{where}: {_several(found, 'load')}; give --load-column")
    if len(free) == 1 and not free[0].text:
        return [free[0]]
    raise DataError(
        f"{where}: no column is known to be the load; give --load-column (the file has {_listed(headers)})"
    )


def _several(found: Sequence[ColumnHeader | Column], role: str) -> str:
    both = " and ".join(str(one) for one in found)
    return f"columns {both} can all be the {role}"


def agreeing(columns: Sequence[Column], values: Sequence[NDArray[np.float64]], role: str, where: str) -> int:
    """Which of several columns to take, if all say the same in their units: the one with the finest steps.

    `values` in the same unit, shape (n,) each, the first of them whole and others perhaps with nan; times count from
    their first. Raises: DataError if they differ.
    """
    first = values[0]
    for other in values[1:]:
        both = np.isfinite(first) & np.isfinite(other)
        rounding = 0.6 * (_finest(first[both]) + _finest(other[both]))
        if not both.any() or not np.allclose(other[both], first[both], rtol=_SAME, atol=rounding):
            raise DataError(f"{where}: {_several(columns, role)}, and they differ; give --{role}-column")
    whole = [at for at, one in enumerate(values) if np.isfinite(one).all()]
    return max(whole, key=lambda at: (np.unique(values[at]).size, -at))


def _finest(values: NDArray[np.float64]) -> float:
    """The smallest step between values: what a display rounds to."""
    steps = np.diff(np.unique(values))
    return float(steps.min()) if steps.size else 0.0


def _choose_extension(free: Sequence[ColumnHeader], notes: list[str]) -> ColumnHeader | None:
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


def _refuse_other(header: ColumnHeader, said: str | None, wanted: str, option: str, where: str) -> None:
    """Refuse an option that contradicts the header: one of them hides a factor."""
    if said is not None and said != wanted:
        raise UnitError(
            f"{where}, column {header}: the header says {said}, {option} says {wanted}; "
            f"leave out {option}, or mend the header if it is wrong"
        )


def _said_load(header: ColumnHeader) -> str | None:
    """The unit of force that the header tells, or counts; None for a mass, which a person may set right."""
    if means_counts(header.unit):
        return COUNTS
    return find_force_unit(header.unit) if header.unit else header.bare_force


def _time_unit(header: ColumnHeader, is_clock: bool, options: CsvOptions, where: str) -> str:
    if is_clock:
        if options.time_unit not in (None, CLOCK):
            raise UnitError(
                f"{where}, column {header}: it holds dates or times of day, which need no --time-unit"
            )
        return CLOCK
    said = find_time_unit(header.unit) if header.unit else find_time_unit(header.name)
    if options.time_unit is not None:
        if options.time_unit == CLOCK:
            raise UnitError(f"{where}, column {header}: it holds numbers, no dates or times of day")
        _refuse_other(header, said, options.time_unit, "--time-unit", where)
        return options.time_unit
    if header.unit and said is None:
        raise UnitError(
            f'{where}, column {header}: "{header.unit}" is not a unit of time; '
            f"give --time-unit ({', '.join(TIME_UNITS)})"
        )
    return said or ""


def no_time_unit(column: Column, where: str) -> UnitError:
    """The refusal of times of which neither header nor values tell the unit."""
    return UnitError(
        f"{where}, column {column}: no unit of time is given; give --time-unit ({', '.join(TIME_UNITS)})"
    )


def _load_unit(header: ColumnHeader, options: CsvOptions, where: str) -> str:
    if options.unit is not None:
        wanted = load_unit(options.unit)
        # A mass in a header is a slip that the person sets right; another force would be a hidden factor.
        _refuse_other(header, _said_load(header), wanted, "--load-unit", where)
        return wanted
    if header.is_counts:
        return COUNTS
    if said := _said_load(header):
        return said
    if not header.unit:
        raise UnitError(
            f"{where}, column {header}: no unit is given; give --load-unit ({', '.join(FORCE_UNITS)})"
        )
    try:
        return force_unit(header.unit)
    except UnitError as error:
        raise UnitError(f"{where}, column {header}: {error} (with --load-unit)") from None


def _length_unit(header: ColumnHeader, options: CsvOptions, where: str) -> str:
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
