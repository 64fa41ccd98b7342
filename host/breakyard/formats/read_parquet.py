"""Curves and summaries read back from the Parquet files that this package wrote."""

import io
import json
from typing import Any

import numpy as np

from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.errors import DataError
from breakyard.formats.arrow import arrow, first_line, parquet
from breakyard.formats.write_json import CURVE_SCHEMA
from breakyard.formats.write_parquet import METADATA, SAMPLE_COLUMNS, SUMMARIES_SCHEMA
from breakyard.pull.results import Summary


def read_curve(data: bytes, *, where: str = "the file") -> LoadCurve:
    """Read a curve back, its loads above the zero that was subtracted. It has no converter and no calibration.

    Raises: DataError (no Parquet file, not a curve of ours, damaged); UsageError (pyarrow is missing).
    """
    table, about = _opened(data, CURVE_SCHEMA, where)
    columns = {name: _column(table, name, kind, where) for name, kind, _ in SAMPLE_COLUMNS}
    extension = columns["extension_m"]
    usable = columns["usable"].to_numpy()
    load = columns["load_n"].to_numpy()
    curve = curve_from_columns(
        columns["time_s"].to_numpy(),
        np.where(usable, load, np.nan),
        name=str(about.get("name", "")),
        extension_m=None if extension.null_count == len(extension) else extension.to_numpy(),
    )
    counts = columns["counts"]
    return _with(
        curve,
        load_n=load,
        clipped=columns["clipped"].to_numpy(),
        counts=None if counts.null_count else counts.to_numpy(),
        flags=tuple(map(str, about.get("flags", ()))),
    )


def read_summaries(data: bytes, *, where: str = "the file") -> tuple[Summary, ...]:
    """Read summaries back, whole. Raises: DataError; UsageError (pyarrow is missing)."""
    table, _ = _opened(data, SUMMARIES_SCHEMA, where)
    texts = _column(table, "summary_json", "string", where).to_pylist()
    try:
        return tuple(Summary.from_json(json.loads(text)) for text in texts)
    except (TypeError, ValueError, RecursionError) as problem:
        raise DataError(f"{where}: a summary in it is damaged ({problem}); export it again") from None


def _with(curve: LoadCurve, **changes: Any) -> LoadCurve:
    from dataclasses import replace

    for value in changes.values():
        if isinstance(value, np.ndarray):
            value.flags.writeable = False
    return replace(curve, **changes)


def _column(table: Any, name: str, kind: str, where: str) -> Any:
    """One column of the type that it was written with. Raises: DataError."""
    if name not in table.column_names or table.schema.field(name).type != getattr(arrow(), kind)():
        raise DataError(
            f"{where}: it has no column {name} of the type {kind.strip('_')}; export the curve again"
        )
    return table.column(name)


def _opened(data: bytes, schema: str, where: str) -> tuple[Any, dict[str, Any]]:
    pa, pq = arrow(), parquet()
    try:
        table = pq.read_table(io.BytesIO(data))
        names = table.column_names  # a name that is no UTF-8 is found out only here
    except (pa.ArrowException, OSError, ValueError) as problem:
        raise DataError(f"{where}: cannot be read as Parquet ({first_line(problem)})") from None
    try:
        about = json.loads((table.schema.metadata or {}).get(METADATA, b"{}"))
    except (ValueError, RecursionError):
        about = None
    found = about.get("schema") if isinstance(about, dict) else None
    if found != schema or not names:
        raise DataError(f"{where}: this Parquet file does not hold {schema}, but {found!r}")
    return table, about
