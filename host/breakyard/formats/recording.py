"""What a recording of another instrument becomes: times, loads or counts, and how they were read.

`CsvOptions` is everything a person may have to settle; `FileLayout` is what was settled, by the person or
by the file itself. `FileLayout.as_options()` reads the same file again in exactly the same way, which is
how a session keeps the original and recomputes from it.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import DataError, UnitError, UsageError
from breakyard.formats.text import BLANKS
from breakyard.units import FORCE_UNITS, STANDARD_GRAVITY, force_unit

TIME_UNITS: Final[Mapping[str, float]] = {
    "s": 1.0,
    "ms": 1e-3,
    "us": 1e-6,
    "ns": 1e-9,
    "min": 60.0,
    "h": 3600.0,
}
"""Seconds in one of each unit of time."""

CLOCK: Final = "clock"
"""Stands where a unit of time stands when the column holds dates with times, or times of day."""

NO_COLUMN: Final = "none"
"""Said instead of a column's name: take none."""

FILE_FORCES: Final[Mapping[str, float]] = {
    **FORCE_UNITS,
    "mN": 1e-3,
    "MN": 1e6,
    "gf": STANDARD_GRAVITY / 1000.0,
    "ozf": FORCE_UNITS["lbf"] / 16.0,
}
"""Newtons in one of each unit of force that a file may hold; more than are offered for showing."""

LENGTH_UNITS: Final[Mapping[str, float]] = {
    "m": 1.0,
    "cm": 1e-2,
    "mm": 1e-3,
    "um": 1e-6,
    "in": 0.0254,
    "ft": 0.3048,
}
"""Metres in one of each unit of length (the inch is exactly 25.4 mm: NIST SP 811, B.6)."""

COUNTS: Final = "counts"
"""Stands where a unit of force stands when the column holds a converter's raw counts."""

SEPARATORS: Final[Mapping[str, str]] = {";": "semicolon", ",": "comma", "\t": "tab", BLANKS: "blanks"}
_SEPARATOR_WORDS: Final = {
    "semicolon": ";",
    "comma": ",",
    "tab": "\t",
    "\\t": "\t",
    "blanks": BLANKS,
    "blank": BLANKS,
    "space": BLANKS,
}
_DECIMAL_WORDS: Final = {"comma": ",", "point": ".", "dot": "."}

LEAST_RATE_HZ: Final = 1e-3
MOST_RATE_HZ: Final = 1e7
_RATE: Final = re.compile(r"(?P<rate>[0-9]+(?:[.,][0-9]+)?(?:e[0-9]+)?)\s*(?:Hz|/\s*s|)", re.IGNORECASE)

_TIME_SPELLINGS: Final = {
    "s": "s sec secs second seconds sek sekunde sekunden seconde secondes segundo segundos secondi",
    "ms": "ms msec millis millisecond milliseconds millisekunden",
    "us": "us µs μs usec micros microsecond microseconds mikrosekunden",
    "ns": "ns nsec nanos nanosecond nanoseconds nanosekunden",
    "min": "min mins minute minutes minuten",
    "h": "h hr hrs hour hours std stunden",
}
_LENGTH_SPELLINGS: Final = {
    "m": "m metre metres meter meters",
    "cm": "cm",
    "mm": "mm millimetre millimetres millimeter millimeters",
    "um": "um µm μm",
    "in": "in inch inches",
    "ft": "ft foot feet",
}
_FORCE_SPELLINGS: Final = {
    "N": "newton newtons",
    "kN": "kilonewton kilonewtons",
    "MN": "meganewton meganewtons",
    "mN": "millinewton millinewtons",
    "kgf": "kp kilopond kiloponds kg-f kgforce kg-force",
    "tf": "t-f tonne-force tonnef",
    "lbf": "lb-f lbsf lb-force lbs-force pound-force pounds-force",
    "kip": "kips klbf klb-f",
    "gf": "gf g-f gram-force grams-force",
    "ozf": "ozf oz-f",
}
_COUNT_SPELLINGS: Final = frozenset({"count", "counts", "raw", "lsb", "adc", "digit", "digits"})


def _by_spelling(table: Mapping[str, str]) -> dict[str, str]:
    return {word: unit for unit, words in table.items() for word in words.split()}


_TIME_BY_SPELLING: Final = _by_spelling(_TIME_SPELLINGS)
_LENGTH_BY_SPELLING: Final = _by_spelling(_LENGTH_SPELLINGS)
_FORCE_BY_SPELLING: Final = _by_spelling(_FORCE_SPELLINGS)


def find_time_unit(text: str) -> str | None:
    """The unit of time that a text spells, or None."""
    return _TIME_BY_SPELLING.get(text.strip().strip(".").lower())


def find_length_unit(text: str) -> str | None:
    """The unit of length that a text spells, or None."""
    return _LENGTH_BY_SPELLING.get(text.strip().strip(".").lower())


def find_force_unit(text: str) -> str | None:
    """The unit of force that a text spells, or None; MN and mN as they are written."""
    cleaned = text.strip().strip(".")
    if cleaned in FILE_FORCES:
        return cleaned
    if found := _FORCE_BY_SPELLING.get(cleaned.lower()):
        return found
    try:
        return force_unit(cleaned)
    except UnitError:
        return None


def means_counts(text: str) -> bool:
    """Whether a unit says that the column holds raw counts."""
    return text.strip().strip(".").lower() in _COUNT_SPELLINGS


def load_unit(text: str) -> str:
    """The accepted spelling of a unit of force, or "counts". Raises: UnitError, which offers a force for a mass."""
    if means_counts(text):
        return COUNTS
    return find_force_unit(text) or force_unit(text)


def time_unit(text: str) -> str:
    """The accepted spelling of a unit of time ("sec" -> "s"), or "clock". Raises: UnitError."""
    if text.strip().lower() == CLOCK:
        return CLOCK
    if (found := find_time_unit(text)) is None:
        raise UnitError(f'unknown unit of time "{text}"; use one of {", ".join(TIME_UNITS)}')
    return found


def length_unit(text: str) -> str:
    """The accepted spelling of a unit of length ("inch" -> "in"). Raises: UnitError."""
    if (found := find_length_unit(text)) is None:
        raise UnitError(f'unknown unit of length "{text}"; use one of {", ".join(LENGTH_UNITS)}')
    return found


@dataclass(frozen=True, slots=True)
class CsvOptions:
    """What a person may say about a file; None leaves it to the file.

    Columns are a header text (with or without its unit, upper or lower case) or a number counted from 1.
    `extension_column` may be "none". `unit` is a unit of force, or "counts". `separator` is one of ; , tab and a blank
    (any run of blanks); `decimal` is "," or ".". `time_unit` is "clock" for dates and times of day. `header_rows`
    counts the rows above the first row of numbers, blank ones included. `rate` is said of a file without times
    (`time_column` may then be "none"): readings a second, as "50", "50 Hz" or "50/s".
    """

    time_column: str | int | None = None
    load_column: str | int | None = None
    extension_column: str | int | None = None
    time_unit: str | None = None
    unit: str | None = None
    extension_unit: str | None = None
    separator: str | None = None
    decimal: str | None = None
    header_rows: int | None = None
    rate: str | None = None

    def __post_init__(self) -> None:
        """Accept words for marks. Raises: UsageError, UnitError (for units of time and length)."""
        put = object.__setattr__
        if self.rate is not None:
            put(self, "rate", f"{_rate(self.rate):.17g}")
            if self.time_column not in (None, NO_COLUMN) or self.time_unit is not None:
                raise UsageError(
                    "--rate is for a file without times; leave out --time-column and --time-unit"
                )
        if self.separator is not None:
            put(
                self,
                "separator",
                _mark(self.separator, _SEPARATOR_WORDS, "separator", "semicolon, comma, tab or blanks"),
            )
        if self.decimal is not None:
            put(self, "decimal", _mark(self.decimal, _DECIMAL_WORDS, "decimal", "comma or point"))
        if self.time_unit is not None:
            put(self, "time_unit", time_unit(self.time_unit))
        if self.extension_unit is not None:
            put(self, "extension_unit", length_unit(self.extension_unit))
        if self.header_rows is not None and (type(self.header_rows) is not int or self.header_rows < 0):
            raise UsageError(f"--header-rows must be 0 or more, not {self.header_rows}")

    @property
    def rate_hz(self) -> float | None:
        """Readings a second of a file without times."""
        return None if self.rate is None else float(self.rate)

    def to_dict(self) -> dict[str, str | int]:
        """The options that were given, for a notes file."""
        return {one.name: value for one in fields(self) if (value := getattr(self, one.name)) is not None}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> "CsvOptions":
        """The reverse of to_dict. Raises: UsageError (an option that is not one, or of the wrong kind)."""
        known = {one.name for one in fields(cls)}
        for key, value in data.items():
            if key not in known:
                raise UsageError(f'"{key}" is not an option for reading a CSV file')
            if isinstance(value, bool) or not isinstance(value, str | int):
                raise UsageError(f'the option "{key}" for reading a CSV file cannot be {value!r}')
            if isinstance(value, int) and key not in {
                "time_column",
                "load_column",
                "extension_column",
                "header_rows",
            }:
                raise UsageError(f'the option "{key}" for reading a CSV file must be a text')
        return cls(**dict(data))


def _rate(text: str) -> float:
    found = _RATE.fullmatch(text.strip())
    rate = float(found["rate"].replace(",", ".")) if found else math.nan
    if not LEAST_RATE_HZ <= rate <= MOST_RATE_HZ:
        raise UsageError(f'--rate must be readings a second, as "50" or "50 Hz", not "{text}"')
    return rate


def _mark(given: str, words: Mapping[str, str], option: str, allowed: str) -> str:
    found = words.get(given.lower(), given)
    if found not in words.values():
        raise UsageError(f'--{option} must be {allowed}, not "{given}"')
    return found


@dataclass(frozen=True, slots=True)
class Column:
    """One column that was used: its header text ("" without a header), number from 1, and unit."""

    name: str
    number: int
    unit: str

    def __str__(self) -> str:
        """The column as a person finds it: its header text, or its number."""
        return f'"{self.name}"' if self.name else f"{self.number}"


@dataclass(frozen=True, slots=True)
class FileLayout:
    """How a file was read, so that a person can check it and the file can be read again the same way."""

    encoding: str
    separator: str
    decimal: str
    thousands: str | None
    header_rows: int
    skipped_rows: tuple[int, ...]
    """Blank rows among the numbers, counted from 1 as a spreadsheet does."""
    time: Column | str
    """The column of times; where the file has none, the stated rate (`CsvOptions.rate`)."""
    load: Column
    extension: Column | None
    notes: tuple[str, ...] = ()
    """Sentences on anything a person may want to know of how it was read."""

    def as_options(self) -> CsvOptions:
        """Options that read the same file again without any guessing."""
        return CsvOptions(
            time_column=self.time.number if isinstance(self.time, Column) else NO_COLUMN,
            load_column=self.load.number,
            extension_column=self.extension.number if self.extension else NO_COLUMN,
            time_unit=self.time.unit if isinstance(self.time, Column) else None,
            unit=self.load.unit,
            extension_unit=self.extension.unit if self.extension else None,
            separator=self.separator,
            decimal=self.decimal,
            header_rows=self.header_rows,
            rate=None if isinstance(self.time, Column) else self.time,
        )

    def sentence(self) -> str:
        """One line for the screen: what was taken for what."""
        parts = [f"load from column {self.load} in {self.load.unit}"]
        if isinstance(self.time, Column):
            clock = "dates and times of day" if self.time.unit == CLOCK else self.time.unit
            parts.append(f"time from column {self.time} in {clock}")
        else:
            parts.append(f"times from {float(self.time):g} readings a second, as stated")
        if self.extension:
            parts.append(f"extension from column {self.extension} in {self.extension.unit}")
        parts.append(f"{SEPARATORS[self.separator]} between columns")
        parts.append("decimal comma" if self.decimal == "," else "decimal point")
        parts.append(f"{self.header_rows} header row{'' if self.header_rows == 1 else 's'}")
        if self.skipped_rows:
            count = len(self.skipped_rows)
            parts.append(f"{count} blank row{'' if count == 1 else 's'} skipped")
        return "; ".join(parts)


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording of another instrument. Arrays are float64 (counts int32), shape (n,), read-only.

    Exactly one of `load_n` and `counts` is there. Times are as in the file, in seconds, strictly
    rising, with their uneven steps; they need not start at 0. An extension is nan where the file has none.
    """

    name: str
    time_s: NDArray[np.float64]
    load_n: NDArray[np.float64] | None
    counts: NDArray[np.int32] | None
    extension_m: NDArray[np.float64] | None
    layout: FileLayout = field(repr=False)

    def __post_init__(self) -> None:
        """Freeze the arrays. Raises: DataError if their shapes do not agree."""
        if (self.load_n is None) == (self.counts is None):
            raise DataError(f"{self.name}: a recording has either loads or counts")
        for array in (self.time_s, self.load_n, self.counts, self.extension_m):
            if array is not None:
                if array.shape != self.time_s.shape:
                    raise DataError(f"{self.name}: the columns are not equally long")
                array.flags.writeable = False

    @property
    def period_s(self) -> float:
        """The median step in seconds (nan for fewer than two samples)."""
        return float(np.median(np.diff(self.time_s))) if self.time_s.size > 1 else math.nan
