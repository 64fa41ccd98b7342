"""Numbers as people's programs write them: decimal comma or point, grouped thousands.

A mark is taken for what it must be, never for what it might be: "1,234" alone is either 1.234 or
1234, and only another number of the same file (as "0,5" or "1,234.5") or a person can settle it.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

_LOOKS_NUMERIC: Final = re.compile(
    r"[+\-\u2212]?(?:[0-9][0-9.,'\u2019 \u00a0\u202f]*|[.,][0-9]+)(?:[eE][+\-\u2212]?[0-9]+)?"
)
_COULD_BE_GROUPED: Final = re.compile(r"[+\-\u2212]?[1-9][0-9]{0,2}[.,][0-9]{3}")
MISSING: Final = frozenset({"", "nan", "na", "n/a", "#n/a", "null", "none", "-", "--", "---", "#value!"})
"""What programs write where they have no value (lower case). What means "overloaded" is not among them."""
_QUIET_GROUPS: Final = "'\u2019 \u00a0\u202f"
"""Marks between thousands that are never a decimal mark."""


def looks_numeric(text: str) -> bool:
    """Whether a field is a number under some reading of its marks."""
    return _LOOKS_NUMERIC.fullmatch(text) is not None


@dataclass(frozen=True, slots=True)
class Marks:
    """What the fields of a file say about their marks.

    `decimal` holds the marks that can only be decimal, `grouping` those that can only group
    thousands, `either` those of fields that can be read both ways; each with an example.
    """

    decimal: dict[str, str]
    grouping: dict[str, str]
    either: dict[str, str]


def collect_marks(fields: Iterable[str]) -> Marks:
    """Sort the marks of numeric fields by what they can only be."""
    marks = Marks({}, {}, {})
    for text in fields:
        points, commas = text.count("."), text.count(",")
        if not points and not commas:
            continue
        if points and commas:
            last = "." if text.rfind(".") > text.rfind(",") else ","
            marks.decimal.setdefault(last, text)
            marks.grouping.setdefault("," if last == "." else ".", text)
            continue
        mark = "." if points else ","
        if points + commas > 1:
            marks.grouping.setdefault(mark, text)
        elif _COULD_BE_GROUPED.fullmatch(text):
            marks.either.setdefault(mark, text)
        else:
            marks.decimal.setdefault(mark, text)
    return marks


class NumberReader:
    """Reads one field strictly; `grouping` is the mark (if any) that is known to group thousands."""

    def __init__(self, decimal: str, grouping: str | None) -> None:
        """Build the patterns for these marks."""
        mark = re.escape(decimal)
        groups = re.escape(_QUIET_GROUPS + (grouping or ""))
        self._decimal = decimal
        self._plain = re.compile(rf"[+-]?(?:[0-9]+(?:{mark}[0-9]*)?|{mark}[0-9]+)(?:[eE][+-]?[0-9]+)?")
        self._grouped = re.compile(
            rf"[+-]?[0-9]{{1,3}}([{groups}])[0-9]{{3}}(?:\1[0-9]{{3}})*(?:{mark}[0-9]*)?"
        )
        self.grouping_seen: str | None = None

    def read(self, text: str) -> float | None:
        """The number, or None if the text is not one. Overflow gives an infinity."""
        text = text.strip().replace("\u2212", "-")
        if not self._plain.fullmatch(text):
            found = self._grouped.fullmatch(text)
            if found is None:
                return None
            self.grouping_seen = found[1]
            text = text.replace(found[1], "")
        return float(text.replace(self._decimal, "."))
