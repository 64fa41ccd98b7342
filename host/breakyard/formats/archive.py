"""Many sessions as one Parquet data set, one partition each, and back again.

    ARCHIVE/README.md
    ARCHIVE/pulls/session=NAME/part-0.parquet      one row per pull: who, what, its summary
    ARCHIVE/samples/session=NAME/part-0.parquet    one row per sample: time, load above zero, counts
    ARCHIVE/files/session=NAME/part-0.parquet      one row per file of the folder, with its bytes and SHA-256

Any program that knows partitioned Parquet reads the first two as they are. The third brings every session back as it
was, byte for byte, so that an archive is also a backup.
"""

import hashlib
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, Final
from urllib.parse import quote, unquote

from breakyard.curve import LoadCurve
from breakyard.errors import DataError, UsageError
from breakyard.formats.arrow import arrow, first_line, parquet
from breakyard.formats.write_parquet import (
    COMPRESSION,
    SAMPLE_COLUMNS,
    SUMMARY_COLUMNS,
    sample_columns,
    schema_of,
    summary_row,
)
from breakyard.pull.results import Summary

TABLES: Final = ("files", "samples", "pulls")
PARTITION: Final = "session="
PART: Final = "part-0.parquet"

PULL_COLUMNS: Final = (
    ("specimen", "string", ""),
    ("specimen_group", "string", ""),
    ("pull_order", "int64", ""),
    ("mass_kg", "float64", "kg"),
    ("notes", "string", ""),
    ("place", "string", ""),
    ("session_date", "date32", ""),
    ("logger", "string", ""),
    ("problem", "string", ""),
)
"""What people wrote; the columns of the summary follow. `problem` says why a pull has no summary."""

FILE_COLUMNS: Final = (("path", "string", ""), ("sha256", "string", ""), ("content", "binary", ""))

README: Final = """\
# An archive of sessions

Three tables in Parquet, one partition (`session=NAME`) per session. Forces are newtons (`_n`), times seconds (`_s`).

- `pulls`: one row per pull. Peaks and strengths with their intervals; `at_least` marks lower bounds, which must not be
  averaged as if they were loads. `summary_json` holds everything that is known of the pull.
- `samples`: one row per sample of each `run`; `load_n` counts from the pull's own zero. Leave out rows that are not
  `usable`.
- `files`: every file of the session's folder, with its SHA-256.

DuckDB: `select specimen_group, count(*) from read_parquet('pulls/*/*.parquet', hive_partitioning = true) group by 1`

`breakyard import ARCHIVE --session FOLDER` brings the sessions' folders back, byte for byte.
"""


@dataclass(frozen=True, slots=True)
class ArchivedPull:
    """One pull. Without a curve it has no samples; without a summary, `problem` says why."""

    run: str
    curve: LoadCurve | None
    summary: Summary | None
    specimen: str = ""
    group: str = ""
    order: int | None = None
    mass_kg: float | None = None
    notes: str = ""
    problem: str = ""


@dataclass(frozen=True, slots=True)
class ArchivedFile:
    """A file of the session's folder; `path` is relative, with slashes."""

    path: str
    content: bytes


def is_archive(folder: Path) -> bool:
    """Whether a folder is an archive."""
    return (folder / "files").is_dir() and (folder / "pulls").is_dir()


def sessions_in(archive: Path) -> tuple[str, ...]:
    """Names of the sessions in an archive."""
    found = (path.name for path in (archive / "files").glob(f"{PARTITION}*") if (path / PART).is_file())
    return tuple(sorted(unquote(name.removeprefix(PARTITION)) for name in found))


def write_session(
    archive: Path,
    name: str,
    pulls: Iterable[ArchivedPull],
    files: Iterable[ArchivedFile],
    *,
    place: str = "",
    date: Any = None,
    logger: str = "",
) -> int:
    """Add a session to an archive, or replace the one of that name; returns the number of its pulls.

    Pulls are taken one after another, so that a session needs no more memory than its largest pull.
    Raises: UsageError (pyarrow is missing, no name), DataError (disk).
    """
    if not name:
        raise UsageError("a session in an archive needs a name")
    same = {"place": place, "session_date": date, "logger": logger}
    try:
        archive.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=archive, prefix=".writing-") as new:
            fresh = Path(new)
            for table in TABLES:
                (fresh / table).mkdir()
            _write_files(fresh / "files" / PART, files)
            rows = [_row(pull, same) for pull in _write_samples(fresh / "samples" / PART, pulls)]
            shape = PULL_COLUMNS + SUMMARY_COLUMNS
            parquet().write_table(
                arrow().Table.from_pylist(rows, schema=schema_of(shape)),
                fresh / "pulls" / PART,
                compression=COMPRESSION,
            )
            for table in TABLES:
                _put(fresh / table, archive / table / f"{PARTITION}{quote(name, safe=' ')}")
        (archive / "README.md").write_text(README, encoding="utf-8")
    except OSError as error:
        raise DataError(f"{archive}: cannot be written ({error.strerror or error})") from error
    return len(rows)


def read_files(archive: Path, name: str) -> Iterator[ArchivedFile]:
    """The files of one session, each checked against its hash.

    Raises: DataError (no such session, damaged, a path that leads out of the folder); UsageError (no pyarrow).
    """
    path = archive / "files" / f"{PARTITION}{quote(name, safe=' ')}" / PART
    pa, pq = arrow(), parquet()
    try:
        with pq.ParquetFile(path) as file:
            for batch in file.iter_batches(batch_size=16):
                for row in batch.to_pylist():
                    yield _checked(row, path)
    except DataError:
        raise
    except (pa.ArrowException, OSError, KeyError, ValueError) as problem:
        raise DataError(f"{path}: cannot be read ({first_line(problem)})") from None


def _checked(row: dict[str, Any], where: Path) -> ArchivedFile:
    if not all(
        isinstance(row[name], kind) for name, kind in (("path", str), ("sha256", str), ("content", bytes))
    ):
        raise DataError(f"{where}: a file in it has no path, no hash or no content; the archive is damaged")
    if _leads_out(row["path"]):
        raise DataError(f"{where}: it holds the path {row['path']!r}, which leads out of a session's folder")
    if hashlib.sha256(row["content"]).hexdigest() != row["sha256"]:
        raise DataError(f"{where}: {row['path']} is damaged; its SHA-256 is not the one that was kept")
    return ArchivedFile(row["path"], row["content"])


def _leads_out(path: str) -> bool:
    """Whether any system reads it as a place outside. (What a system does not take in a name is not looked at here.)"""
    windows = PureWindowsPath(path)
    return bool(windows.anchor) or ".." in windows.parts or not PurePosixPath(path).parts or "\0" in path


def _write_files(path: Path, files: Iterable[ArchivedFile]) -> None:
    with _writer(path, FILE_COLUMNS) as write:
        for file in files:
            if _leads_out(file.path):
                raise UsageError(
                    f"{file.path!r}: the archive could not bring this file back on every system; rename it first"
                )
            digest = hashlib.sha256(file.content).hexdigest()
            write([[file.path], [digest], [file.content]])


def _write_samples(path: Path, pulls: Iterable[ArchivedPull]) -> list[ArchivedPull]:
    """Write each pull's samples as a group of rows; returns the pulls without their curves."""
    from dataclasses import replace

    written = []
    pa = arrow()
    with _writer(path, (("run", "string", ""), *SAMPLE_COLUMNS)) as write:
        for pull in pulls:
            if pull.curve is not None:
                zero_n = 0.0 if pull.summary is None else pull.summary.zero.load_n
                columns = sample_columns(pull.curve, zero_n)
                write([pa.array([pull.run] * len(pull.curve.time_s), pa.string()), *columns])
            written.append(replace(pull, curve=None))
    return written


@contextmanager
def _writer(path: Path, columns: tuple[tuple[str, str, str], ...]) -> Iterator[Any]:
    """A function that adds one group of rows to a Parquet file."""
    schema = schema_of(columns)
    with parquet().ParquetWriter(path, schema, compression=COMPRESSION) as writer:
        yield lambda arrays: writer.write_table(arrow().table(arrays, schema=schema))


def _row(pull: ArchivedPull, same: dict[str, Any]) -> dict[str, Any]:
    summary = {} if pull.summary is None else summary_row(pull.summary)
    return {
        **summary,
        **same,
        "run": pull.run,
        "specimen": pull.specimen,
        "specimen_group": pull.group,
        "pull_order": pull.order,
        "mass_kg": pull.mass_kg,
        "notes": pull.notes,
        "problem": pull.problem,
    }


def _put(new: Path, place: Path) -> None:
    """Move a finished partition into its place; an older one leaves only then."""
    place.parent.mkdir(parents=True, exist_ok=True)
    if place.exists():
        old = new.with_name(f"old-{new.name}")
        place.rename(old)
        new.rename(place)
        shutil.rmtree(old)
    else:
        new.rename(place)
