"""The numbers of a file of columns, read fast where they are plain and strictly, one by one, where they are not.

The strict reader is the reference: it alone decides what is a number and writes the errors. Rows go in blocks, so that
one odd cell slows down its block and nothing else, and a day's recording never lies in memory as text objects.
"""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import DataError
from breakyard.formats.clock import looks_like_clock, read_clock, read_iso
from breakyard.formats.numbers import MISSING, NumberReader
from breakyard.formats.recording import CLOCK, LENGTH_UNITS, NO_COLUMN, Column
from breakyard.formats.sniff import Dialect
from breakyard.formats.text import BLANKS, Lines, split_fields

BLOCK_ROWS: Final = 1 << 16
MOST_MISSING: Final = 0.9
"""More rows than this share without a load, and the wrong column was taken."""
MOST_REMARKS: Final = 0.1
"""More rows than this share that hold no number, and the file is something else."""
_FEW: Final = 10

Array = NDArray[np.float64] | NDArray[np.int64]


@dataclass(slots=True)
class ColumnTable:
    """Columns as read (float64; int64 nanoseconds for clocks), shape (n,) each, and what was left out on the way."""

    columns: list[Array]
    rows: list[NDArray[np.int64]]
    """Rows of the file that they came from, counted from 1, in blocks."""
    blank: list[int] = field(default_factory=list)
    """Rows with nothing in them, counted from 1."""
    remarks: list[tuple[int, str]] = field(default_factory=list)
    """Rows of words, with their words."""
    missing: list[int] = field(default_factory=list)
    """Rows without a load."""
    holes: int = 0
    """Values missing in further columns; nan there."""
    cut: int | None = None
    """The last row, if it was cut off and left out."""
    thousands: str | None = None

    def row(self, index: int) -> int:
        """The row in the file of one of the values."""
        for block in self.rows:
            if index < block.size:
                return int(block[index])
            index -= block.size
        raise IndexError(index)


@dataclass(slots=True)
class _Block:
    """Some rows' values, one list or array for each column; a clock's are texts or nanoseconds."""

    values: list[Any]
    rows: NDArray[np.int64]


def read_table(lines: Lines, dialect: Dialect, wanted: Sequence[Column], where: str) -> ColumnTable:
    """Read the wanted columns, time first and load second, of all rows below the header.

    Raises: DataError with row and column for what is no value.
    """
    last = lines.without_blank_end()
    table = ColumnTable([], [])
    blocks = []
    for first in range(dialect.first_row, last, BLOCK_ROWS):
        past = min(first + BLOCK_ROWS, last)
        block = _fast(lines, first, past, dialect, wanted)
        if block is None:
            block = _strict(lines[first:past], first, past == last, dialect, wanted, where, table)
        blocks.append(block)
    table.rows = [block.rows for block in blocks]
    table.columns = [
        _joined([block.values[at] for block in blocks], column) for at, column in enumerate(wanted)
    ]
    size = table.columns[0].size if blocks else 0
    if size and wanted[0].unit == CLOCK and (table.columns[0] < 0).any():
        at = table.row(int(np.argmax(table.columns[0] < 0)))
        _refuse(_cell(lines, at, wanted[0], dialect), at, wanted[0], dialect, where)
    if len(table.missing) > MOST_MISSING * (size + len(table.missing)):
        raise DataError(
            f"{where}, column {wanted[1]}: {len(table.missing)} of {size + len(table.missing)} rows hold no load; "
            "give --load-column"
        )
    if len(table.remarks) > max(_FEW, MOST_REMARKS * size):
        at, words = table.remarks[0]
        raise DataError(
            f'{where}, row {at}: "{_short(words)}" holds no number, nor do {len(table.remarks) - 1} other rows; '
            "give --separator or --header-rows"
        )
    return table


def _joined(pieces: Sequence[Any], column: Column) -> Array:
    if column.unit == CLOCK and not all(isinstance(piece, np.ndarray) for piece in pieces):
        texts = [text for piece in pieces for text in piece]
        if all(isinstance(text, str) for text in texts):
            return read_clock([str(text) for text in texts])
        # Dated blocks beside blocks that one odd cell kept from being read at once: both count from 1970.
        return np.concatenate(
            [
                piece if isinstance(piece, np.ndarray) else read_clock([str(one) for one in piece])
                for piece in pieces
            ]
        )
    kind = np.int64 if column.unit == CLOCK else np.float64
    return np.concatenate([np.asarray(piece, dtype=kind) for piece in pieces]) if pieces else np.zeros(0)


def _fast(lines: Lines, first: int, past: int, dialect: Dialect, wanted: Sequence[Column]) -> _Block | None:
    """All plain numbers of a block at once, or None where anything is not plain."""
    import pandas as pd

    data = lines.block(first, past)
    rows, columns = past - first, dialect.columns
    if b'"' in data or b"rue" in data.lower():  # quotes; and words that a fast reader takes for numbers
        return None
    # It would take longer rows without a word; shorter ones it refuses.
    if dialect.separator == BLANKS:
        if len(data.split()) != rows * columns:
            return None
    elif data.count(dialect.separator.encode()) != rows * (columns - 1):
        return None
    read: Any = pd.read_csv  # its stubs know no options that depend on the version
    kinds = {one.number - 1: str if one.unit == CLOCK else "float64" for one in wanted}
    try:
        frame = read(
            io.BytesIO(data),
            header=None,
            names=list(range(columns)),
            usecols=sorted(kinds),
            dtype=kinds,
            sep=r"\s+" if dialect.separator == BLANKS else dialect.separator,
            decimal=dialect.decimal,
            skip_blank_lines=False,
            keep_default_na=False,
            index_col=False,
            quoting=csv.QUOTE_NONE,
            encoding="utf-8",
            encoding_errors="surrogatepass",
            **_exactly(),
        )
    except (ValueError, pd.errors.ParserError):
        return None
    if len(frame) != rows:
        return None
    values: list[Any] = []
    for one in wanted:
        column = frame[one.number - 1]
        if one.unit == CLOCK:
            texts = [str(text).strip() for text in column]
            moments = read_iso(texts)
            values.append(texts if moments is None else moments)
            continue
        numbers = column.to_numpy()
        if not np.isfinite(numbers).all():
            return None
        values.append(numbers)
    return _Block(values, np.arange(first + 1, past + 1))


def _exactly() -> dict[str, str]:
    """How pandas is asked for the double nearest to a number; from 3.1 on it gives that anyway, and says so."""
    import pandas as pd

    version = tuple(int(part) for part in pd.__version__.split(".")[:2] if part.isdecimal())
    return {} if version >= (3, 1) else {"float_precision": "round_trip"}


def _strict(
    lines: Sequence[str],
    first: int,
    ends_here: bool,
    dialect: Dialect,
    wanted: Sequence[Column],
    where: str,
    table: ColumnTable,
) -> _Block:
    """One value at a time; what is left out goes into the table."""
    reader = NumberReader(dialect.decimal, dialect.grouping)
    reader.grouping_seen = table.thousands
    values: list[list[object]] = [[] for _ in wanted]
    rows = []
    for row, line in enumerate(lines, start=first + 1):
        fields = split_fields(line, dialect.separator)
        if not any(fields):
            table.blank.append(row)
            continue
        found = [_value(fields, column, reader) for column in wanted]
        if _is_remark(fields, found, wanted):
            table.remarks.append((row, line.strip()))
            continue
        if len(fields) > dialect.columns and any(fields[dialect.columns :]):
            raise DataError(
                f"{where}, row {row}: {len(fields)} fields where the other rows have {dialect.columns}; "
                "mend the row, or give --separator if the columns are cut wrongly"
            )
        short = next((one for one in wanted if len(fields) < one.number), None)
        if short is not None and dialect.separator != BLANKS and short in wanted[:2]:
            if ends_here and row == first + len(lines):
                table.cut = row
                continue
            raise DataError(
                f"{where}, row {row}: no field for column {short}; delete the row if the recording was cut off"
            )
        if found[1] is None and not isinstance(found[0], str):
            table.missing.append(row)
            continue
        for column, one in zip(wanted[:2], found, strict=False):
            if one is None or isinstance(one, str) or not np.isfinite(one):
                _refuse(_field(fields, column), row, column, dialect, where)
        for into, column, one in zip(values, wanted, found, strict=True):
            if column.unit == CLOCK:
                into.append(_field(fields, column))
            elif isinstance(one, float) and np.isfinite(one):
                into.append(one)
            elif column in wanted[:2] or isinstance(one, str):
                _refuse(_field(fields, column), row, column, dialect, where)
            else:
                into.append(float("nan"))
                table.holes += 1
        rows.append(row)
    table.thousands = reader.grouping_seen
    return _Block([list(column) for column in values], np.array(rows, dtype=np.int64))


def _field(fields: Sequence[str], column: Column) -> str:
    return fields[column.number - 1] if column.number <= len(fields) else ""


def _value(fields: Sequence[str], column: Column, reader: NumberReader) -> float | str | None:
    """The number in a column; None where a value is missing; the words where it is none."""
    text = _field(fields, column)
    if text.lower() in MISSING:
        return None
    if column.unit == CLOCK:
        return 0.0 if looks_like_clock(text) else text
    number = reader.read(text)
    return text if number is None else number


def _is_remark(fields: Sequence[str], found: Sequence[float | str | None], wanted: Sequence[Column]) -> bool:
    """Whether a row holds words where the time should be (a footer, a header again, "Max load"), or nothing of use.

    What begins with a digit may be a damaged time, and is refused.
    """
    if isinstance(found[0], str):
        return not _field(fields, wanted[0])[:2].lstrip("+-.,\u2212")[:1].isdigit()
    return found[0] is None and (
        isinstance(found[1], str) or not any(_field(fields, one) for one in wanted[:2])
    )


def _cell(lines: Lines, row: int, column: Column, dialect: Dialect) -> str:
    return _field(split_fields(lines[row - 1], dialect.separator), column)


def _short(text: str) -> str:
    return text if len(text) <= 30 else text[:27] + "..."


def _refuse(text: str, row: int, column: Column, dialect: Dialect, where: str) -> NoReturn:
    place = f"{where}, row {row}, column {column}"
    if not text or text.lower() in MISSING:
        raise DataError(f"{place}: the field is empty; fill it or delete the row")
    shown = _short(text)
    # A load needs no extension beside it.
    aside = (
        f", or leave the column aside (--extension-column {NO_COLUMN})" if column.unit in LENGTH_UNITS else ""
    )
    mark = "comma" if dialect.decimal == "," else "point"
    other = "." if dialect.decimal == "," else ","
    if column.unit == CLOCK:
        raise DataError(
            f'{place}: "{shown}" is no date with a time, nor a time of day with seconds; mend the row'
        )
    if other in text and NumberReader(dialect.decimal, other).read(text) is not None:
        raise DataError(
            f'{place}: "{shown}" can be read in two ways (the file has a decimal {mark}); '
            f"give --decimal {mark} if the {other!r} only groups thousands{aside}"
        )
    if other in text:
        raise DataError(
            f'{place}: "{shown}" does not fit the decimal {mark} of the file; mend it or give --decimal{aside}'
        )
    raise DataError(
        f'{place}: "{shown}" is not a number; mend or delete the row, or give --header-rows{aside}'
    )
