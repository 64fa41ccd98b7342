"""Many sessions as one Parquet data set, one partition each, and back again.

    ARCHIVE/README.md
    ARCHIVE/pulls/session=NAME/part-0.parquet      one row per pull: who, what, its summary
    ARCHIVE/samples/session=NAME/part-0.parquet    one row per sample: time, load above zero, counts
    ARCHIVE/files/session=NAME/part-0.parquet      one row per file of the folder, with its bytes and SHA-256

Any program that knows partitioned Parquet reads the first two as they are. The third brings every session back as it
was, byte for byte, so that an archive is also a backup.

A session is replaced in one step: its new tables are written aside and forced to the disk, one rename to `.ready-NAME`
makes them the ones that hold, and then each takes the place of the old one. Whatever stops that half-way, `.ready-NAME`
says so: whoever opens the archive next, to read or to write, goes by it.
"""

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any, Final
from urllib.parse import quote, unquote

from breakyard.curve import LoadCurve
from breakyard.disk.alone import alone_with
from breakyard.disk.atomic import DRAFT, make_folder, sync_folder, write_atomically
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
READY: Final = ".ready-"
"""Beginning of the name of a folder with new tables that hold, but are not all in their places yet."""

PULL_COLUMNS: Final = (
    ("specimen", "string", ""),
    ("specimen_group", "string", ""),
    ("pull_order", "int64", ""),
    ("mass_kg", "float64", "kg"),
    ("notes", "string", ""),
    ("own_columns_json", "string", ""),
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
  averaged as if they were loads. `summary_json` holds everything that is known of the pull, `own_columns_json` people's
  own columns of the table of specimens (DuckDB: `own_columns_json->>'material'`).
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
    own: Mapping[str, str] = field(default_factory=dict)
    """People's own columns of the table of specimens."""


@dataclass(frozen=True, slots=True)
class ArchivedFile:
    """A file of the session's folder; `path` is relative, with slashes."""

    path: str
    content: bytes


def is_archive(folder: Path) -> bool:
    """Whether a folder is an archive."""
    return (folder / "files").is_dir() or any(folder.glob(f"{READY}*"))


def sessions_in(archive: Path) -> tuple[str, ...]:
    """Names of the sessions in an archive."""
    found = {
        path.name.removeprefix(PARTITION)
        for path in (archive / "files").glob(f"{PARTITION}*")
        if (path / PART).is_file()
    }
    found |= {path.name.removeprefix(READY) for path in archive.glob(f"{READY}*")}
    return tuple(sorted(unquote(name) for name in found))


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
        make_folder(archive)
        with alone_with(archive):
            _tidy(archive)
            with _aside(archive) as fresh:
                _write_files(fresh / _file_of("files"), files)
                rows = [_row(pull, same) for pull in _write_samples(fresh / _file_of("samples"), pulls)]
                with _writer(fresh / _file_of("pulls"), PULL_COLUMNS + SUMMARY_COLUMNS) as write:
                    write.write_table(arrow().Table.from_pylist(rows, schema=write.schema))
                sync_folder(fresh)
                ready = archive / f"{READY}{_quoted(name)}"
                os.rename(fresh, ready)
            sync_folder(archive)
            _take(archive, ready)
        write_atomically(archive / "README.md", README.encode())
    except OSError as error:
        raise DataError(f"{archive}: cannot be written ({error.strerror or error})") from error
    return len(rows)


def _quoted(name: str) -> str:
    return quote(name, safe=" ")


def _file_of(table: str) -> str:
    return f"{table}.parquet"


@contextmanager
def _aside(archive: Path) -> Iterator[Path]:
    """A folder for new tables, removed at the end unless it was renamed."""
    fresh = Path(tempfile.mkdtemp(dir=archive, prefix=DRAFT))
    try:
        os.chmod(fresh, (archive.stat().st_mode & 0o777) | 0o700)
        yield fresh
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _take(archive: Path, ready: Path) -> None:
    """Put new tables into the places of the old; to be repeated if it was stopped. Raises: OSError."""
    for table in TABLES:
        new = ready / _file_of(table)
        place = archive / table / f"{PARTITION}{ready.name.removeprefix(READY)}" / PART
        if new.exists():
            make_folder(place.parent)
            os.replace(new, place)
            sync_folder(place.parent)
    sync_folder(ready)
    ready.rmdir()


def _tidy(archive: Path) -> None:
    """Finish what was stopped once it held, and remove what was stopped before. Raises: OSError."""
    for path in archive.glob(f"{READY}*"):
        _take(archive, path)
    for path in archive.glob(f"{DRAFT}*"):
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)


def _files_table(archive: Path, name: str) -> Path:
    """The table of a session's files that holds."""
    ready = archive / f"{READY}{_quoted(name)}" / _file_of("files")
    return ready if ready.exists() else archive / "files" / f"{PARTITION}{_quoted(name)}" / PART


def read_files(archive: Path, name: str) -> Iterator[ArchivedFile]:
    """The files of one session, each checked against its hash.

    Raises: DataError (no such session, damaged, a path that leads out of the folder); UsageError (no pyarrow).
    """
    pa, pq = arrow(), parquet()
    with suppress(OSError, DataError), alone_with(archive):
        _tidy(archive)  # what cannot be written is read as it lies
    path = _files_table(archive, name)
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
            columns = [[file.path], [digest], [file.content]]
            write.write_table(arrow().table(columns, schema=write.schema))


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
                names = pa.array([pull.run] * len(pull.curve.time_s), pa.string())
                write.write_table(pa.table([names, *columns], schema=write.schema))
            written.append(replace(pull, curve=None))
    return written


@contextmanager
def _writer(path: Path, columns: tuple[tuple[str, str, str], ...]) -> Iterator[Any]:
    """A writer of one Parquet file, which is on the disk at the end."""
    schema = schema_of(columns)
    with path.open("wb") as file:
        with parquet().ParquetWriter(file, schema, compression=COMPRESSION) as writer:
            yield writer
        file.flush()
        os.fsync(file.fileno())


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
        "own_columns_json": json.dumps(dict(pull.own), ensure_ascii=False),
        "problem": pull.problem,
    }
