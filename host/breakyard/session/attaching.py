"""A second series beside a pull: kept as it is, laid over the pull's own time, read with it.

    runs/NAME.series.csv     the file as it was given
    runs/NAME.toml           [series]: its SHA-256, the offset of its clock, how that was found

MARKs that the logger wrote into the run ("1012 mm", "first crack") are a series too, without any file.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from breakyard.curve import LoadCurve
from breakyard.disk.atomic import write_atomically
from breakyard.document import sha256_of
from breakyard.errors import DataError, UsageError
from breakyard.formats.read_series import Series, parse_series
from breakyard.formats.recording import LENGTH_UNITS, find_length_unit
from breakyard.run import Moment

if TYPE_CHECKING:
    from breakyard.session.pulls import Pull

SERIES: Final = "series"
"""Table of a recording's notes."""
ENDING: Final = ".series.csv"
SAME, STATED, SHAPE, LOADS = "same clock", "stated", "shape", "loads"

_LENGTH: Final = re.compile(r"\s*([+-]?[\d.,]+)\s*(mm|cm|m|in|inch|inches|ft)\b\s*(.*)", re.IGNORECASE)
_FINE_S: Final = 0.01


@dataclass(frozen=True, slots=True)
class Attached:
    """A series that was laid over a pull."""

    path: Path
    offset_s: float
    by: str
    fit: float | None
    """Share of the lengths' variance that the load explains where they were laid (R squared); None if not looked at."""
    lengths: int
    remarks: int
    offset_low_s: float | None = None
    offset_high_s: float | None = None
    """Ends of the 95 % interval of an offset that was found by shape."""
    longest_shift_m: float | None = None
    """By how much that interval moves a length along the pull, at most, to either side."""


def attach(
    pull: "Pull",
    file: Path,
    *,
    offset_s: float | None = None,
    by_shape: bool = False,
    accuracy_percent: float | None = None,
) -> Attached:
    """Keep a series beside a pull and say where it lies on the pull's time.

    offset_s: seconds of the recording at the series' zero. by_shape: find it from the lengths, which follow the load.
    accuracy_percent: standard uncertainty of the lengths' scale.
    Raises: UsageError (pulls outside of sessions, one of several in a recording), DataError (the file).
    """
    from breakyard.session.recordings import load_curve

    session = pull.session
    if session is None or pull.path.parent.resolve() != session.layout.runs.resolve():
        raise UsageError(f"{pull.path}: a series is kept beside a recording of a session; import it first")
    try:
        data = file.read_bytes()
    except OSError as error:
        raise DataError(f"{file}: cannot be read ({error.strerror or error})") from error
    series = parse_series(data, file.name)
    curve = replace(load_curve(replace(pull, part=None)), series=(), moments=())
    fit = low = high = None
    if series.time_s is None:
        offset, by = 0.0, LOADS
    elif offset_s is not None:
        offset, by = offset_s, STATED
    elif by_shape:
        offset, fit, (low, high) = _by_shape(curve, series, file.name)
        by = SHAPE
    else:
        offset, by = 0.0, SAME
        last = float(np.nanmax(series.time_s))
        if last < curve.time_s[0] or float(np.nanmin(series.time_s)) > curve.time_s[-1]:
            raise DataError(
                f"{file.name}: its times do not lie within the recording (0 to {curve.time_s[-1]:.0f} s); say "
                "--offset SECONDS, or --by-shape to lay it where the lengths follow the load"
            )
    kept = pull.path.with_name(f"{pull.path.stem}{ENDING}")
    write_atomically(kept, data)
    table: dict[str, Any] = {
        "file": kept.name,
        "sha256": sha256_of(data),
        "offset_s": round(offset, 3),
        "by": by,
    }
    if low is not None and high is not None:
        table |= {"offset_low_s": round(low, 3), "offset_high_s": round(high, 3)}
    if accuracy_percent is not None:
        table["accuracy_percent"] = accuracy_percent
    session.change_notes(pull.path.stem, lambda notes: replace(notes, more={**notes.more, SERIES: table}))
    lengths = 0 if series.length_m is None else int(np.isfinite(series.length_m).sum())
    remarks = sum(bool(one) for one in series.remarks)
    shift = None if low is None or high is None else _shift(series, max(high - offset, offset - low))
    return Attached(kept, offset, by, fit, lengths, remarks, low, high, shift)


def _shift(series: Series, seconds: float) -> float:
    """How far lengths change within this many seconds, where they change fastest."""
    assert series.time_s is not None
    assert series.length_m is not None
    good = np.isfinite(series.time_s) & np.isfinite(series.length_m)
    time, length = series.time_s[good], series.length_m[good]
    steps = np.diff(time)
    rates = np.abs(np.diff(length)[steps > 0.0]) / steps[steps > 0.0]
    return float(seconds * rates.max()) if len(rates) else 0.0


def with_series(curve: LoadCurve, pull: "Pull") -> LoadCurve:
    """The curve with the lengths and remarks that are kept beside it, or that its logger's marks tell.

    Raises: DataError where the file is not the one that was attached.
    """
    lengths = _of_marks(curve.moments)
    session = pull.session
    table = None
    if session is not None and pull.path.parent.resolve() == session.layout.runs.resolve():
        table = session.notes(pull.path.stem).more.get(SERIES)
    moments = curve.moments
    if isinstance(table, dict):
        path = pull.path.with_name(str(table.get("file", "")))
        try:
            data = path.read_bytes()
        except OSError as error:
            raise DataError(f"{path}: cannot be read ({error.strerror or error}); attach it again") from error
        if sha256_of(data) != table.get("sha256"):
            raise DataError(f"{path}: this is not the series that was attached; attach it again")
        series = parse_series(data, path.name)
        offset = float(table.get("offset_s", 0.0))
        lengths = lengths_of(curve, series, offset)
        if series.time_s is not None:
            moments = (
                *moments,
                *(
                    Moment(float(at) + offset, text)
                    for at, text in zip(series.time_s, series.remarks, strict=False)
                    if text and np.isfinite(at)
                ),
            )
        percent = table.get("accuracy_percent")
        return replace(
            curve,
            series=lengths,
            series_unit=series.length_unit,
            series_accuracy=float(percent) / 100.0 if isinstance(percent, int | float) else None,
            moments=moments,
        )
    return replace(curve, series=lengths) if lengths else curve


def lengths_of(curve: LoadCurve, series: Series, offset_s: float) -> tuple[tuple[float, float], ...]:
    """Pairs of the recording's time and a length, in order; loads are looked up on the way to the peak."""
    if series.length_m is None:
        return ()
    if series.time_s is not None:
        at = series.time_s + offset_s
    else:
        assert series.load_n is not None
        at = _times_of(curve, series.load_n)
    good = np.isfinite(at) & np.isfinite(series.length_m)
    good &= (at >= curve.time_s[0] - 1.0) & (at <= curve.time_s[-1] + 1.0)
    order = np.argsort(at[good], kind="stable")
    return tuple(zip(at[good][order].tolist(), series.length_m[good][order].tolist(), strict=True))


def _times_of(curve: LoadCurve, loads_n: "np.ndarray[Any, Any]") -> "np.ndarray[Any, Any]":
    """When the load first reached each of these on its way to the largest; nan beyond it."""
    from breakyard.pull.split import last_of

    # Of a specimen that was loaded again and again, lengths belong to the loading that is read.
    last = last_of(replace(curve, one_specimen=True))
    usable = np.flatnonzero(last.usable)
    time = last.time_s[usable]
    width = max(1, round(0.1 / curve.period_s))
    load = np.convolve(last.load_n[usable], np.ones(width) / width, mode="same")
    top = int(np.argmax(load))
    whole = curve.load_n[curve.usable]
    zero = min(float(np.median(whole[: max(4, round(0.5 / curve.period_s))])), float(load[: top + 1].min()))
    highest = np.maximum.accumulate(load[: top + 1] - zero)
    found = np.searchsorted(highest, loads_n, side="left")
    k = np.clip(found, 1, top)
    step = np.maximum(highest[k] - highest[k - 1], 1e-12)
    share = np.clip((loads_n - highest[k - 1]) / step, 0.0, 1.0)
    reached = np.where(found <= top, time[k - 1] + share * (time[k] - time[k - 1]), np.nan)
    return np.where((found > top) & (loads_n <= 1.02 * highest[-1]), time[top], reached)


def _by_shape(curve: LoadCurve, series: Series, where: str) -> tuple[float, float, tuple[float, float]]:
    """The offset at which the lengths follow the load best, how well (R squared of a quadratic), and its interval.

    Looked for from coarse to fine over every place where half of the series lies within the recording. The interval
    holds every offset beside it at which the lengths lie no worse than chance has it: the residual sum of squares is at
    most 1 + F(1, n - 4) / (n - 4) times the least (profile of a nonlinear regression with four parameters: Bates and
    Watts 1988, Nonlinear Regression Analysis, 6.1), at 95 %.
    """
    from scipy.special import fdtri

    assert series.time_s is not None
    if series.length_m is None:
        raise UsageError(f"{where}: without lengths there is no shape; say --offset SECONDS")
    good = np.isfinite(series.time_s) & np.isfinite(series.length_m)
    at, length = series.time_s[good], series.length_m[good]
    if len(at) < 5 or np.ptp(length) <= 0.0:
        raise DataError(f"{where}: at least five different lengths are needed to find where they belong")
    usable = np.flatnonzero(curve.usable)
    time, load = curve.time_s[usable], curve.load_n[usable]
    low, high = time[0] - float(np.median(at)), time[-1] - float(np.median(at))
    step = max((high - low) / 400.0, _FINE_S)
    best, fit = 0.0, -np.inf
    while True:
        for offset in np.arange(low, high + step / 2, step):
            found = _explained(time, load, at + offset, length)
            if found > fit:
                best, fit = float(offset), found
        if step <= _FINE_S:
            break
        low, high, step = best - 2 * step, best + 2 * step, max(step / 8.0, _FINE_S)
    freedom = max(len(at) - 4, 1)
    worst = (1.0 - fit) * (1.0 + float(fdtri(1, freedom, 0.95)) / freedom)
    ends = []
    # Between two loads of the recording and two steps of the search nothing was looked at.
    between = curve.period_s + _FINE_S
    for sign in (-1.0, 1.0):
        reach, last = _FINE_S, time[-1] - time[0]
        while reach < last and 1.0 - _explained(time, load, at + best + sign * reach, length) <= worst:
            reach *= 1.1
        ends.append(best + sign * (min(reach, last) + between))
    return best, fit, (ends[0], ends[1])


def _explained(time: Any, load: Any, at: Any, length: Any) -> float:
    inside = (at >= time[0]) & (at <= time[-1])
    if inside.sum() < max(5, len(at) // 2):
        return -np.inf
    x, y = np.interp(at[inside], time, load), length[inside]
    rising = np.arange(len(x)) <= int(np.argmax(x))
    x, y = x[rising], y[rising]
    if len(x) < 5 or np.ptp(y) <= 0.0 or np.ptp(x) <= 0.0:
        return -np.inf
    x = x / np.abs(x).max()
    basis = np.stack([np.ones(len(x)), x, x * x], axis=1)
    left = y - basis @ np.linalg.lstsq(basis, y, rcond=None)[0]
    return float((1.0 - (left @ left) / ((y - y.mean()) @ (y - y.mean()))) * len(x) / len(at))


def _of_marks(moments: Sequence[Moment]) -> tuple[tuple[float, float], ...]:
    """Marks that begin with a length, as "1012 mm"."""
    found = []
    for moment in moments:
        length = length_in(moment.text)
        if length is not None:
            found.append((moment.time_s, length))
    return tuple(found)


def length_in(text: str) -> float | None:
    """Metres of "1012 mm": of a number with a unit of length; None for another text."""
    match = _LENGTH.match(text)
    if match is None:
        return None
    unit = find_length_unit(match[2])
    try:
        return float(match[1].replace(",", ".")) * LENGTH_UNITS[unit or "mm"]
    except ValueError:
        return None
