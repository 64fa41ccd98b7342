"""runs/: raw records and originals, written once, and listed by name."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from breakyard.disk.atomic import move_once, write_once
from breakyard.errors import DataError
from breakyard.formats.read_csv import parse_csv
from breakyard.formats.recording import Recording
from breakyard.session.files.layout import PART, Layout, as_on_disk, composed, legible, safe_name
from breakyard.session.files.notes import Imported, RunNotes, read_notes, write_notes


@dataclass(frozen=True, slots=True)
class RunFile:
    """One run in a session: raw records ("run"), or another instrument's recording ("csv")."""

    name: str
    kind: Literal["run", "csv"]
    path: Path
    notes: RunNotes
    problem: str = ""
    """Why its notes cannot be read; they are then empty here."""


def run_paths(layout: Layout) -> tuple[Path, ...]:
    """The files of all recordings, unread."""
    if not layout.runs.is_dir():
        return ()
    found = (path for path in layout.runs.iterdir() if path.suffix in {".run", ".csv"} and path.is_file())
    return tuple(path for path in found if not path.name.startswith("."))


def unfinished(layout: Layout) -> tuple[Path, ...]:
    """Files with the beginning of a run, as long as the rest of it was not fetched."""
    if not layout.runs.is_dir():
        return ()
    found = (path for path in layout.runs.glob(f"*{PART}") if not path.name.startswith("."))
    return tuple(
        sorted(path for path in found if path.is_file() and path.stat().st_size and not has_its_name(path))
    )


def has_its_name(part: Path) -> bool:
    """Whether it is the same as the run beside it: the command that gave it that name was stopped then."""
    run = part.with_suffix(".run")
    return (
        run.exists() and run.stat().st_size == part.stat().st_size and run.read_bytes() == part.read_bytes()
    )


def list_runs(layout: Layout) -> tuple[RunFile, ...]:
    """All runs by name, numbers in names sorted as numbers; one whose notes are broken says so.

    Raises: DataError (two of one name).
    """
    found: list[RunFile] = []
    for path in run_paths(layout):
        name, problem = legible(composed(path.stem)), ""
        try:
            notes = read_notes(path.with_suffix(".toml"))
        except DataError as error:  # one broken file of notes hides no other run
            notes, problem = RunNotes(), str(error)
        if path.suffix == ".run":
            found.append(RunFile(name, "run", path, notes, problem))
        elif problem or notes.imported is not None:
            found.append(RunFile(name, "csv", path, notes, problem))
    names = [one.name for one in found]
    for name in names:
        if names.count(name) > 1:
            raise DataError(
                f"{layout.runs}: {name}.run and {name}.csv have the same name; rename one of them"
            )
    return tuple(sorted(found, key=lambda one: _natural(one.name)))


def _natural(name: str) -> tuple[tuple[int, int, str], ...]:
    parts: list[tuple[int, int, str]] = []
    word = ""
    for at, character in enumerate(name):
        word += character
        if at + 1 == len(name) or character.isdecimal() != name[at + 1].isdecimal():
            parts.append((0, int(word), "") if word.isdecimal() else (1, 0, word.casefold()))
            word = ""
    return (*parts, (2, 0, name))


def add_run(layout: Layout, name: str, data: bytes) -> Path:
    """Keep raw records for good; giving the same again changes nothing.

    Raises: DataError if the name is taken by other content; UsageError (name).
    """
    path = layout.run_file(name)
    _refuse_other_kind(layout.original_file(name), name)
    write_once(path, data)
    return path


def finish_run(layout: Layout, name: str, part: Path) -> Path:
    """Give a file of raw records that is complete its final name. Raises: as `add_run`."""
    path = layout.run_file(name)
    _refuse_other_kind(layout.original_file(name), name)
    move_once(part, path)
    return path


def refuse_taken(layout: Layout, name: str, data: bytes) -> None:
    """Raises: DataError if the name is taken by other raw records or another recording; UsageError (name)."""
    path = as_on_disk(layout.run_file(name))
    if path.exists() and read_bytes(path) not in (b"", data):
        raise DataError(
            f"{path}: a file with other content is there and is never overwritten; choose another name"
        )
    _refuse_other_kind(layout.original_file(name), name)


def add_recording(
    layout: Layout,
    name: str,
    data: bytes,
    recording: Recording,
    *,
    original_name: str = "",
    specimen: str | None = None,
    notes: str = "",
    accuracy: float | None = None,
    more: Mapping[str, Any] | None = None,
) -> Path:
    """Keep an imported recording: its original as it is, and in the notes how it was read.

    Raises: DataError if the name is taken by other content; UsageError (name).
    """
    path = layout.original_file(name)
    _refuse_other_kind(layout.run_file(name), name)
    # Read as it will be read from now on, before anything is kept.
    options = recording.layout.as_options()
    parse_csv(data, name=name, options=options)
    imported = Imported(hashlib.sha256(data).hexdigest(), options, original_name, accuracy)
    new = write_once(path, data)
    before = RunNotes() if new else read_notes(layout.notes_file(name))
    write_notes(
        layout.notes_file(name),
        replace(
            before,
            specimen=specimen if specimen is not None else before.specimen,
            notes=notes or before.notes,
            imported=imported,
            more={**before.more, **(more or {})},
        ),
    )
    return path


def read_recording(layout: Layout, name: str) -> Recording:
    """Read an imported recording again from its original, in the way its notes say.

    Raises: DataError if there is none, or if the original is no longer what was imported.
    """
    path = layout.original_file(name)
    imported = read_notes(layout.notes_file(name)).imported
    if imported is None:
        raise DataError(f"{path}: its notes do not say how it was read; import it again")
    data = read_bytes(path)
    if hashlib.sha256(data).hexdigest() != imported.sha256:
        raise DataError(
            f"{path}: the original has changed since it was imported; restore it, or import it again"
        )
    return parse_csv(data, name=safe_name(name), options=imported.options, where=path.name)


def read_bytes(path: Path) -> bytes:
    """The bytes of a file. Raises: DataError if it cannot be read."""
    try:
        return as_on_disk(path).read_bytes()
    except OSError as error:
        raise DataError(f"{path}: cannot be read ({error.strerror or error})") from error


def _refuse_other_kind(path: Path, name: str) -> None:
    if as_on_disk(path).exists():
        raise DataError(f'{path}: the name "{name}" is taken; choose another name')
