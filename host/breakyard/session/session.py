"""One session folder as a value with a few verbs; each verb is one of the modules beside this one."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from breakyard.errors import DataError, UsageError
from breakyard.formats.recording import Recording
from breakyard.session.files import calibrations, run_files
from breakyard.session.files.atomic import write_atomically, write_once
from breakyard.session.files.info import SessionInfo, read_info, write_info
from breakyard.session.files.layout import Layout, find_root
from breakyard.session.files.notes import RunNotes, read_notes, write_notes
from breakyard.session.files.run_files import RunFile
from breakyard.session.files.specimens import Specimen, read_specimens, specimens_text, write_specimens
from breakyard.session.pulls import Pull, pulls_of


def create_session(root: Path, info: SessionInfo, specimens: Iterable[Specimen] = ()) -> "Session":
    """Make a new session folder; an existing empty folder will do.

    Raises: UsageError if the folder holds anything; DataError if the disk refuses.
    """
    layout = Layout(root)
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        raise UsageError(f"{root}: this is not an empty folder; choose a new one for the session")
    try:
        for folder in (layout.calibrations, layout.runs, layout.results):
            folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise DataError(f"{root}: cannot be made ({error.strerror or error})") from error
    # A byte-order mark tells spreadsheets that the letters are UTF-8.
    write_once(layout.specimens_file, specimens_text(tuple(specimens)).encode("utf-8-sig"))
    write_info(layout.session_file, info)
    return Session(layout, info)


def open_session(path: Path) -> "Session":
    """Open the session that a path lies in: its folder, or anything inside it.

    Raises: UsageError if there is none; DataError, UnitError if session.toml is broken.
    """
    session = find_session(path)
    if session is None:
        raise UsageError(f"{path}: no session here (no session.toml in this folder or above it)")
    return session


def find_session(path: Path) -> "Session | None":
    """The session that a path lies in, or None. Raises: DataError, UnitError if session.toml is broken."""
    root = find_root(path)
    if root is None:
        return None
    layout = Layout(root)
    return Session(layout, read_info(layout.session_file))


@dataclass(frozen=True, slots=True)
class Session:
    """A session folder. `info` is what session.toml said when it was opened; the rest is read when asked for."""

    layout: Layout
    info: SessionInfo

    @property
    def root(self) -> Path:
        """The folder."""
        return self.layout.root

    def runs(self) -> tuple[RunFile, ...]:
        """All runs by name. Raises: DataError (broken notes)."""
        return run_files.list_runs(self.layout)

    def pulls(self) -> tuple[Pull, ...]:
        """All pulls, in the order of the specimens. Raises: DataError."""
        return pulls_of(self)

    def run(self, name: str) -> RunFile:
        """One run by its name, file name or path. Raises: UsageError if it is not there."""
        wanted = Path(name).name
        found = self.runs()
        for one in found:
            if wanted in (one.name, one.path.name):
                return one
        names = ", ".join(one.name for one in found) or "none yet"
        raise UsageError(f'{self.layout.runs}: no run "{wanted}"; there is {names}')

    def add_run(self, name: str, data: bytes, notes: RunNotes | None = None) -> Path:
        """Keep raw records, with notes if given. Raises: DataError (name taken), UsageError (name)."""
        path = run_files.add_run(self.layout, name, data)
        if notes is not None:
            self.write_notes(name, notes)
        return path

    def add_recording(
        self,
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
        """Keep another instrument's recording. Raises: DataError (name taken), UsageError (name)."""
        return run_files.add_recording(
            self.layout,
            name,
            data,
            recording,
            original_name=original_name,
            specimen=specimen,
            notes=notes,
            accuracy=accuracy,
            more=more,
        )

    def read_run(self, name: str) -> bytes:
        """The raw records of a run. Raises: DataError, UsageError."""
        return run_files.read_bytes(self.layout.run_file(name))

    def read_recording(self, name: str) -> Recording:
        """An imported recording, read again from its original. Raises: DataError."""
        return run_files.read_recording(self.layout, name)

    def notes(self, name: str) -> RunNotes:
        """What people added to a run. Raises: DataError, UsageError."""
        return read_notes(self.layout.notes_file(name))

    def write_notes(self, name: str, notes: RunNotes) -> None:
        """Replace what people added to a run. Raises: DataError, UsageError."""
        write_notes(self.layout.notes_file(name), notes)

    def specimens(self) -> tuple[Specimen, ...]:
        """The table of specimens. Raises: DataError, UnitError."""
        return read_specimens(self.layout.specimens_file)

    def write_specimens(self, specimens: Iterable[Specimen]) -> None:
        """Replace the table of specimens. Raises: DataError."""
        write_specimens(self.layout.specimens_file, specimens)

    def calibrations(self) -> tuple[Path, ...]:
        """All calibration files by name."""
        return calibrations.list_calibrations(self.layout)

    def add_calibration(self, name: str, text: str) -> Path:
        """Keep a calibration. Raises: DataError (name taken), UsageError (name)."""
        return calibrations.add_calibration(self.layout, name, text)

    def calibration_file(self, name: str | None = None) -> Path:
        """The file of the calibration in force: the named one, that of session.toml, or the only one.

        Raises: UsageError.
        """
        return calibrations.choose_calibration(self.layout, name or self.info.calibration)

    def write_result(self, name: str, data: bytes | str) -> Path:
        """Write a derived file, replacing an older one. Raises: DataError, UsageError (name)."""
        path = self.layout.result_file(name)
        write_atomically(path, data.encode() if isinstance(data, str) else data)
        return path

    def write_info(self, info: SessionInfo) -> "Session":
        """Replace session.toml; returns the session with the new one. Raises: DataError, UnitError."""
        write_info(self.layout.session_file, info)
        return Session(self.layout, info)
