"""The text of a file that a person made: its encoding, its lines, its fields.

Lines stay bytes until somebody looks at one, so that a day's recording needs no object for each of its rows.
"""

import codecs
import csv
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from typing import Final, overload

import numpy as np

from breakyard.errors import DataError

BLANKS: Final = " "
"""Stands for any run of blanks and tabs between columns."""

_UTF_32: Final = (codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)
_UTF_16: Final = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_SPREADSHEETS: Final = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_LOOKED_AT: Final = 4096
_MOSTLY: Final = 0.8


def decode(data: bytes, where: str) -> tuple[str, str]:
    """Text and encoding of a file, its byte-order mark taken off. Raises: DataError if it is no text."""
    if data.startswith(_SPREADSHEETS):
        raise DataError(
            f"{where}: this is a spreadsheet file, not text; save the sheet as CSV and import that"
        )
    encoding = _encoding(data)
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


def unicode_text(data: bytes) -> str:
    """Text of a file that is UTF-8 or UTF-16, with a byte-order mark or without. Raises: UnicodeDecodeError."""
    return data.decode(_encoding(data))


def _encoding(data: bytes) -> str:
    """By its mark; without one by the zero bytes that two-byte letters of the common kind have in them.

    PowerShell's ">" writes UTF-16 with a mark, and some editors take the mark off again.
    """
    if data.startswith(_UTF_32):
        return "utf-32"
    if data.startswith(_UTF_16):
        return "utf-16"
    if data.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    head = data[:_LOOKED_AT]
    half = len(head) // 2
    if half and head[1::2].count(0) > _MOSTLY * half and not head[0::2].count(0):
        return "utf-16-le"
    if half and head[0::2].count(0) > _MOSTLY * half and not head[1::2].count(0):
        return "utf-16-be"
    return "utf-8"


class Lines(Sequence[str]):
    """The lines of a text, ended by CRLF, LF or CR (and by nothing else); each becomes a str when it is asked for."""

    def __init__(self, text: str) -> None:
        """Find where they end."""
        data = text.encode("utf-8", "surrogatepass")
        if b"\r" in data:
            data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        self._data = data
        # In pieces, so that no array as long as the text is made beside it.
        size = 1 << 22
        found = [
            np.flatnonzero(np.frombuffer(data, np.uint8, min(size, len(data) - at), at) == ord("\n")) + at
            for at in range(0, len(data), size)
        ]
        self._ends = np.concatenate([*found, [len(data)]]) if found else np.zeros(1, dtype=np.int64)

    def __len__(self) -> int:
        """One more than there are line ends: what follows the last one counts, too."""
        return len(self._ends)

    @overload
    def __getitem__(self, at: int) -> str: ...
    @overload
    def __getitem__(self, at: slice) -> list[str]: ...
    def __getitem__(self, at: int | slice) -> str | list[str]:
        """One line, or a list of some; slices have a step of one."""
        if isinstance(at, slice):
            first, past, _ = at.indices(len(self))
            return (
                self.block(first, past).decode("utf-8", "surrogatepass").split("\n") if past > first else []
            )
        if not 0 <= at < len(self):
            raise IndexError(at)
        return self.block(at, at + 1).decode("utf-8", "surrogatepass")

    def __iter__(self) -> Iterator[str]:
        """All of them in turn, a block at a time."""
        for first in range(0, len(self), 1 << 16):
            yield from self[first : first + (1 << 16)]

    def block(self, first: int, past: int) -> bytes:
        """The lines from `first` up to but without `past`, as UTF-8, without the last line's end."""
        begin = int(self._ends[first - 1]) + 1 if first else 0
        return self._data[begin : int(self._ends[past - 1])]

    def without_blank_end(self) -> int:
        """How many lines there are up to the last one that holds anything."""
        past = len(self)
        while past and not self[past - 1].strip():
            past -= 1
        return past


_NAMED: Final = re.compile(r"[^\s\[(]+\s*(?:\[[^\]]*\]|\([^)]*\))?|\[[^\]]*\]|\([^)]*\)")


def split_header(line: str, separator: str, columns: int) -> list[str]:
    """Fields of a row above the numbers, without empty ones at its end.

    Between blanks a name may hold blanks itself: then columns are two blanks or more apart, or end with their unit.
    """
    fields = split_fields(line, separator)
    if len(fields) != columns and (separator == BLANKS or len(fields) == 1):
        text = line.strip()
        wide, named = re.split(r"\s{2,}|\t", text), [one.strip() for one in _NAMED.findall(text)]
        for parted in (wide, named, text.split()):
            if len(parted) == columns:
                return parted
    while fields and not fields[-1]:
        fields.pop()
    return fields


def split_fields(line: str, separator: str) -> list[str]:
    """Fields of one line, quotes removed, blanks around them too."""
    if separator == BLANKS:
        return line.split()
    line_fields = line.split(separator)
    if '"' in line:
        # A field beyond the reader's limit is no number, quoted or not.
        with suppress(csv.Error):
            line_fields = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    return [one.strip() for one in line_fields]
