"""Curves and summaries as Parquet: typed columns in newtons and seconds, with units in the columns' metadata.

Column names are those of the JSON face where they say the same; words that are reserved in SQL are avoided.
"""

import io
import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from breakyard.curve import LoadCurve
from breakyard.errors import UsageError
from breakyard.formats.arrow import arrow, parquet
from breakyard.formats.write_json import CURVE_SCHEMA, json_text
from breakyard.pull.results import Summary

SUMMARIES_SCHEMA: Final = "breakyard.summaries/1"

METADATA: Final = b"breakyard"
"""Key of a file's metadata under which its schema's name and what belongs to the whole file stand, as JSON."""

COMPRESSION: Final = "zstd"

SAMPLE_COLUMNS: Final = (
    ("time_s", "float64", "s"),
    ("load_n", "float64", "N"),
    ("counts", "int32", ""),
    ("usable", "bool_", ""),
    ("clipped", "bool_", ""),
    ("extension_m", "float64", "m"),
)
"""Name, type and unit of a curve's columns; counts and extension are null where they are not known."""

SUMMARY_COLUMNS: Final = (
    ("run", "string", ""),
    ("run_number", "int64", ""),
    ("peak_n", "float64", "N"),
    ("peak_low_n", "float64", "N"),
    ("peak_high_n", "float64", "N"),
    ("peak_bound", "string", ""),
    ("coverage", "float64", ""),
    ("largest_sample_n", "float64", "N"),
    ("peak_time_s", "float64", "s"),
    ("strength_n", "float64", "N"),
    ("strength_low_n", "float64", "N"),
    ("strength_high_n", "float64", "N"),
    ("at_least", "bool_", ""),
    ("settled_n", "float64", "N"),
    ("first_peak_n", "float64", "N"),
    ("manner", "string", ""),
    ("manner_sure", "bool_", ""),
    ("break_time_s", "float64", "s"),
    ("residual_n", "float64", "N"),
    ("rate_n_per_s", "float64", "N/s"),
    ("drops", "int64", ""),
    ("zero_n", "float64", "N"),
    ("onset_s", "float64", "s"),
    ("sample_rate_hz", "float64", "Hz"),
    ("samples", "int64", ""),
    ("missing_samples", "int64", ""),
    ("start_utc_s", "float64", "s"),
    ("calibration", "string", ""),
    ("calibration_hash", "string", ""),
    ("flags", "string", ""),
    ("summary_json", "string", ""),
)
"""Name, type and unit of a summary's columns. `flags` are separated by blanks; `summary_json` is the whole summary."""


def curve_parquet(curve: LoadCurve, *, zero_n: float = 0.0) -> bytes:
    """Write a curve as one Parquet file.

    zero_n: newtons to subtract, as the summary's zero. Raises: UsageError (pyarrow is missing).
    """
    about = {
        "schema": CURVE_SCHEMA,
        "name": curve.name,
        "zero_n": zero_n,
        "period_s": curve.period_s,
        "calibration_hash": None if curve.calibration is None else curve.calibration.content_hash,
        "flags": list(curve.flags),
    }
    return _file(_described(arrow().table(sample_columns(curve, zero_n), schema_of(SAMPLE_COLUMNS)), about))


def summaries_parquet(
    summaries: Sequence[Summary], *, more: Mapping[str, Sequence[object]] | None = None
) -> bytes:
    """Write one row per summary; `more` are columns of texts to put first, such as specimen.

    Raises: UsageError (pyarrow is missing, a column of another length).
    """
    columns = dict(more or {})
    for name, values in columns.items():
        if len(values) != len(summaries):
            raise UsageError(f'the column "{name}" has {len(values)} rows for {len(summaries)} summaries')
    rows = [summary_row(summary) for summary in summaries]
    shape = tuple((name, "string", "") for name in columns) + SUMMARY_COLUMNS
    data = columns | {name: [row[name] for row in rows] for name, _, _ in SUMMARY_COLUMNS}
    table = arrow().Table.from_pydict(data, schema=schema_of(shape))
    return _file(_described(table, {"schema": SUMMARIES_SCHEMA}))


def schema_of(columns: Sequence[tuple[str, str, str]]) -> Any:
    """An Arrow schema with units. Raises: UsageError (pyarrow is missing)."""
    pa = arrow()
    return pa.schema(
        [
            pa.field(name, getattr(pa, kind)(), metadata={"unit": unit} if unit else None)
            for name, kind, unit in columns
        ]
    )


def sample_columns(curve: LoadCurve, zero_n: float) -> list[Any]:
    """A curve's samples as Arrow arrays, in the order of SAMPLE_COLUMNS."""
    pa, length = arrow(), len(curve.time_s)
    return [
        pa.array(curve.time_s),
        pa.array(curve.load_n - zero_n),
        pa.nulls(length, pa.int32()) if curve.counts is None else pa.array(curve.counts, pa.int32()),
        pa.array(curve.usable),
        pa.array(curve.clipped),
        pa.nulls(length, pa.float64())
        if curve.extension_m is None
        else pa.array(np.asarray(curve.extension_m), from_pandas=True),
    ]


def summary_row(summary: Summary) -> dict[str, Any]:
    """A summary's values by the names of SUMMARY_COLUMNS."""
    run, peak, strength, failure = summary.run, summary.peak, summary.strength, summary.failure
    return {
        "run": run.name,
        "run_number": run.number,
        "peak_n": peak.estimate_n,
        "peak_low_n": peak.low_n,
        "peak_high_n": peak.high_n,
        "peak_bound": peak.bound,
        "coverage": peak.coverage,
        "largest_sample_n": peak.largest_sample_n,
        "peak_time_s": peak.time_s,
        "strength_n": strength.value_n,
        "strength_low_n": strength.low_n,
        "strength_high_n": strength.high_n,
        "at_least": strength.at_least,
        "settled_n": None if summary.settled is None else summary.settled.load_n,
        "first_peak_n": None if summary.first_peak is None else summary.first_peak.load_n,
        "manner": failure.manner,
        "manner_sure": failure.sure,
        "break_time_s": failure.time_s,
        "residual_n": failure.residual_n,
        "rate_n_per_s": summary.rate.median_n_per_s,
        "drops": len(summary.drops),
        "zero_n": summary.zero.load_n,
        "onset_s": summary.onset_s,
        "sample_rate_hz": run.rate_hz,
        "samples": run.samples,
        "missing_samples": run.missing_samples,
        "start_utc_s": run.start_utc_s,
        "calibration": run.calibration,
        "calibration_hash": run.calibration_hash,
        "flags": " ".join(summary.flags),
        "summary_json": json_text(summary.to_json()),
    }


def _described(table: Any, about: Mapping[str, Any]) -> Any:
    kept = table.schema.metadata or {}
    return table.replace_schema_metadata({**kept, METADATA: json.dumps(about).encode()})


def _file(table: Any) -> bytes:
    out = io.BytesIO()
    parquet().write_table(table, out, compression=COMPRESSION)
    return out.getvalue()
