"""Recordings of any other instrument: a text file with a column of times and one of loads or counts.

The plan: find how the file is written (sniff), which column is which (columns, choose), read the numbers (table), and
settle what times are (clock). Whatever was not simply taken as it stands is reported in the layout's notes. Rows are
counted from 1 as a spreadsheet does, header rows included.
"""

from pathlib import Path
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import DataError
from breakyard.formats.choose import Chosen, agreeing, choose_columns, no_time_unit
from breakyard.formats.clock import RisingTimes, guess_unit, settle, to_seconds
from breakyard.formats.columns import read_headers
from breakyard.formats.recording import (
    COUNTS,
    FILE_FORCES,
    LENGTH_UNITS,
    Column,
    CsvOptions,
    FileLayout,
    Recording,
)
from breakyard.formats.sniff import Dialect, sniff
from breakyard.formats.table import Array, ColumnTable, read_table
from breakyard.formats.text import Lines, decode, split_fields, split_header

_T = TypeVar("_T", bound=np.generic)

_COUNT_LIMIT: Final = 2**31
_HALF_OF_24_BITS: Final = 2**23
LARGEST_N: Final = 1e9
"""The strongest testing machines pull some 5e7 N (12 million lbf; from memory): beyond this is no load."""
SMALLEST_N: Final = 1e-6
"""A recording that never exceeds a micronewton is no recording of a pull."""


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
    time stay as uneven as they are. Times that repeat are spread, a few rows out of order are put in order, rows
    without a load and rows of words are left out; `Recording.layout.notes` say so.

    Raises: DataError (no numbers, a bad field with its row and column, times that go back, loads that are none),
    UnitError (no or an unknown unit, or a mass), UsageError (options that do not fit the file).
    """
    options = options or CsvOptions()
    where = where or name or "the file"
    text, encoding = decode(data, where)
    lines = Lines(text)
    del text
    dialect = sniff(lines, options, where)
    header_fields = [
        split_header(line, dialect.separator, dialect.columns) for line in lines[: dialect.first_row]
    ]
    valued = sum(dialect.numeric) + sum(dialect.clock)
    headers = read_headers([fields for fields in header_fields if any(fields)], dialect.columns, valued)
    chosen = choose_columns(headers, dialect.numeric, options, where, dialect.clock)
    extra = () if chosen.extension is None else (chosen.extension,)
    # The first time and the first load lead; what else could be either follows, to be compared. Without times the load
    # stands in for them.
    times = chosen.times or chosen.loads[:1]
    wanted = [times[0], chosen.loads[0], *times[1:], *chosen.loads[1:], *extra]
    table = read_table(lines, dialect, wanted, where)
    if table.columns[0].size < 2:
        raise DataError(
            f"{where}: only {table.columns[0].size} row of numbers; a recording needs at least two"
        )
    notes = [*chosen.notes, *_left_out(table)]
    time: Column | str
    if options.rate is None:
        time, time_s = _time(chosen, table, notes, where)
        settled = settle(time_s, time.unit)
        if settled.falls is not None:
            _refuse_falls(time_s, settled.falls, table, lines, dialect, time, where)
    else:
        time = options.rate
        settled = RisingTimes(_steady(table) / float(time), None, ())
    load, loads = _load(chosen, table, notes, where)
    if np.diff(settled.time_s).min() <= 0.0:
        raise DataError(f"{where}, column {time}: all rows have the same time; give --time-column")
    notes += settled.notes
    load_n = counts = None
    if load.unit == COUNTS:
        counts = _ordered(_whole(loads, table, load, notes, where), settled.order)
    else:
        load_n = _ordered(_newtons(loads, table, load, where), settled.order)
    extension_m = None
    if chosen.extension is not None:
        extension_m = _ordered(
            np.asarray(table.columns[-1] * LENGTH_UNITS[chosen.extension.unit]), settled.order
        )
    layout = FileLayout(
        encoding=encoding,
        separator=dialect.separator,
        decimal=dialect.decimal,
        thousands=table.thousands,
        header_rows=dialect.first_row,
        skipped_rows=tuple(table.blank),
        time=time,
        load=load,
        extension=chosen.extension,
        notes=tuple(notes),
    )
    return Recording(name, settled.time_s, load_n, counts, extension_m, layout)


def _time(
    chosen: Chosen, table: ColumnTable, notes: list[str], where: str
) -> tuple[Column, NDArray[np.float64]]:
    """The column of times with its unit settled, and its seconds."""
    columns = chosen.times
    values = [table.columns[0], *table.columns[2 : 1 + len(columns)]]
    column, found = columns[0], values[0]
    if len(columns) > 1:
        units = [
            column.unit or guess_unit(np.asarray(value, dtype=np.float64))[0] or "s"
            for column, value in zip(columns, values, strict=True)
        ]
        seconds = [to_seconds(value, unit) for value, unit in zip(values, units, strict=True)]
        at = agreeing(columns, [one - one[0] for one in seconds], "time", where)
        others = ", ".join(str(one) for one in columns if one is not columns[at])
        notes.append(f"{columns[at]} was taken for the time; {others} says the same")
        column, found = columns[at], values[at]
    if not column.unit:
        unit, why = guess_unit(np.asarray(found, dtype=np.float64))
        if unit is None:
            raise no_time_unit(column, where)
        notes.append(
            f"the header names no unit of time; taken for {unit}, since {why} (--time-unit says otherwise)"
        )
        column = Column(column.name, column.number, unit)
    return column, to_seconds(found, column.unit)


def _steady(table: ColumnTable) -> NDArray[np.float64]:
    """Number of each reading; a row without a load was one, too."""
    rows = np.concatenate(table.rows)
    return np.asarray(np.arange(rows.size) + np.searchsorted(table.missing, rows), dtype=np.float64)


def _load(chosen: Chosen, table: ColumnTable, notes: list[str], where: str) -> tuple[Column, Array]:
    columns = chosen.loads
    if len(columns) == 1:
        return columns[0], table.columns[1]
    begin = 1 + max(len(chosen.times), 1)
    values = [table.columns[1], *table.columns[begin : begin + len(columns) - 1]]
    newtons = [value * FILE_FORCES[one.unit] for value, one in zip(values, columns, strict=True)]
    at = agreeing(columns, [np.asarray(one) for one in newtons], "load", where)
    others = ", ".join(str(one) for one in columns if one is not columns[at])
    notes.append(f"{columns[at]} was taken for the load; {others} says the same")
    return columns[at], values[at]


def _left_out(table: ColumnTable) -> list[str]:
    """Sentences on the rows that are not in the recording."""
    notes = []
    if table.remarks:
        row, words = table.remarks[0]
        shown = words if len(words) <= 40 else words[:37] + "..."
        more = len(table.remarks) - 1
        also = f" and {more} more row{'s' if more > 1 else ''}" if more else ""
        notes.append(f'row {row} ("{shown}"){also} held no numbers and {"were" if more else "was"} left out')
    if table.missing:
        several = len(table.missing) > 1
        rows = f"{len(table.missing)} rows had no load and were" if several else "1 row had no load and was"
        notes.append(f"{rows} left out ({'first: ' if several else ''}row {table.missing[0]})")
    if table.cut is not None:
        notes.append(f"the last row ({table.cut}) is cut off and was left out")
    if table.holes:
        notes.append(f"{table.holes} values of the extension are missing")
    return notes


def _ordered(values: NDArray[_T], order: NDArray[np.intp] | None) -> NDArray[_T]:
    return values if order is None else values[order]


def _refuse_falls(
    time_s: NDArray[np.float64],
    index: int,
    table: ColumnTable,
    lines: Lines,
    dialect: Dialect,
    column: Column,
    where: str,
) -> None:
    rows = table.row(index - 1), table.row(index)
    before, now = (split_fields(lines[row - 1], dialect.separator)[column.number - 1] for row in rows)
    falling = int(np.count_nonzero(np.diff(time_s) < 0.0))
    others = f" ({falling} such rows in all)" if falling > 1 else ""
    raise DataError(
        f"{where}, row {rows[1]}, column {column}: the time goes back from {before} to {now}{others}; "
        "split the file there if it holds two recordings, or choose another --time-column"
    )


def _newtons(values: Array, table: ColumnTable, column: Column, where: str) -> NDArray[np.float64]:
    load_n = np.asarray(values * FILE_FORCES[column.unit], dtype=np.float64)
    size = np.abs(load_n)
    if not np.isfinite(load_n).all() or size.max() > LARGEST_N:
        at = int(np.argmax(np.where(np.isfinite(size), size, np.inf)))
        raise DataError(
            f"{where}, row {table.row(at)}, column {column}: {values[at]:g} {column.unit} is no load that anything can "
            "be pulled with; mend or delete the row, or give another --load-column or --load-unit"
        )
    if 0.0 < size.max() < SMALLEST_N:
        raise DataError(
            f"{where}, column {column}: the largest load is {size.max():.3g} N, which is nothing; "
            "give another --load-column or --load-unit"
        )
    return load_n


def _whole(
    values: Array, table: ColumnTable, column: Column, notes: list[str], where: str
) -> NDArray[np.int32]:
    bad = np.flatnonzero((values != np.rint(values)) | (np.abs(values) >= _COUNT_LIMIT))
    if bad.size:
        raise DataError(
            f"{where}, row {table.row(int(bad[0]))}, column {column}: {values[bad[0]]:g} is not a converter's count "
            "(a whole number); give --load-unit if the column holds loads"
        )
    counts = values.astype(np.int32)
    if _lost_sign(counts):
        counts = np.where(counts >= _HALF_OF_24_BITS, counts - 2 * _HALF_OF_24_BITS, counts).astype(np.int32)
        notes.append("counts of 2^23 and more were taken for negative ones whose sign was lost (24 bits)")
    return counts


def _lost_sign(counts: NDArray[np.int32]) -> bool:
    """Whether 24-bit two's complement was written without its sign: never negative, and leaps of nearly 2^24."""
    if counts.min() < 0 or not _HALF_OF_24_BITS <= counts.max() < 2 * _HALF_OF_24_BITS:
        return False
    leaps = np.abs(np.diff(counts.astype(np.int64)))
    return bool(leaps.max() > 1.5 * _HALF_OF_24_BITS)
