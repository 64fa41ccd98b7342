"""checks/: check weighings, one table per logger, made for a spreadsheet.

A session is one outing, so its own table is short. What shows drift are the tables of the same logger in the sessions
beside it; they are read together and never written.
"""

import csv
import io
import math
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from breakyard.calibration.check_weighing import CheckWeighing
from breakyard.disk.alone import alone_with
from breakyard.disk.atomic import write_atomically
from breakyard.errors import DataError
from breakyard.formats.spreadsheet import as_typed, defused
from breakyard.formats.text import unicode_text
from breakyard.session.files.layout import SESSION_FILE, name_from
from breakyard.session.files.specimens import separator_of

FOLDER: Final = "checks"

COLUMNS: Final = (
    "when_utc",
    "hung",
    "known_n",
    "shown_n",
    "difference_n",
    "allowed_n",
    "verdict",
    "zero_counts",
    "loaded_counts",
    "source",
    "logger",
    "calibration",
)


def check_file(folder: Path, logger: str) -> Path:
    """The table of a logger in the folder `checks` of a session (or beside a recording)."""
    return folder / FOLDER / f"{name_from(logger or 'unknown')}.csv"


def add_check(path: Path, check: CheckWeighing) -> tuple[CheckWeighing, ...]:
    """Add a check to a table and return all of it; the same source and calibration replaces its earlier row.

    Raises: DataError (a row cannot be read, the disk refuses).
    """
    with alone_with(path):
        kept = [one for one in read_checks(path) if not _same(one, check)]
        checks = sorted([*kept, check], key=lambda one: one.when_utc_s)
        write_atomically(path, checks_text(checks).encode("utf-8-sig"))
    return tuple(checks)


def read_checks(path: Path) -> tuple[CheckWeighing, ...]:
    """Read a table; no file is an empty table. Raises: DataError with the row."""
    if not path.exists():
        return ()
    try:
        text = unicode_text(path.read_bytes())
    except UnicodeDecodeError:
        raise DataError(f"{path}: this is not a table of checks (no UTF-8 text)") from None
    except OSError as error:
        raise DataError(f"{path}: cannot be read ({error.strerror or error})") from error
    separator = separator_of(next((line for line in text.splitlines() if line.strip()), ""))
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    found: list[CheckWeighing] = []
    try:
        missing = [name for name in COLUMNS if name not in (reader.fieldnames or ())]
        if missing:
            raise DataError(
                f"{path}: no column {missing[0]!r}; the first row must name the columns {', '.join(COLUMNS)}"
            )
        found.extend(_check(row, f"{path}, row {reader.line_num}") for row in reader if any(row.values()))
    except csv.Error as error:
        raise DataError(f"{path}, row {reader.line_num}: {error}; save the table as CSV again") from None
    return tuple(found)


def history(own: Path) -> tuple[tuple[CheckWeighing, ...], tuple[str, ...]]:
    """All checks of a table and of its namesakes in the sessions beside its own, in order of time.

    Returns them with what could not be read, for people. Raises: DataError when the table itself is damaged.
    """
    found = list(read_checks(own))
    root = own.parent.parent
    problems = []
    if (root / SESSION_FILE).is_file():
        for path in sorted(root.parent.glob(f"*/{FOLDER}/{own.name}")):
            beside = path.parent.parent
            if beside == root or not (beside / SESSION_FILE).is_file():
                continue
            try:
                found += read_checks(path)
            except DataError as error:
                problems.append(f"left out: {error}")
    once = {(one.when_utc_s, one.calibration_hash, one.source): one for one in found}
    return tuple(sorted(once.values(), key=lambda one: one.when_utc_s)), tuple(problems)


def checks_text(checks: Iterable[CheckWeighing]) -> str:
    """The table as text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for one in checks:
        writer.writerow(
            [
                datetime.fromtimestamp(one.when_utc_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
                defused(one.text),
                f"{one.known_n:.4f}",
                f"{one.shown_n:.4f}",
                f"{one.difference_n:.4f}",
                f"{one.allowed_n:.4f}",
                "holds" if one.holds else "calibrate again",
                f"{one.zero_counts:.1f}",
                f"{one.loaded_counts:.1f}",
                defused(one.source),
                defused(one.logger),
                one.calibration_hash,
            ]
        )
    return out.getvalue()


def _same(one: CheckWeighing, other: CheckWeighing) -> bool:
    return bool(one.source) and (one.source, one.calibration_hash, int(one.when_utc_s)) == (
        other.source,
        other.calibration_hash,
        int(other.when_utc_s),
    )


def _check(row: Mapping[str, str | None], place: str) -> CheckWeighing:
    def number(name: str) -> float:
        text = (row[name] or "").strip()
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise DataError(f'{place}: {name} "{text}" is not a number')
        return value

    when = (row["when_utc"] or "").strip()
    try:
        moment = datetime.fromisoformat(when.replace("Z", "+00:00"))
    except ValueError:
        raise DataError(f'{place}: "{when}" is not a time like 2026-05-03T08:00:00Z') from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    allowed = number("allowed_n")
    if not allowed > 0.0:
        raise DataError(f"{place}: allowed_n must be above zero")
    return CheckWeighing(
        when_utc_s=moment.timestamp(),
        text=as_typed((row["hung"] or "").strip()),
        known_n=number("known_n"),
        shown_n=number("shown_n"),
        allowed_n=allowed,
        zero_counts=number("zero_counts"),
        loaded_counts=number("loaded_counts"),
        calibration_hash=(row["calibration"] or "").strip(),
        logger=as_typed((row["logger"] or "").strip()),
        source=as_typed((row["source"] or "").strip()),
    )
