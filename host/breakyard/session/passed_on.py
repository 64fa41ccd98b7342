"""What the field page passes on: several runs joined into one .run file, and a table of what was said of them.

The joined file is taken apart into the runs it holds, each with all that the file has of it; what is damaged stays with
the run it was found in.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from breakyard.errors import DataError, UsageError
from breakyard.formats.spreadsheet import as_typed
from breakyard.session.files.layout import run_name, safe_name
from breakyard.session.files.notes import RunNotes
from breakyard.session.pulls import PURPOSE, WEIGHING_PURPOSE
from breakyard.session.session import Session
from breakyard.wire.bulk import decode
from breakyard.wire.collect import collect
from breakyard.wire.file_head import file_head
from breakyard.wire.frame import frame

COLUMNS: Final = ("serial", "run", "specimen", "outcome", "note", "recorded")
"""Of the table; host/page/share.mjs writes it, and "purpose" behind them."""

LARGEST_TABLE: Final = 1 << 20


@dataclass(frozen=True, slots=True)
class PassedOn:
    """One run out of a joined file. `serial` is "" where the record that tells it is lost."""

    serial: str
    number: int
    data: bytes


def is_table(path: Path) -> bool:
    """Whether a file is the field page's table."""
    try:
        with path.open("rb") as file:
            return file.read(200).decode("utf-8-sig", "replace").startswith(",".join(COLUMNS))
    except OSError:
        return False


def take_apart(data: bytes, where: str) -> tuple[PassedOn, ...]:
    """The runs of a joined file, in order of first appearance. Raises: DataError if it holds none."""
    decoded = decode(data)
    runs = collect(decoded).runs
    if not runs:
        raise DataError(f"{where}: there is no run in this file; is it one that the field page passed on?")
    if len(runs) == 1:
        (only,) = runs
        return (PassedOn(_serial(only.identity), only.number, data),)
    return tuple(
        PassedOn(
            _serial(run.identity),
            run.number,
            file_head()
            + b"".join(frame(decoded.raw(int(position))) for position in run.positions)
            + b"".join(data[piece.offset : piece.offset + piece.length] for piece in run.damaged),
        )
        for run in runs
    )


def _serial(identity: object) -> str:
    serial = getattr(identity, "serial", b"")
    return bytes(serial).hex()


def read_table(path: Path) -> dict[tuple[str, int], RunNotes]:
    """What was said of each run, by serial number and run. Raises: DataError."""
    try:
        if path.stat().st_size > LARGEST_TABLE:
            raise DataError(f"{path}: a table of pulls is not that long; is it another file?")
        text = path.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise DataError(f"{path}: cannot be read ({error})") from error
    found = {}
    for line, row in enumerate(csv.DictReader(io.StringIO(text)), start=2):
        number = row.get("run") or ""
        if not number.isdecimal() or len(number) > 5:
            raise DataError(f'{path}, line {line}: "run" is the number of a run, not "{number}"')
        words = {name: as_typed(row.get(name) or "") for name in ("specimen", "outcome", "note")}
        more = {"outcome": words["outcome"]} if words["outcome"] else {}
        if row.get("purpose") == WEIGHING_PURPOSE:
            more[PURPOSE] = WEIGHING_PURPOSE
        found[(row.get("serial") or "", int(number))] = RunNotes(
            specimen=words["specimen"] or None, notes=words["note"], more=more
        )
    return found


@dataclass(frozen=True, slots=True)
class Joined:
    """One run that is in the session now. `new` is False if it was there already, byte for byte."""

    path: Path
    specimen: str
    new: bool


def join(
    session: Session, runs: Sequence[PassedOn], said: Mapping[tuple[str, int], RunNotes]
) -> tuple[Joined, ...]:
    """Keep the runs in the session, each with what was said of it; one that is there already is left as it is.

    Raises: DataError.
    """
    present = {_bare(run.path.read_bytes()): run.path for run in session.runs() if run.path.suffix == ".run"}
    joined = []
    for run in runs:
        notes = said.get((run.serial, run.number), RunNotes())
        bare = _bare(run.data)
        if bare in present:
            joined.append(Joined(present[bare], notes.specimen or "", new=False))
            continue
        name = _free_name(session, run, notes)
        path = session.add_run(name, run.data, notes)
        present[bare] = path
        joined.append(Joined(path, notes.specimen or "", new=True))
    return tuple(joined)


def _bare(data: bytes) -> bytes:
    """A run without the record that names the file: whoever fetched it, the rest is the same."""
    return data.removeprefix(file_head())


def _free_name(session: Session, run: PassedOn, notes: RunNotes) -> str:
    name = run_name(bytes.fromhex(run.serial or "00000000"), run.number)
    if notes.specimen:
        with suppress(UsageError):  # an id that no file can be called
            name = safe_name(notes.specimen)
    number, candidate = 2, name
    while session.layout.run_file(candidate).exists():
        candidate, number = f"{name}-{number}", number + 1
    return candidate
