"""Times as people's programs write them: seconds since anything, dates, times of day; repeated, wrapped, out of order.

Only differences of time are used, so a date's order of day and month matters where there is more than one date, and a
time zone nowhere. A time of day that falls by more than half a day has passed midnight.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.formats.recording import CLOCK, TIME_UNITS

Floats = NDArray[np.float64]

_NS: Final = 1_000_000_000
_DAY_NS: Final = 86_400 * _NS
_EPOCH: Final = date(1970, 1, 1).toordinal()
_ISO_BEGIN: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:")
_MONTHS: Final = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_DATE: Final = (
    r"(?P<y>[0-9]{4})[-/.](?P<m>[0-9]{1,2})[-/.](?P<d>[0-9]{1,2})"
    r"|(?P<a>[0-9]{1,2})[-/.](?P<b>[0-9]{1,2})[-/.](?P<y2>[0-9]{4}|[0-9]{2})"
    r"|(?P<d3>[0-9]{1,2})[-/. ](?P<m3>[A-Za-z]{3})[a-z]*[-/. ](?P<y3>[0-9]{4})"
)
_TIME: Final = (
    r"(?P<h>[0-9]{1,2}):(?P<min>[0-9]{2})"
    r"(?::(?P<s>[0-9]{2})(?:[.,:](?P<f>[0-9]{1,9}))?|[.,](?P<tenths>[0-9]{1,9}))"
    r"\s*(?P<half>[AaPp]\.?[Mm]\.?)?"
)
"""Hours and minutes alone are none: they could be minutes and seconds."""
_ZONE: Final = r"\s*(?:Z|UTC|GMT|[+-][0-9]{2}:?(?:[0-9]{2})?)?"
_MOMENT: Final = re.compile(rf"(?:(?:{_DATE})(?:[T ]\s*|,\s*))?{_TIME}{_ZONE}")
_ONLY_DATE: Final = re.compile(_DATE)
_ZONED: Final = re.compile(r"(?P<sign>[+-])(?P<h>[0-9]{2}):?(?P<min>[0-9]{2})?$")

SWAPPED_ROWS: Final = 16
"""Rows that lie at most this far from where their time belongs are put in order; farther is another recording."""
SWAPPED_SHARE: Final = 0.02
WRAPS: Final = (2**32, 2**31, 2**16)
"""Where counters of milliseconds and microseconds begin anew."""


def looks_like_clock(text: str) -> bool:
    """Whether a field is a date, a time of day or both."""
    return (":" in text and _MOMENT.fullmatch(text) is not None) or _ONLY_DATE.fullmatch(text) is not None


def has_time_of_day(text: str) -> bool:
    """Whether a field that looks like a clock's says more than a date."""
    return ":" in text


def read_iso(texts: Sequence[str]) -> NDArray[np.int64] | None:
    """ISO 8601 date-times at once, as nanoseconds since 1970, shape (n,); None if any is something else."""
    import pandas as pd

    if not texts or not _ISO_BEGIN.match(texts[0]):
        return None
    try:
        moments = pd.to_datetime(pd.Series(texts), format="ISO8601", utc=True).dt.as_unit("ns")
    except (ValueError, OverflowError):
        return None
    ns = np.asarray(moments.astype("int64").to_numpy(), dtype=np.int64)
    return None if moments.isna().any() or ns.min() < 0 else ns


def read_clock(texts: Sequence[str]) -> NDArray[np.int64]:
    """Dates with times, or times of day, as nanoseconds since 1970 or midnight, shape (n,); -1 where unreadable."""
    quick = read_iso(texts)
    if quick is not None:
        return quick
    found = [_MOMENT.fullmatch(text.strip()) for text in texts]
    clock = np.array([_time_of_day(one) if one and _is_now(one) else -1 for one in found], dtype=np.int64)
    good = np.flatnonzero(clock >= 0)
    kept = [one for one, ns in zip(found, clock, strict=True) if one is not None and ns >= 0]
    days = _days(kept)
    if days is None:
        return _past_midnight(clock)
    clock[good] += np.asarray(days, dtype=np.int64) * _DAY_NS - _zones(kept)
    return clock


def _is_now(found: re.Match[str]) -> bool:
    """Whether a year, if there is one, is one of this age: others do not fit into nanoseconds."""
    year = found["y"] or found["y3"] or (found["y2"] if len(found["y2"] or "") == 4 else None)
    return year is None or 1970 < int(year) < 2200


def _time_of_day(found: re.Match[str]) -> int:
    hours, minutes, seconds = int(found["h"]), int(found["min"]), int(found["s"] or 0)
    if found["tenths"]:  # "12:34.5" is minutes and seconds
        hours, minutes, seconds = 0, hours, minutes
    if found["half"]:
        hours = hours % 12 + (12 if found["half"][0] in "Pp" else 0)
    fraction = int((found["f"] or found["tenths"] or "0").ljust(9, "0"))
    if hours > 24 or minutes > 59 or seconds > 60:
        return -1
    return (hours * 3600 + minutes * 60 + seconds) * _NS + fraction


def _zones(found: Sequence[re.Match[str]]) -> NDArray[np.int64]:
    shifts = []
    for one in found:
        zone = _ZONED.search(one[0][one.end("min") :])
        minutes = 0 if zone is None else int(zone["h"]) * 60 + int(zone["min"] or 0)
        shifts.append((-1 if zone and zone["sign"] == "-" else 1) * minutes * 60 * _NS)
    return np.array(shifts, dtype=np.int64)


def _days(found: Sequence[re.Match[str]]) -> list[int] | None:
    """Days since 1970; None unless every field has a date. Day before month unless that makes no sense."""
    names = ("y", "m", "d", "a", "b", "y2", "d3", "m3", "y3")
    tokens = [tuple(one[name] for name in names) for one in found]
    distinct = list(dict.fromkeys(tokens))
    if not distinct or not any(distinct[0]) or any(not any(token) for token in distinct):
        return None
    best: list[int] | None = None
    for month_first in (False, True):
        try:
            days = [_ordinal(token, month_first) for token in distinct]
        except ValueError:
            continue
        # Of two ways to read a date, the one in which the days follow each other.
        if best is None or max(days) - min(days) < max(best) - min(best):
            best = days
    if best is None:
        return None
    by_token = dict(zip(distinct, best, strict=True))
    return [by_token[token] - _EPOCH for token in tokens]


def _ordinal(token: tuple[str | None, ...], month_first: bool) -> int:
    y, m, d, a, b, y2, d3, m3, y3 = token
    if y:
        return date(int(y), int(m or 0), int(d or 0)).toordinal()
    if y3:
        return date(int(y3), _MONTHS.index((m3 or "").lower()) + 1, int(d3 or 0)).toordinal()
    year = int(y2 or 0)
    day, month = (int(b or 0), int(a or 0)) if month_first else (int(a or 0), int(b or 0))
    return date(year if year > 99 else 2000 + year, month, day).toordinal()


def _past_midnight(clock: NDArray[np.int64]) -> NDArray[np.int64]:
    good = np.flatnonzero(clock >= 0)
    falls = np.diff(clock[good], prepend=clock[good][:1]) < -_DAY_NS // 2
    out = clock.copy()
    out[good] += np.cumsum(falls, dtype=np.int64) * _DAY_NS
    return out


def guess_unit(values: Floats) -> tuple[str | None, str]:
    """The unit of times whose header names none, and why; None where more than one would do.

    Seconds since 1970 are known by their size. Else a recording of a pull has steps of 50 us to 10 s: steps with a
    fraction of less than half a unit are seconds, and whole numbers in steps of 5 and more, hundreds of them, are what
    counters of milliseconds or microseconds give.
    """
    finite = values[np.isfinite(values)]
    if finite.size < 3:
        return None, ""
    start = float(finite[0])
    for unit, size in (("s", 1e9), ("ms", 1e12), ("us", 1e15), ("ns", 1e18)):
        if size < start < 4 * size:
            return unit, f"they count from 1970 in {unit}"
    steps = np.diff(finite)
    steps = steps[steps > 0.0]
    if not steps.size:
        return None, ""
    step, whole = float(np.median(steps)), bool((finite == np.rint(finite)).all())
    if not whole and step < 0.5:
        return "s", f"steps of {step:.3g} fit seconds"
    if whole and finite.size >= 100:
        for unit, least in (("us", 2000.0), ("ms", 5.0)):
            if step >= least:
                return unit, f"whole numbers in steps of {step:.3g} fit {unit}"
    return None, ""


def to_seconds(values: Floats | NDArray[np.int64], unit: str) -> Floats:
    """Seconds from a column of times; moments of a clock count from their first."""
    if unit == CLOCK:
        first = values[0] if len(values) else 0
        return np.asarray((values - first) / 1e9, dtype=np.float64)
    # Dividing rounds once, multiplying by 1e-3 would round twice.
    divisor = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}.get(unit)
    return np.asarray(values * TIME_UNITS[unit] if divisor is None else values / divisor, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class RisingTimes:
    """Times that rise strictly, in the order that makes them do so, and what was done to them."""

    time_s: Floats
    order: NDArray[np.intp] | None
    """Places of the rows in the file; None if they stayed where they were."""
    notes: tuple[str, ...]
    falls: int | None = None
    """Place of the first row that goes back too far to be put in order; nothing was settled then."""


def settle(time_s: Floats, unit: str) -> RisingTimes:
    """Unwrap counters, put rows that are a little out of order into order, spread times that are repeated."""
    notes: list[str] = []
    time_s = _unwrapped(time_s, unit, notes)
    order = None
    back = np.flatnonzero(np.diff(time_s) < 0.0)
    if back.size:
        order = np.argsort(time_s, kind="stable")
        moved = int(np.abs(order - np.arange(order.size)).max())
        if moved > SWAPPED_ROWS or back.size > SWAPPED_SHARE * time_s.size:
            return RisingTimes(time_s, None, (), int(back[0]) + 1)
        time_s = time_s[order]
        rows = f"{back.size} row{'s' if back.size > 1 else ''}"
        notes.append(f"{rows} came before an earlier time; the rows were put in order of time")
    return RisingTimes(_spread(time_s, notes), order, tuple(notes))


def _unwrapped(time_s: Floats, unit: str, notes: list[str]) -> Floats:
    """A counter of whole units that fell by nearly its range has begun anew."""
    back = np.flatnonzero(np.diff(time_s) < 0.0)
    if not back.size or unit not in ("ms", "us"):
        return time_s
    usual = float(np.median(np.diff(time_s)))
    for turns in WRAPS:
        whole = turns * TIME_UNITS[unit]
        missing = np.diff(time_s)[back] + whole
        if (missing < 0.02 * whole).all() and (missing > 0.0).all() and missing.max() < 1e3 * usual:
            out = time_s.copy()
            for at in back:
                out[at + 1 :] += whole
            notes.append(
                f"the clock started again from 0 at 2^{int(math.log2(turns))} {unit}; its times were joined"
            )
            return out
    return time_s


def _spread(time_s: Floats, notes: list[str]) -> Floats:
    """Rows that share a time are spread evenly over the longer of the two steps beside them.

    After a stall the first of two readings was made before its stamp: then the step before is the long one. A clock
    that cuts off its digits stamps too early: then both are alike, and the rows reach towards the next stamp.
    """
    repeated = np.flatnonzero(np.diff(time_s) == 0.0)
    if not repeated.size:
        return time_s
    firsts = np.flatnonzero(np.append(True, np.diff(time_s) > 0.0))
    if firsts.size < 2:
        return time_s
    counts = np.diff(np.append(firsts, time_s.size))
    stamps = time_s[firsts]
    steps = np.diff(stamps)
    before, after = np.append(steps[0], steps), np.append(steps, 0.0)
    backwards = (before > 1.2 * after) & (np.arange(firsts.size) > 0)
    inside = np.arange(time_s.size) - np.repeat(firsts, counts)
    share = inside / np.repeat(counts, counts)
    late = (inside + 1.0) / np.repeat(counts, counts) - 1.0
    alone = np.repeat(counts == 1, counts)
    shift = np.where(
        np.repeat(backwards, counts), late * np.repeat(before, counts), share * np.repeat(after, counts)
    )
    out = time_s + np.where(alone, 0.0, shift)
    # A group that reaches back and one before it that reaches forward share the step between them.
    if (np.diff(out) <= 0.0).any():
        out = np.asarray(
            time_s + np.where(alone, 0.0, share * np.repeat(np.append(steps, steps[-1]), counts))
        )
    rows = f"{repeated.size} row{'s' if repeated.size > 1 else ''}"
    verb = "repeats" if repeated.size == 1 else "repeat"
    notes.append(f"{rows} {verb} the time of the row before; their times were spread evenly")
    return out
