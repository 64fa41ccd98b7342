"""Parquet files and archives that somebody else may have written or damaged: read, or a DataError.

Most of the work is pyarrow's own; what is tried here is what becomes of whatever it lets through.
"""

import json
from functools import cache
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from breakyard.curve import curve_from_columns
from breakyard.errors import BreakyardError
from breakyard.formats.archive import read_files, sessions_in, write_session
from breakyard.formats.read_parquet import read_curve, read_summaries
from breakyard.formats.write_parquet import METADATA, curve_parquet, schema_of, summaries_parquet
from breakyard.pull.results import Summary
from fuzz_targets import summary_json
from fuzz_targets.places import folder

MAX_LEN = 20000


@cache
def files():
    """A curve, summaries, and an archive's table of files."""
    time_s = np.arange(20) / 10.0
    curve = curve_parquet(curve_from_columns(time_s, time_s * 3.0, name="a"))
    summaries = summaries_parquet([Summary.from_json(json.loads(summary_json.example()))])
    archive = folder() / "made"
    write_session(archive, "may", [], [])
    return curve, summaries, next(archive.glob("files/*/*.parquet")).read_bytes()


def seeds():
    odd = []
    for about in (b"[", b"[]", b"5", b"{}", b'{"schema": "breakyard.curve/1", "flags": 5}', b"\xff"):
        table = pa.table({"summary_json": ["{}"], "time_s": ["x"]}).replace_schema_metadata({METADATA: about})
        odd.append(_bytes_of(table))
    for rows in (
        [{"path": None, "sha256": "", "content": b""}],
        [{"path": "../x", "sha256": None, "content": None}],
    ):
        shape = schema_of((("path", "string", ""), ("sha256", "string", ""), ("content", "binary", "")))
        odd.append(_bytes_of(pa.Table.from_pylist(rows, schema=shape)))
    return [*files(), *odd]


def _bytes_of(table):
    out = pa.BufferOutputStream()
    pq.write_table(table, out)
    return out.getvalue().to_pybytes()


def try_one(data):
    for read in (read_curve, read_summaries, _read_archive):
        try:
            read(data)
        except BreakyardError as error:
            assert str(error)


def _read_archive(data):
    archive = folder() / "archive"
    place = archive / "files" / "session=may"
    place.mkdir(parents=True, exist_ok=True)
    (place / "part-0.parquet").write_bytes(data)
    for name in sessions_in(archive):
        for file in read_files(archive, name):
            assert isinstance(file.content, bytes)
            assert not Path(file.path).is_absolute()
            assert ".." not in Path(file.path).parts
