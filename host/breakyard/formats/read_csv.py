"""Recordings of any other instrument: a text file with a column of times and one of loads or counts.

The plan: find how the file is written (sniff), which column is which (columns), read the numbers fast
where they are plain (numpy), and strictly, one by one, where they are not. The strict reader is the
reference: it alone decides what is a number and writes the errors. Rows are counted from 1 as a
spreadsheet does, header rows included.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import DataError
from breakyard.formats.choose import choose_columns
from breakyard.formats.columns import read_headers
from breakyard.formats.numbers import NumberReader
from breakyard.formats.recording import (
    COUNTS,
    LENGTH_UNITS,
    TIME_UNITS,
    Column,
    CsvOptions,
    Reading,
    Recording,
)
from breakyard.formats.sniff import Dialect, decode, sniff, split_fields, split_lines
from breakyard.units import to_newtons

_EXACT_DIVISORS: Final = {"s": 1.0, "ms": 1e3, "us": 1e6}
"""Dividing by these rounds once, multiplying by 1e-3 would round twice."""
_COUNT_LIMIT: Final = 2**31
_TIME_OF_DAY: Final = ":"


def read_csv(path: str | Path, options: CsvOptions | None = None) -> Recording:
    """Read a recording from a file; see parse_csv.

    Raises: DataError (also where the file cannot be opened), UnitError, UsageError.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise DataError(f"{path}: cannot be read ({error.strerror or error})") from error
    return parse_csv(data, name=path.stem, options=options, where=path.name)


def parse_csv(
    data: bytes, *, name: str = "", options: CsvOptions | None = None, where: str | None = None
) -> Recording:
    """Read a recording from the bytes of a file; `where` names the file in errors.

    What the file says is found, what it leaves open is refused with the option that settles it; steps of
    time stay as uneven as they are.

    Raises: DataError (no numbers, a bad field with its row and column, times that repeat or go back),
    UnitError (no or an unknown unit, or a mass), UsageError (options that do not fit the file).
    """
    options = options or CsvOptions()
    where = where or name or "the file"
    text, encoding = decode(data, where)
    lines = split_lines(text)
    dialect = sniff(lines, options, where)
    header_fields = [split_fields(line, dialect.separator) for line in lines[: dialect.first_row]]
    headers = read_headers([fields for fields in header_fields if any(fields)], dialect.columns)
    chosen = choose_columns(headers, dialect.numeric, options, where)
    wanted = [one for one in (chosen.time, chosen.load, chosen.extension) if one is not None]
    columns = _read_fast(lines, dialect, wanted)
    skipped: tuple[int, ...] = ()
    thousands = None
    if columns is None:
        columns, skipped, thousands = _read_strictly(lines, dialect, wanted, where)
    if columns[0].size < 2:
        raise DataError(f"{where}: only {columns[0].size} row of numbers; a recording needs at least two")
    time_s = _seconds(columns[0], chosen.time.unit)
    _check_rising(time_s, lines, dialect, wanted, where)
    load_n = counts = None
    if chosen.load.unit == COUNTS:
        counts = _whole(columns[1], lines, dialect, chosen.load, where)
    else:
        load_n = columns[1] * to_newtons(1.0, chosen.load.unit)
        _check_finite(load_n, lines, dialect, chosen.load, where)
    extension_m = columns[2] * LENGTH_UNITS[chosen.extension.unit] if chosen.extension else None
    reading = Reading(
        encoding=encoding,
        separator=dialect.separator,
        decimal=dialect.decimal,
        thousands=thousands,
        header_rows=dialect.first_row,
        skipped_rows=skipped,
        time=chosen.time,
        load=chosen.load,
        extension=chosen.extension,
        notes=chosen.notes,
    )
    return Recording(name, time_s, load_n, counts, extension_m, reading)


def _read_fast(
    lines: Sequence[str], dialect: Dialect, wanted: Sequence[Column]
) -> list[NDArray[np.float64]] | None:
    """All plain numbers at once, or None where anything is not plain."""
    end = len(lines)
    while end > dialect.first_row and not lines[end - 1]:
        end -= 1
    body = lines[dialect.first_row : end]
    separators = dialect.columns - 1
    # numpy would skip blank rows and take longer ones without a word.
    if not body or any(line.count(dialect.separator) != separators or '"' in line for line in body):
        return None
    if dialect.decimal == ",":
        if any("." in line for line in body):
            return None
        body = [line.replace(",", ".") for line in body]
    try:
        table = np.loadtxt(
            body,
            dtype=np.float64,
            comments=None,
            delimiter=dialect.separator,
            usecols=[one.number - 1 for one in wanted],
            ndmin=2,
        )
    except ValueError:
        return None
    if len(table) != len(body) or not np.isfinite(table).all():
        return None
    return [np.ascontiguousarray(column) for column in table.T]


def _read_strictly(
    lines: Sequence[str], dialect: Dialect, wanted: Sequence[Column], where: str
) -> tuple[list[NDArray[np.float64]], tuple[int, ...], str | None]:
    """One number at a time. Returns the columns, the blank rows, the mark seen between thousands."""
    reader = NumberReader(dialect.decimal, dialect.grouping)
    values: list[list[float]] = [[] for _ in wanted]
    skipped = []
    last = len(lines)
    while last and not lines[last - 1].strip():
        last -= 1
    for row, fields in _rows(lines[:last], dialect):
        if not any(fields):
            skipped.append(row)
            continue
        if len(fields) > dialect.columns and any(fields[dialect.columns :]):
            raise DataError(
                f"{where}, row {row}: {len(fields)} fields where the other rows have {dialect.columns}; "
                "mend the row, or give --separator if the columns are cut wrongly"
            )
        for column, into in zip(wanted, values, strict=True):
            if len(fields) < column.number:
                raise DataError(
                    f"{where}, row {row}: no field for column {column}; delete the row if the recording was cut off"
                )
            text = fields[column.number - 1]
            number = reader.read(text)
            if number is None or not np.isfinite(number):
                _refuse_field(text, row, column, dialect, where)
            into.append(number)
    return [np.array(one, dtype=np.float64) for one in values], tuple(skipped), reader.grouping_seen


def _rows(lines: Sequence[str], dialect: Dialect) -> Iterator[tuple[int, list[str]]]:
    for at in range(dialect.first_row, len(lines)):
        yield at + 1, split_fields(lines[at], dialect.separator)


def _refuse_field(text: str, row: int, column: Column, dialect: Dialect, where: str) -> NoReturn:
    place = f"{where}, row {row}, column {column}"
    if not text:
        raise DataError(f"{place}: the field is empty; fill it or delete the row")
    shown = text if len(text) <= 30 else text[:27] + "..."
    mark = "comma" if dialect.decimal == "," else "point"
    other = "." if dialect.decimal == "," else ","
    if _TIME_OF_DAY in text:
        raise DataError(
            f'{place}: "{shown}" is a time of day; give a column of elapsed times with --time-column'
        )
    if other in text and NumberReader(dialect.decimal, other).read(text) is not None:
        raise DataError(
            f'{place}: "{shown}" can be read in two ways (the file has a decimal {mark}); '
            f"give --decimal {mark} if the {other!r} only groups thousands"
        )
    if other in text:
        raise DataError(
            f'{place}: "{shown}" does not fit the decimal {mark} of the file; mend it or give --decimal'
        )
    raise DataError(f'{place}: "{shown}" is not a number; mend or delete the row, or give --header-rows')


def _seconds(values: NDArray[np.float64], unit: str) -> NDArray[np.float64]:
    if unit in _EXACT_DIVISORS:
        return values / _EXACT_DIVISORS[unit]
    return values * TIME_UNITS[unit]


def _row_of(index: int, lines: Sequence[str], dialect: Dialect) -> int:
    """The row in the file of one of the numbers that were read."""
    for count, (row, _) in enumerate(one for one in _rows(lines, dialect) if any(one[1])):
        if count == index:
            return row
    raise AssertionError("more numbers than rows")


def _check_rising(
    time_s: NDArray[np.float64],
    lines: Sequence[str],
    dialect: Dialect,
    wanted: Sequence[Column],
    where: str,
) -> None:
    falling = np.flatnonzero(np.diff(time_s) <= 0.0)
    if not falling.size:
        return
    index = int(falling[0]) + 1
    row = _row_of(index, lines, dialect)
    place = f"{where}, row {row}, column {wanted[0]}"
    before, now = (
        split_fields(lines[_row_of(at, lines, dialect) - 1], dialect.separator) for at in (index - 1, index)
    )
    at = wanted[0].number - 1
    others = f" ({falling.size} such rows in all)" if falling.size > 1 else ""
    if time_s[index] == time_s[index - 1]:
        raise DataError(
            f"{place}: the time {now[at]} is repeated{others}; save the times with more decimals, "
            "or delete the repeated rows"
        )
    raise DataError(
        f"{place}: the time goes back from {before[at]} to {now[at]}{others}; "
        "split the file there if it holds two recordings, or choose another --time-column"
    )


def _check_finite(
    load_n: NDArray[np.float64], lines: Sequence[str], dialect: Dialect, column: Column, where: str
) -> None:
    bad = np.flatnonzero(~np.isfinite(load_n))
    if bad.size:
        row = _row_of(int(bad[0]), lines, dialect)
        raise DataError(f"{where}, row {row}, column {column}: the load is too large for a number")


def _whole(
    values: NDArray[np.float64], lines: Sequence[str], dialect: Dialect, column: Column, where: str
) -> NDArray[np.int32]:
    bad = np.flatnonzero((values != np.rint(values)) | (np.abs(values) >= _COUNT_LIMIT))
    if bad.size:
        row = _row_of(int(bad[0]), lines, dialect)
        raise DataError(
            f"{where}, row {row}, column {column}: {values[bad[0]]:g} is not a converter's count (a whole number); "
            "give --unit if the column holds loads"
        )
    return values.astype(np.int32)
