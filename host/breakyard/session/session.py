"""One session folder as a value with a few verbs; each verb is one of the modules beside this one."""

import json
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from breakyard.disk.alone import alone_with
from breakyard.disk.atomic import DRAFT, make_folder, write_atomically, write_once
from breakyard.errors import DataError, UsageError
from breakyard.formats.recording import Recording
from breakyard.session.files import calibrations, run_files
from breakyard.session.files.info import SessionInfo, new_info_text, read_info, write_info
from breakyard.session.files.keys import files_text
from breakyard.session.files.layout import FILES_FILE, Layout, find_root
from breakyard.session.files.notes import RunNotes, read_notes, write_notes
from breakyard.session.files.run_files import RunFile
from breakyard.session.files.specimens import Specimen, read_specimens, specimens_text, write_specimens
from breakyard.session.options import ReadOptions
from breakyard.session.pulls import Pull, pulls_of
from breakyard.shown import Form, Mode, Picture, View

if TYPE_CHECKING:
    import pandas as pd

    from breakyard.calibration import Calibration
    from breakyard.comparison import Comparison, Quantity
    from breakyard.converter import StepResponse
    from breakyard.curve import LoadCurve
    from breakyard.pull.results import Summary
    from breakyard.session.reading import PullResult


def create_session(root: Path, info: SessionInfo, specimens: Iterable[Specimen] = ()) -> "Session":
    """Make a new session folder; an existing empty folder will do, and one where this was begun and stopped.

    Its texts explain themselves: every key is there, those that say nothing yet as remarks.
    Raises: UsageError if the folder holds anything else; DataError if the disk refuses; UnitError.
    """
    layout = Layout(root)
    # A byte-order mark tells spreadsheets that the letters are UTF-8.
    table = specimens_text(tuple(specimens)).encode("utf-8-sig")
    text = new_info_text(info)  # before anything is made: a wrong unit leaves nothing behind
    try:
        if root.exists() and not (root.is_dir() and _only_begun(layout, table)):
            raise UsageError(f"{root}: this is not an empty folder; choose a new one for the session")
        for folder in (layout.calibrations, layout.runs, layout.results):
            make_folder(folder)
    except OSError as error:
        raise DataError(f"{root}: cannot be made ({error.strerror or error})") from error
    write_once(layout.specimens_file, table)
    write_atomically(layout.root / FILES_FILE, files_text().encode())
    # Last: what has it is a session.
    write_atomically(layout.session_file, text.encode())
    return Session(layout, info)


def _only_begun(layout: Layout, table: bytes) -> bool:
    """Whether a folder holds no more than a session that was being made when something stopped it."""
    folders = (layout.calibrations, layout.runs, layout.results)
    for path in layout.root.iterdir():
        if path in folders and path.is_dir():
            begun = not any(path.iterdir())
        elif path == layout.specimens_file:
            begun = path.read_bytes() in (b"", table)
        elif path.name == FILES_FILE:
            begun = True
        else:
            begun = path.name.startswith(DRAFT)
        if not begun:
            return False
    return True


def open_session(path: "str | PathLike[str]") -> "Session":
    """Open the session that a path lies in: its folder, or anything inside it.

    Raises: UsageError if there is none; DataError, UnitError if session.toml is broken.

    Example:
        >>> import breakyard as by
        >>> by.open_session("demo-session").info.unit
        'kgf'
    """
    session = find_session(Path(path))
    if session is None:
        raise UsageError(
            f"{path}: no session here (no session.toml in this folder or above it); make one with: breakyard new FOLDER"
        )
    return session


def find_session(path: Path) -> "Session | None":
    """The session that a path lies in, or None. Raises: DataError, UnitError if session.toml is broken."""
    root = find_root(path)
    if root is None:
        return None
    layout = Layout(root)
    return Session(layout, read_info(layout.session_file))


@dataclass(frozen=True, slots=True, repr=False)
class Session:
    """A session folder. `info` is what session.toml said when it was opened; the rest is read when asked for.

    Results are read as the command line reads them: with the calibration and the step response in force, and kept in
    the session's results/ folder as long as nothing that they were made from changes.

    Example:
        >>> import breakyard as by
        >>> [pull.group for pull in by.open_session("demo-session").pulls][:3]
        ['screwed', 'bonded', 'riveted']
    """

    layout: Layout
    info: SessionInfo

    def __repr__(self) -> str:
        date = "" if self.info.date is None else self.info.date.isoformat()
        said = ", ".join(part for part in (self.info.place, date) if part)
        number = len(run_files.run_paths(self.layout))
        return f"Session {self.root.name!r}: {f'{said}, ' if said else ''}{number} runs"

    def _repr_html_(self) -> str:
        from breakyard.report.notebook import table_html

        rows = [(pull.name, pull.specimen, pull.group, pull.notes) for pull in self.pulls]
        return table_html(("pull", "specimen", "group", "notes"), rows, title=repr(self))

    def __len__(self) -> int:
        return len(self.pulls)

    def __bool__(self) -> bool:
        """A session without pulls is a session all the same."""
        return True

    def __iter__(self) -> Iterator[Pull]:
        return iter(self.pulls)

    def __contains__(self, name: object) -> bool:
        return any(pull == name or pull.is_called(name) for pull in self.pulls)

    def __getitem__(self, name: "str | int") -> Pull:
        """One pull: session["S1"] by its specimen or recording, session[0] by its place. Raises: as `pull`."""
        return self.pulls[name] if isinstance(name, int) else self.pull(name)

    @property
    def root(self) -> Path:
        """The folder."""
        return self.layout.root

    def runs(self) -> tuple[RunFile, ...]:
        """All runs by name. Raises: DataError (broken notes)."""
        return run_files.list_runs(self.layout)

    def unfinished(self) -> tuple[Path, ...]:
        """Files with the beginning of a run that was not fetched to its end; they can be read as runs are."""
        return run_files.unfinished(self.layout)

    @property
    def pulls(self) -> tuple[Pull, ...]:
        """All pulls, in the order of the specimens. Raises: DataError."""
        return pulls_of(self)

    def pull(self, name: str) -> Pull:
        """One pull by its specimen or the name of its recording. Raises: UsageError if it is not there."""
        pulls = self.pulls
        for pull in pulls:
            if pull.is_called(name):
                return pull
        names = ", ".join(pull.name for pull in pulls) or "none yet"
        raise UsageError(f'{self.layout.runs}: no pull "{name}"; there is {names}')

    def curve(self, name: str) -> "LoadCurve":
        """The load curve of one pull, with the calibration and the step response in force. Raises: BreakyardError."""
        from breakyard.session.recordings import load_curve

        return load_curve(self.pull(name))

    def summary(self, name: str) -> "Summary":
        """The summary of one pull. Raises: UsageError (no such pull), DataError (it cannot be read)."""
        return self.pull(name).summary()

    def calibration(self, name: str | None = None) -> "Calibration":
        """The calibration of that name, else the one in force. Raises: UsageError, CalibrationError, DataError."""
        from breakyard.session.in_force import read_calibration_file

        return read_calibration_file(self.calibration_file(name))

    def results(
        self,
        *,
        calibration: "str | PathLike[str] | Calibration | None" = None,
        accuracy_percent: float | None = None,
        coverage: float = 0.95,
        misalignment_deg: float | None = None,
        temperature_c: float | None = None,
        response: "str | Path | StepResponse | None" = None,
        pull_speed_m_per_s: float | None = None,
        processes: int | None = 1,
    ) -> "tuple[PullResult, ...]":
        """Every pull with its summary, or with the reason why there is none.

        Args:
            calibration: another than the one in force: a file, a name, or the calibration itself.
            accuracy_percent: of another instrument, in percent of the load.
            coverage: of the intervals, from 0.5 to 0.999.
            misalignment_deg: largest angle between line of pull and cell that you vouch for; None: assumed wide.
            temperature_c: of the cell during the pulls.
            response: another step response than the one in force; "assumed": none.
            pull_speed_m_per_s: from which extensions follow where none was recorded.
            processes: how many may work at once; None: as many as the computer has, where that pays.

        Raises: DataError (notes, table of specimens, the disk refuses).
        """
        from breakyard.session.reading import read_pulls

        options = ReadOptions(
            calibration=Path(calibration) if isinstance(calibration, str | PathLike) else calibration,
            accuracy_percent=accuracy_percent,
            coverage=coverage,
            misalignment_deg=misalignment_deg,
            temperature_c=temperature_c,
            response=response,
            pull_speed_m_per_s=pull_speed_m_per_s,
        )
        return read_pulls(self.pulls, options, processes=processes)

    def summaries(self) -> "tuple[Summary, ...]":
        """The summary of every pull that can be read; the others are named in a warning.

        `results` has both, and takes options. Raises: DataError.
        """
        found = []
        for result in self.results():
            if result.summary is None:
                warnings.warn(f"{result.pull.name} is left out: {result.problem}", stacklevel=2)
            else:
                found.append(result.summary)
        return tuple(found)

    def table(self, unit: str | None = None) -> "pd.DataFrame":
        """One row per pull, those that cannot be read with their reason; loads in the unit (peak_kgf ...).

        Args:
            unit: of force; None: the session's.

        Raises: DataError, UnitError.
        """
        from breakyard.session.tables import results_frame

        return results_frame(self.results(), unit or self.info.unit)

    def compare(
        self,
        *,
        of: "Quantity" = "strength",
        per: str | None = None,
        reference: str | None = None,
        matters: float = 0.10,
        coverage: float = 0.95,
    ) -> "Comparison":
        """Compare the session's groups; as `breakyard.compare`. Raises: DataError, UsageError."""
        from breakyard.session.comparing import compare_results

        return compare_results(
            self.results(coverage=coverage),
            of=of,
            per=per,
            reference=reference,
            matters=matters,
            coverage=coverage,
        )

    def plot(
        self,
        name: str | Sequence[str] | None = None,
        *,
        groups: Sequence[str] | None = None,
        view: View = "pull",
        unit: str | None = None,
        mode: Mode = "light",
        form: Form = "wide",
    ) -> Picture:
        """Draw all pulls over one another, or one pull, or the moment of its break. Raises: BreakyardError.

        Args:
            name: of one pull, or of several that are drawn over one another; None: all.
            groups: only pulls of these, where all are drawn.
            view: of one pull: "pull" or "break".
            unit: of force; None: the session's.
        """
        unit = unit or self.info.unit
        if not isinstance(name, str):
            from breakyard.session.reporting import session_picture

            results = self.results()
            if name is not None:
                chosen = {self.pull(one).path for one in name}
                results = tuple(result for result in results if result.pull.path in chosen)
            if groups is not None:
                known = {result.pull.group for result in results}
                if unknown := [group for group in groups if group not in known]:
                    there = ", ".join(sorted(group for group in known if group))
                    raise UsageError(
                        f'{self.layout.specimens_file}: no group "{unknown[0]}"; there is {there}'
                    )
                results = tuple(result for result in results if result.pull.group in groups)
            return session_picture(results, ReadOptions(), unit, mode=mode, form=form)
        return self.pull(name).plot(view=view, unit=unit, mode=mode, form=form)

    def archive(self, to: "str | PathLike[str]") -> int:
        """Put the session into an archive of Parquet files, with every file byte for byte; returns how many pulls.

        Again, to replace it there. `breakyard import ARCHIVE` brings the folder back. Needs pyarrow (the extra
        "parquet"). Raises: DataError, UsageError.
        """
        from breakyard.session.archiving import add_to_archive

        return add_to_archive(Path(to), self.results(), ReadOptions())[self.root.resolve().name]

    def report(
        self, path: "str | PathLike[str] | None" = None, *, unit: str | None = None, matters: float = 0.10
    ) -> Path:
        """Write the page that tells the session; returns its path.

        Args:
            path: of the page; None: results/report.html.
            unit: of force; None: the session's.
            matters: the relative difference worth knowing about.

        Raises: DataError (the disk refuses), UnitError.
        """
        from breakyard.report.page.page import make_page
        from breakyard.session.reporting import gather

        page = Path(path) if path is not None else self.layout.result_file("report.html")
        content = gather(self, self.results(), ReadOptions(), unit or self.info.unit, matters=matters)
        page.parent.mkdir(parents=True, exist_ok=True)
        write_atomically(page, make_page(content).encode())
        return page

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
        if notes is not None:
            # First: whatever stops this, a run does not forget its specimen.
            run_files.refuse_taken(self.layout, name, data)
            self.write_notes(name, notes)
        return run_files.add_run(self.layout, name, data)

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

    def change_notes(self, name: str, change: Callable[[RunNotes], RunNotes]) -> None:
        """Replace what people added to a run by what `change` makes of it; nobody else does meanwhile.

        Raises: DataError, UsageError.
        """
        path = self.layout.notes_file(name)
        with alone_with(path):
            write_notes(path, change(read_notes(path)))

    def specimens(self) -> tuple[Specimen, ...]:
        """The table of specimens. Raises: DataError, UnitError."""
        return read_specimens(self.layout.specimens_file)

    def change_specimens(self, change: Callable[[tuple[Specimen, ...]], Iterable[Specimen]]) -> None:
        """Replace the table of specimens by what `change` makes of it; nobody else does meanwhile.

        Raises: DataError, UnitError, FileBusy.
        """
        path = self.layout.specimens_file
        with alone_with(path):
            write_specimens(path, tuple(change(read_specimens(path))))

    def write_specimens(self, specimens: Iterable[Specimen]) -> None:
        """Replace the table of specimens, whatever it holds. Raises: DataError, FileBusy."""
        self.change_specimens(lambda _: specimens)

    def calibrations(self) -> tuple[Path, ...]:
        """All calibration files by name."""
        return calibrations.list_calibrations(self.layout)

    def add_calibration(self, name: str, calibration: "str | Calibration") -> Path:
        """Keep a calibration, or the text of its document. Raises: DataError (name taken), UsageError (name)."""
        if not isinstance(calibration, str):
            calibration = json.dumps(calibration.to_json(), indent=1, ensure_ascii=False) + "\n"
        return calibrations.add_calibration(self.layout, name, calibration)

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
