"""runs/NAME.toml: what people add to a run, and how an imported recording was read.

The raw records stay as they are; everything here may be changed at any time.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from breakyard.errors import DataError, UsageError
from breakyard.formats.recording import CsvOptions
from breakyard.session.files.keys import NOTES_KEYS, explained, refuse_slips
from breakyard.session.files.layout import as_on_disk
from breakyard.session.files.toml_text import read_toml, take, write_toml

_REMARKS: Final = (
    "# Notes on this recording. Remove the # of a line to use it; FILES.txt explains the keys.\n"
)


@dataclass(frozen=True, slots=True)
class Imported:
    """How an imported recording was read; its original lies beside the notes as NAME.csv.

    `sha256` is that of the original, in hexadecimal. `original_name` is what the file was called.
    `accuracy` is the instrument's relative standard uncertainty, if stated.
    """

    sha256: str
    options: CsvOptions
    original_name: str = ""
    accuracy: float | None = None


@dataclass(frozen=True, slots=True)
class RunNotes:
    """What people say of one run. `more` holds everything else that they wrote, and is kept."""

    specimen: str | None = None
    notes: str = ""
    photos: tuple[str, ...] = ()
    imported: Imported | None = None
    more: Mapping[str, Any] = field(default_factory=dict)


def read_notes(path: Path) -> RunNotes:
    """Read a run's notes; empty ones where there is no file. Raises: DataError."""
    path = as_on_disk(path)
    if not path.exists():
        return RunNotes()
    data = read_toml(path)
    refuse_slips(data, NOTES_KEYS, str(path))
    photos = take(data, "photos", list, path) or []
    if not all(isinstance(photo, str) for photo in photos):
        raise DataError(f'{path}: "photos" must be a list of file names')
    section = take(data, "import", dict, path)
    return RunNotes(
        specimen=take(data, "specimen", str, path),
        notes=take(data, "notes", str, path) or "",
        photos=tuple(photos),
        imported=None if section is None else _imported(dict(section), path),
        more=data,
    )


def _imported(section: dict[str, Any], path: Path) -> Imported:
    sha256 = take(section, "sha256", str, path)
    if sha256 is None:
        raise DataError(f'{path}: [import] has no "sha256" of the original; import the recording again')
    accuracy = take(section, "accuracy", (float, int), path)
    original_name = take(section, "original_name", str, path) or ""
    try:
        options = CsvOptions.from_dict(section)
    except (UsageError, ValueError) as error:
        raise DataError(f"{path}: [import]: {error}") from None
    return Imported(sha256, options, original_name, None if accuracy is None else float(accuracy))


def write_notes(path: Path, notes: RunNotes) -> None:
    """Write a run's notes. Raises: DataError."""
    section = None
    if notes.imported is not None:
        section = {
            "original_name": notes.imported.original_name,
            "sha256": notes.imported.sha256,
            "accuracy": notes.imported.accuracy,
            **notes.imported.options.to_dict(),
        }
    values = {
        "specimen": notes.specimen,
        "notes": notes.notes,
        "photos": list(notes.photos),
        **notes.more,
        "import": section,
    }
    said = {key: value for key, value in values.items() if value not in (None, "", [])}
    write_toml(
        as_on_disk(path), values, remarks=_REMARKS + explained(NOTES_KEYS, said), quiet=("notes", "photos")
    )
