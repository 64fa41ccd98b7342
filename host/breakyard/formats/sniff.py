"""Finding out how a file of columns was written: separator, decimal mark, header rows.

Works on lines, knows nothing of times and loads. What the file does not settle is refused with the
option that settles it.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final

from breakyard.errors import DataError
from breakyard.formats import numbers
from breakyard.formats.clock import has_time_of_day, looks_like_clock
from breakyard.formats.numbers import Marks, collect_marks
from breakyard.formats.recording import SEPARATORS, CsvOptions
from breakyard.formats.text import BLANKS, Lines, split_fields

SAMPLE_LINES: Final = 600
"""Lines looked at first; the whole file is looked at only where these do not settle the decimal mark."""

_LYING_ROWS: Final = 8
_LYING_COLUMNS: Final = 100
"""So few rows of so many numbers are columns that lie on their side."""

_MARKED: Final = tuple(mark for mark in SEPARATORS if mark != BLANKS)
_NO_VALUE: Final = numbers.MISSING
_OTHER_MARK: Final = {".": ",", ",": "."}


@dataclass(frozen=True, slots=True)
class Dialect:
    """How the columns are written. `first_row` is the first row of numbers, counted from 0."""

    separator: str
    decimal: str
    grouping: str | None
    first_row: int
    columns: int
    numeric: tuple[bool, ...]
    """Whether each column holds numbers."""
    clock: tuple[bool, ...] = ()
    """Whether each column holds times of day, with dates or without; empty for none."""


def looks_numeric(text: str) -> bool:
    """Whether a field is a number under some reading of its marks, and no date."""
    return numbers.looks_numeric(text) and not looks_like_clock(text)


def _is_value(text: str) -> bool:
    return numbers.looks_numeric(text) or looks_like_clock(text)


def sniff(lines: Lines, options: CsvOptions, where: str) -> Dialect:
    """Find how the file is written. Raises: DataError with the option that settles what is open."""
    above = options.header_rows or 0
    least = 2 if options.rate is None else 1  # values in a row: a time and a load
    sample = _sample(lines, above, above + SAMPLE_LINES)
    if not sample:
        if above or any(line.strip() for line in lines):
            sample = _sample(lines, above, len(lines))
        if not sample:
            raise DataError(f"{where}: the file is empty" + (" below its header" if above else ""))
    if options.header_rows is None and sum(_is_data(line, least) for _, line in sample) < 2:
        # A very long preamble: look further down once.
        sample = _sample(lines, 0, 20 * SAMPLE_LINES)
    separator = _separator(sample, lines, options, where)
    rows = [(row, split_fields(line, separator)) for row, line in sample]
    candidates = [one for one in rows if sum(map(_is_value, one[1])) >= least]
    if len(candidates) < 2:
        raise DataError(
            f"{where}: no two rows with two or more numbers were found; a recording needs a time and a load in each row"
            if least == 2
            else f"{where}: no two rows with numbers were found"
        )
    columns = Counter(len(fields) for _, fields in candidates).most_common(1)[0][0]
    if len(candidates) <= _LYING_ROWS and columns >= _LYING_COLUMNS:
        raise DataError(
            f"{where}: {len(candidates)} rows of {columns} numbers: the table lies on its side; turn its rows into "
            "columns (spreadsheets call it transpose), and import that"
        )
    body = [fields for _, fields in candidates if len(fields) == columns]
    numeric = tuple(_mostly(looks_numeric, body, at) for at in range(columns))
    clock = tuple(
        _mostly(looks_like_clock, body, at) and any(has_time_of_day(fields[at]) for fields in body)
        for at in range(columns)
    )
    valued = [number or moment for number, moment in zip(numeric, clock, strict=True)]
    first_row = options.header_rows
    if first_row is None:
        first_row = _first_row(rows, valued, least)
        if first_row is None:
            raise DataError(
                f"{where}: no two columns hold numbers in most of their rows; mend the rows, or give --separator and "
                "--header-rows"
            )
        _refuse_data_in_header([one for one in rows if one[0] < first_row], valued, where)
    if separator == ",":
        _refuse_comma_twice(rows, first_row, columns, body, where)
    decimal, grouping = _decimal(body, lines, first_row, separator, options, where)
    return Dialect(separator, decimal, grouping, first_row, columns, numeric, clock)


def _sample(lines: Lines, first: int, past: int) -> list[tuple[int, str]]:
    """Rows with something in them."""
    return [(row, line) for row, line in enumerate(lines[first:past], start=first) if line.strip()]


def _mostly(kind: Callable[[str], bool], body: Sequence[Sequence[str]], at: int) -> bool:
    """Whether most of a column's fields that hold anything are of a kind; a column of nothing is of none."""
    held = [fields[at] for fields in body if fields[at] and fields[at].lower() not in _NO_VALUE]
    return 2 * sum(map(kind, held)) > len(held)


def _is_data(line: str, least: int) -> bool:
    return any(sum(map(_is_value, split_fields(line, separator))) >= least for separator in SEPARATORS)


def _matches(fields: Sequence[str], valued: Sequence[bool], least: int) -> bool:
    if len(fields) != len(valued):
        return False
    held = [
        text for text, wanted in zip(fields, valued, strict=True) if wanted and text.lower() not in _NO_VALUE
    ]
    return all(map(_is_value, held)) and len(held) >= least


def _first_row(rows: Sequence[tuple[int, Sequence[str]]], valued: Sequence[bool], least: int) -> int | None:
    """The first row of numbers of the longest table; a table of results above it has a header of its own.

    Rows of numbers with nothing but remarks, or the same header again, between them are one table.
    """
    runs: list[tuple[int, int, str]] = []  # first row, how many rows, header above
    header, inside = "", False
    for row, fields in rows:
        if _matches(fields, valued, least):
            if inside:
                first, count, above = runs[-1]
                runs[-1] = (first, count + 1, above)
            else:
                runs.append((row, 1, header))
            inside = True
        elif any(fields):
            words = sum(
                bool(text) and not _is_value(text)
                for text, wanted in zip(fields, valued, strict=False)
                if wanted
            )
            if words >= least:
                named = "\0".join(fields).casefold()
                inside, header = False, named
    if not runs:
        return None
    at = max(range(len(runs)), key=lambda index: runs[index][1])
    while at and runs[at - 1][2] == runs[at][2]:
        at -= 1
    return runs[at][0]


def _refuse_data_in_header(
    above: Sequence[tuple[int, Sequence[str]]], valued: Sequence[bool], where: str
) -> None:
    """Refuse to take a damaged first row of numbers for a header without a word."""
    if not above:
        return
    row, fields = above[-1]
    first = valued.index(True)
    if len(fields) > first and _is_value(fields[first]):
        raise DataError(
            f'{where}, row {row + 1}: "{"; ".join(fields)[:40]}" begins like a row of numbers but is none; '
            f"mend the row, or give --header-rows {row + 1} if it belongs to the header"
        )


def _separator(sample: Sequence[tuple[int, str]], lines: Lines, options: CsvOptions, where: str) -> str:
    if options.separator is not None:
        return options.separator
    if options.rate is not None and _one_column(sample):
        return "\t"
    # Some spreadsheets write "sep=;" into the first row.
    if lines[0].lower().startswith("sep=") and lines[0][4:5] in _MARKED:
        return lines[0][4:5]
    found = []
    for separator in (";", "\t"):
        rows = [fields for _, line in sample if len(fields := split_fields(line, separator)) >= 2]
        if sum(sum(map(_is_value, fields)) >= 2 for fields in rows) >= 2:
            found.append(separator)
    if len(found) == 2:
        raise DataError(
            f"{where}: both semicolons and tabs separate numbers; give --separator semicolon or tab"
        )
    if found:
        return found[0]
    if _parted_by_blanks([line for _, line in sample]):
        return BLANKS
    for separator in (",", ";", "\t"):
        if any(separator in line for _, line in sample):
            return separator
    if len(sample) > 1 and all(_is_value(line.strip()) for _, line in sample[1:]):
        raise DataError(
            f"{where}: one column of numbers; the time of each is needed, too, in a column of its own, or --rate where "
            "they were taken at a steady rate"
        )
    raise DataError(
        f"{where}: no semicolon, tab, comma or blank separates the columns; save the file with one of these"
    )


def _one_column(sample: Sequence[tuple[int, str]]) -> bool:
    """Whether the lower half of the rows holds one number each, without anything that could part two."""
    lower = [line.strip().strip('"') for _, line in sample[len(sample) // 2 :]]
    return all(_is_value(text) and not any(mark in text for mark in SEPARATORS) for text in lower)


def _parted_by_blanks(sample: Sequence[str]) -> bool:
    """Whether the lower half of the rows falls into equally many plain numbers at its blanks alone."""
    lower = [line.split() for line in sample[len(sample) // 2 :]]
    return (
        len(lower) >= 2
        and len(lower[0]) >= 2
        and len({len(fields) for fields in lower}) == 1
        and all(_is_value(text) and text[-1] not in ",;" for fields in lower for text in fields)
    )


def _refuse_comma_twice(
    rows: Sequence[tuple[int, list[str]]],
    first_row: int,
    columns: int,
    body: Sequence[Sequence[str]],
    where: str,
) -> None:
    """Refuse "0,001,12,5", where the comma both separates and marks decimals."""
    above = [fields for row, fields in rows if row < first_row and any(fields)]
    columns = sum(any(fields[at] for fields in body) for at in range(columns))  # those that hold anything
    halves = columns > 2 and any(2 * len(fields) == columns for fields in above[-2:])
    padded = all(
        any(len(text) > 1 and text.isdigit() and text.startswith("0") for text in fields)
        for fields in body[: max(1, len(body) // 10)]
    )
    if halves or (padded and not any("." in text for fields in body for text in fields)):
        raise DataError(
            f"{where}: row {first_row + 1} has {columns} fields, and the comma seems to be both the separator "
            "and the decimal mark; save the file with semicolons between the columns"
        )


def _decimal(
    body: Sequence[Sequence[str]],
    lines: Lines,
    first_row: int,
    separator: str,
    options: CsvOptions,
    where: str,
) -> tuple[str, str | None]:
    """The decimal mark, and the mark that groups thousands where one certainly does."""
    if options.decimal is not None:
        # Whoever names the decimal mark has thereby said what the other one is.
        return options.decimal, _OTHER_MARK[options.decimal]
    marks = collect_marks(text for fields in body for text in fields if looks_numeric(text))
    if not marks.decimal:
        marks = collect_marks(_all_numeric(islice(lines, first_row, None), separator))
    return _settle(marks, separator, where)


def _all_numeric(lines: Iterable[str], separator: str) -> Iterator[str]:
    for line in lines:
        if "." in line or "," in line:
            for text in split_fields(line, separator):
                if looks_numeric(text):
                    yield text


def _settle(marks: Marks, separator: str, where: str) -> tuple[str, str | None]:
    settles = "give --decimal comma or --decimal point"
    if len(marks.decimal) == 2 or set(marks.decimal) & set(marks.grouping):
        examples = dict.fromkeys([*marks.decimal.values(), *marks.grouping.values()])
        shown = " and ".join(f'"{text}"' for text in examples)
        raise DataError(
            f"{where}: {shown} use their marks in contradictory ways; {settles}, or mend the file"
        )
    if marks.decimal:
        decimal = next(iter(marks.decimal))
        return decimal, _OTHER_MARK[decimal] if _OTHER_MARK[decimal] in marks.grouping else None
    if marks.grouping:
        if len(marks.grouping) == 2:
            raise DataError(f"{where}: both comma and point group thousands; mend the file")
        grouping = next(iter(marks.grouping))
        return _OTHER_MARK[grouping], grouping
    if marks.either and not (separator == "," and set(marks.either) == {"."}):
        mark, text = next(iter(marks.either.items()))
        parts = text.split(mark)
        raise DataError(
            f'{where}: "{text}" can be {parts[0]}.{parts[1]} or {parts[0]}{parts[1]}, '
            f"and no number in the file tells which; {settles}"
        )
    return ".", None
