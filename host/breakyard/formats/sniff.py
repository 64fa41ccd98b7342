"""Finding out how a file of columns was written: encoding, separator, decimal mark, header rows.

Works on lines, knows nothing of times and loads. What the file does not settle is refused with the
option that settles it.
"""

import codecs
import csv
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from breakyard.errors import DataError
from breakyard.formats.numbers import Marks, collect_marks, looks_numeric
from breakyard.formats.recording import SEPARATORS, CsvOptions

SAMPLE_LINES: Final = 600
"""Lines looked at first; the whole file is looked at only where these do not settle the decimal mark."""

_TIME_OF_DAY: Final = re.compile(r"\b[0-9]{1,2}:[0-9]{2}\b")
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


def decode(data: bytes, where: str) -> tuple[str, str]:
    """Text and encoding of a file. Raises: DataError if it is no text."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    elif data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise DataError(
            f"{where}: this is a spreadsheet file, not text; save the sheet as CSV and import that"
        )
    else:
        encoding = "utf-8-sig" if data.startswith(codecs.BOM_UTF8) else "utf-8"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        if encoding != "utf-8":
            raise DataError(f"{where}: the file is damaged or no text ({encoding} cannot read it)") from None
        # Older instruments write the Windows code page; latin-1 takes the few bytes that it leaves undefined.
        try:
            encoding, text = "cp1252", data.decode("cp1252")
        except UnicodeDecodeError:
            encoding, text = "latin-1", data.decode("latin-1")
    if "\0" in text:
        raise DataError(f"{where}: this is not a text file; give a file of columns (CSV)")
    return text, encoding


def split_lines(text: str) -> list[str]:
    """Lines ended by CRLF, LF or CR (and by nothing else, unlike str.splitlines)."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def split_fields(line: str, separator: str) -> list[str]:
    """Fields of one line, quotes removed, blanks around them too."""
    line_fields = line.split(separator)
    if '"' in line:
        # A field beyond the reader's limit is no number, quoted or not.
        with suppress(csv.Error):
            line_fields = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    return [one.strip() for one in line_fields]


def sniff(lines: Sequence[str], options: CsvOptions, where: str) -> Dialect:
    """Find how the file is written. Raises: DataError with the option that settles what is open."""
    sample = [(row, line) for row, line in enumerate(lines[:SAMPLE_LINES]) if line.strip()]
    if not sample:
        raise DataError(f"{where}: the file is empty")
    if options.header_rows is not None:
        sample = [
            (row, line) for row, line in enumerate(lines) if row >= options.header_rows and line.strip()
        ]
        sample = sample[:SAMPLE_LINES]
    elif sum(_is_data(line) for _, line in sample) < 2:
        # A very long preamble: look further down once.
        sample = [(row, line) for row, line in enumerate(lines[: 20 * SAMPLE_LINES]) if line.strip()]
    separator = _separator(sample, lines, options, where)
    rows = [(row, split_fields(line, separator)) for row, line in sample]
    candidates = [one for one in rows if sum(map(looks_numeric, one[1])) >= 2]
    if len(candidates) < 2:
        clock = any(_TIME_OF_DAY.search(line) for _, line in sample)
        raise DataError(
            f"{where}: no two rows with two or more numbers were found; a recording needs a time and a load "
            + ("in each row, and the time as a number, not as a time of day" if clock else "in each row")
        )
    columns = Counter(len(fields) for _, fields in candidates).most_common(1)[0][0]
    body = [fields for _, fields in candidates if len(fields) == columns]
    numeric = tuple(
        2 * sum(looks_numeric(fields[at]) for fields in body) > sum(bool(fields[at]) for fields in body)
        for at in range(columns)
    )
    first_row = options.header_rows
    if first_row is None:
        first_row = next((row for row, fields in rows if _matches(fields, numeric)), None)
        if first_row is None:
            raise DataError(
                f"{where}: no two columns hold numbers in most of their rows; mend the rows, or give --separator and "
                "--header-rows"
            )
        _refuse_data_in_header([one for one in rows if one[0] < first_row], numeric, where)
    if separator == ",":
        _refuse_comma_twice(rows, first_row, columns, body, where)
    decimal, grouping = _decimal(body, lines[first_row:], separator, options, where)
    return Dialect(separator, decimal, grouping, first_row, columns, numeric)


def _is_data(line: str) -> bool:
    return any(sum(map(looks_numeric, split_fields(line, separator))) >= 2 for separator in SEPARATORS)


def _matches(fields: Sequence[str], numeric: Sequence[bool]) -> bool:
    if len(fields) != len(numeric):
        return False
    found = [looks_numeric(text) for text, wanted in zip(fields, numeric, strict=True) if wanted and text]
    return all(found) and len(found) >= 2


def _refuse_data_in_header(
    above: Sequence[tuple[int, Sequence[str]]], numeric: Sequence[bool], where: str
) -> None:
    """Refuse to take a damaged first row of numbers for a header without a word."""
    if not above:
        return
    row, fields = above[-1]
    first = numeric.index(True)
    if len(fields) > first and looks_numeric(fields[first]):
        raise DataError(
            f'{where}, row {row + 1}: "{"; ".join(fields)[:40]}" begins like a row of numbers but is none; '
            f"mend the row, or give --header-rows {row + 1} if it belongs to the header"
        )


def _separator(
    sample: Sequence[tuple[int, str]], lines: Sequence[str], options: CsvOptions, where: str
) -> str:
    if options.separator is not None:
        return options.separator
    # Some spreadsheets write "sep=;" into the first row.
    if lines[0].lower().startswith("sep=") and lines[0][4:5] in SEPARATORS:
        return lines[0][4:5]
    found = []
    for separator in (";", "\t"):
        rows = [fields for _, line in sample if len(fields := split_fields(line, separator)) >= 2]
        if sum(sum(map(looks_numeric, fields)) >= 2 for fields in rows) >= 2:
            found.append(separator)
    if len(found) == 2:
        raise DataError(
            f"{where}: both semicolons and tabs separate numbers; give --separator semicolon or tab"
        )
    if found:
        return found[0]
    for separator in (",", ";", "\t"):
        if any(separator in line for _, line in sample):
            return separator
    raise DataError(
        f"{where}: no semicolon, tab or comma separates the columns; save the file with one of these"
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
    body: Sequence[Sequence[str]], lines: Sequence[str], separator: str, options: CsvOptions, where: str
) -> tuple[str, str | None]:
    """The decimal mark, and the mark that groups thousands where one certainly does."""
    if options.decimal is not None:
        # Whoever names the decimal mark has thereby said what the other one is.
        return options.decimal, _OTHER_MARK[options.decimal]
    marks = collect_marks(text for fields in body for text in fields if looks_numeric(text))
    if not marks.decimal:
        marks = collect_marks(_all_numeric(lines, separator))
    return _settle(marks, separator, where)


def _all_numeric(lines: Sequence[str], separator: str) -> Iterator[str]:
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
