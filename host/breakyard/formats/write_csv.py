"""Curves and summaries as CSV, with the unit in each header, for spreadsheets and other programs.

Numbers carry as many digits as can mean something: seven, of a curve's loads of the largest, and microseconds. JSON and
Parquet hold every bit.
"""

import csv
import io
import math
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from breakyard.curve import LoadCurve
from breakyard.errors import UsageError
from breakyard.formats.spreadsheet import defused
from breakyard.pull.results import Summary
from breakyard.pull.rows import summary_row
from breakyard.units import FORCE_UNITS, force_unit

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

DIGITS: Final = 7
"""Of a 24-bit converter's count; the finest that any interval here is known to is a thousand times coarser."""
TIME_DECIMALS: Final = 6
"""Microseconds: finer than the 20 us in which the logger tells time."""

_SUFFIXES: Final[Sequence[tuple[str, str, bool]]] = (
    ("_n_per_s", "{unit}/s", True),
    ("_n_per_m", "{unit}/m", True),
    ("_n", "{unit}", True),
    ("_s", "s", False),
    ("_m", "m", False),
    ("_j", "J", False),
    ("_hz", "Hz", False),
)


def curve_csv(
    curve: LoadCurve, *, unit: str = "N", zero_n: float = 0.0, separator: str = ",", decimal: str = "."
) -> str:
    """Write a curve as text: time, load, extension and counts where known, and whether to trust the sample.

    zero_n: newtons to subtract, as the summary's zero. Raises: UnitError; UsageError (marks that collide).
    """
    import pandas as pd

    unit = force_unit(unit)
    columns: dict[str, object] = {
        "Time [s]": np.round(curve.time_s, TIME_DECIMALS),
        f"Load [{unit}]": _to_digits((curve.load_n - zero_n) / FORCE_UNITS[unit]),
    }
    if curve.extension_m is not None:
        columns["Extension [m]"] = _to_digits(curve.extension_m)
    if curve.counts is not None:
        columns["Counts"] = curve.counts
    columns["Usable"] = curve.usable.astype(int)
    return _text(pd.DataFrame(columns), separator, decimal)


def summaries_csv(
    summaries: Sequence[Summary],
    *,
    unit: str = "N",
    more: Mapping[str, Sequence[object]] | None = None,
    separator: str = ",",
    decimal: str = ".",
) -> str:
    """Write one row per summary; `more` are columns to put first, such as specimen and group.

    Raises: UnitError; UsageError (marks that collide, a column of another length).
    """
    unit = force_unit(unit)
    first = more or {}
    for name, values in first.items():
        if len(values) != len(summaries):
            raise UsageError(f'the column "{name}" has {len(values)} rows for {len(summaries)} summaries')
    rows = [summary_row(summary) for summary in summaries]
    columns = {name: heading(name, unit) for name in (rows[0] if rows else ())}
    _check_marks(separator, decimal)
    out = io.StringIO()
    write = csv.writer(out, delimiter=separator, lineterminator="\n").writerow
    write([*first, *(title for title, _ in columns.values())])
    for at, row in enumerate(rows):
        read = (_in_unit(row[name], factor) for name, (_, factor) in columns.items())
        write([_cell(value, decimal) for value in (*(values[at] for values in first.values()), *read)])
    return out.getvalue()


def heading(name: str, unit: str) -> tuple[str, float]:
    """The heading of a column of newtons, seconds ..., and what divides its values: "peak_n" is "peak [kN]", 1000."""
    for suffix, label, is_force in _SUFFIXES:
        if name.endswith(suffix):
            title = f"{name.removesuffix(suffix)} [{label.format(unit=unit)}]"
            return title, FORCE_UNITS[unit] if is_force else 1.0
    return name, 1.0


def _in_unit(value: Any, factor: float) -> Any:
    return value if value is None or factor == 1.0 else float(value) / factor


def _to_digits(values: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Rounded to the decimals that give the largest of them its DIGITS."""
    sizes = np.abs(values[np.isfinite(values)])
    largest = float(sizes.max()) if sizes.size else 0.0
    if largest == 0.0:
        return values
    return np.round(values, DIGITS - 1 - math.floor(math.log10(largest)))


def _cell(value: Any, decimal: str) -> Any:
    """A value as it is written, with DIGITS at most; nothing for what is not known."""
    if isinstance(value, str):
        return defused(value)
    if not isinstance(value, float):
        return "" if value is None else value
    return "" if math.isnan(value) else repr(float(f"{value:.{DIGITS}g}")).replace(".", decimal)


def _text(frame: "pd.DataFrame", separator: str, decimal: str) -> str:
    _check_marks(separator, decimal)
    return str(frame.to_csv(index=False, sep=separator, decimal=decimal, lineterminator="\n"))


def _check_marks(separator: str, decimal: str) -> None:
    if separator == decimal or not re.fullmatch(r"[;,\t]", separator) or decimal not in {",", "."}:
        raise UsageError(
            "columns are separated by a semicolon, comma or tab, and the decimal mark is a comma or a point, "
            "but not both a comma"
        )
