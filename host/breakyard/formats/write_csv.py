"""Curves and summaries as CSV, with the unit in each header, for spreadsheets and other programs.

Numbers are written so that they read back exactly (shortest text that gives the same double).
"""

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from breakyard.curve import LoadCurve
from breakyard.errors import UsageError
from breakyard.pull.results import Summary
from breakyard.pull.summarize import summaries_to_frame
from breakyard.units import FORCE_UNITS, force_unit

if TYPE_CHECKING:
    import pandas as pd

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
        "Time [s]": curve.time_s,
        f"Load [{unit}]": (curve.load_n - zero_n) / FORCE_UNITS[unit],
    }
    if curve.extension_m is not None:
        columns["Extension [m]"] = curve.extension_m
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
    frame = in_unit(summaries_to_frame(summaries), unit)
    for at, (name, values) in enumerate((more or {}).items()):
        if len(values) != len(frame):
            raise UsageError(f'the column "{name}" has {len(values)} rows for {len(frame)} summaries')
        frame.insert(at, name, list(values))
    return _text(frame, separator, decimal)


def in_unit(frame: "pd.DataFrame", unit: str) -> "pd.DataFrame":
    """Convert a table of newtons: columns "peak_n", "rate_n_per_s" become "peak [kN]", "rate [kN/s]".

    Raises: UnitError.
    """
    unit = force_unit(unit)
    frame = frame.copy()
    names = {}
    for name in frame.columns:
        for suffix, label, is_force in _SUFFIXES:
            if name.endswith(suffix):
                if is_force:
                    frame[name] = frame[name].astype(float) / FORCE_UNITS[unit]
                names[name] = f"{name.removesuffix(suffix)} [{label.format(unit=unit)}]"
                break
    return frame.rename(columns=names)


def _text(frame: "pd.DataFrame", separator: str, decimal: str) -> str:
    if separator == decimal or not re.fullmatch(r"[;,\t]", separator) or decimal not in {",", "."}:
        raise UsageError(
            "columns are separated by a semicolon, comma or tab, and the decimal mark is a comma or a point, "
            "but not both a comma"
        )
    return str(frame.to_csv(index=False, sep=separator, decimal=decimal, lineterminator="\n"))
