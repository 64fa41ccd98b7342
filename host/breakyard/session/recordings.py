"""A recording on disk -> Run or LoadCurve: raw records, or another instrument's table of counts or loads."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from breakyard.calibration import Calibration
from breakyard.curve import Line, LoadCurve, ZeroAt, curve_from_columns, curve_from_run
from breakyard.errors import DataError, UnitError, UsageError
from breakyard.pull.cycles import read_protocol
from breakyard.pull.line import read_line
from breakyard.run import Run, read_runs, run_from_columns
from breakyard.session.conditions import places_of
from breakyard.session.converters import UNKNOWN, check_counts, parse_converter
from breakyard.session.files.layout import PART
from breakyard.session.in_force import load_calibration, load_response

if TYPE_CHECKING:
    from breakyard.converter import StepResponse
    from breakyard.formats.recording import Recording
    from breakyard.session.pulls import Pull
    from breakyard.session.session import Session

RAW = (".run", PART)
"""Endings of files of raw records, whole or not fetched to their end."""
TABLES = (".csv", ".txt", ".tsv")
"""Endings of recordings that are tables of text."""


def load_run(path: Path) -> Run:
    """Read the one run of a run file. Raises: DataError, also when several runs are in it."""
    runs = read_runs(path.read_bytes(), name=path.stem)
    if len(runs) > 1:
        numbers = ", ".join(str(run.number) for run in runs)
        raise DataError(f"{path}: {len(runs)} runs ({numbers}) in one file; keep each in a file of its own")
    return runs[0]


def load_counts(path: Path) -> Run:
    """Read a run file, or another instrument's table of counts. Raises: DataError."""
    if not path.exists():
        raise DataError(f"{path}: there is no such file")
    if path.suffix.lower() in TABLES:
        from breakyard.session.session import find_session

        session = find_session(path)
        recording, _ = _table(path, session)
        if recording.counts is None:
            raise DataError(
                f"{path}: this recording holds loads, not counts; a calibration is made from the converter's counts"
            )
        return _counted(path, session, recording)
    try:
        return load_run(path)
    except DataError as error:
        # The run's name is the file's without its ending; people need the whole.
        raise DataError(
            f"{path.name}: {str(error).removeprefix(f'{path.stem}: ').removeprefix(f'{path}: ')}"
        ) from None


def read_recording(pull: "Pull") -> Run | LoadCurve:
    """Read a recording as it is: counts as a Run, with the step response in force; loads as a LoadCurve.

    Raises: DataError, UnitError.
    """
    if pull.path.suffix.lower() in RAW:
        run = load_run(pull.path)
        return replace(run, response=load_response(pull, run, None))
    recording, accuracy = _recording(pull)
    if recording.counts is not None:
        return _counted(pull.path, pull.session, recording)
    return _of_loads(pull, recording, accuracy)


def _counted(path: Path, session: "Session | None", recording: "Recording") -> Run:
    """Another instrument's counts, with the converter that its notes name. Raises: DataError."""
    assert recording.counts is not None
    named = parse_converter(str(_said(path, session).get(CONVERTER, UNKNOWN)))
    check_counts(named, recording.counts, path.name)
    return run_from_columns(recording.time_s, recording.counts, name=path.stem, converter=named)


def load_curve(
    pull: "Pull",
    calibration: "Path | Calibration | None" = None,
    *,
    accuracy_percent: float | None = None,
    response: "str | Path | StepResponse | None" = None,
) -> LoadCurve:
    """Read a pull's load curve, which carries the calibration and the step response in force.

    A pull that is one of several in its recording gets its own part of the curve.

    Args:
        calibration: a file, a name in the session, or the calibration itself; None: the session's own.
        accuracy_percent: of another instrument, where its notes do not state it.
        response: a file, "assumed", or the response itself; None: what is kept of the logger.

    Raises: BreakyardError of any kind, naming the file.
    """
    return Curves(calibration, accuracy_percent=accuracy_percent, response=response).of(pull)


class Curves:
    """Curves of pulls one after another, as `load_curve` reads them.

    Pulls of one recording that follow each other share one reading of it, and its arrays: a day's recording of twenty
    pulls is read and cut once.
    """

    def __init__(
        self,
        calibration: "Path | Calibration | None" = None,
        *,
        accuracy_percent: float | None = None,
        response: "str | Path | StepResponse | None" = None,
    ) -> None:
        """Take what holds for all of them; see `load_curve`."""
        self._calibration = calibration
        self._accuracy_percent = accuracy_percent
        self._response = response
        self._path: Path | None = None
        self._parts: tuple[LoadCurve, ...] = ()

    def of(self, pull: "Pull") -> LoadCurve:
        """The curve of one pull. Raises: BreakyardError of any kind, naming the file."""
        from breakyard.pull.split import split_pulls

        if pull.problem:
            raise DataError(pull.problem)
        if pull.part is None or pull.path != self._path:
            self._path, self._parts = None, ()
            curve = _whole_curve(pull, self._calibration, self._accuracy_percent, self._response)
            if pull.part is None:
                return curve
            self._path, self._parts = pull.path, split_pulls(curve)
        return self._parts[pull.part - 1]


LINE, LEVER = "line", "lever"

ZERO, ONE_SPECIMEN, CONVERTER, PROTOCOL = "zero", "one_specimen", "converter", "protocol"
"""Keys of a recording's notes that say how it is to be read."""


def said_of(pull: "Pull") -> dict[str, object]:
    """What a person said in the notes about how a recording is to be read. Raises: DataError."""
    return _said(pull.path, pull.session)


def _said(path: Path, session: "Session | None") -> dict[str, object]:
    if session is None or path.parent.resolve() != session.layout.runs.resolve():
        return {}
    more = session.notes(path.stem).more
    said = {key: more[key] for key in (ZERO, ONE_SPECIMEN, CONVERTER, PROTOCOL) if key in more}
    notes = f"{path.stem}.toml"
    if said.get(ZERO, "start") not in get_args(ZeroAt):
        raise DataError(f'{notes}: "{ZERO}" must be instrument, start or end, not {said[ZERO]!r}')
    if not isinstance(said.get(ONE_SPECIMEN, True), bool):
        raise DataError(f'{notes}: "{ONE_SPECIMEN}" must be true or false, not {said[ONE_SPECIMEN]!r}')
    try:
        parse_converter(str(said.get(CONVERTER, UNKNOWN)))
    except UsageError as error:
        raise DataError(f"{notes}: {error}") from None
    if PROTOCOL in said:
        try:
            read_protocol(str(said[PROTOCOL]))
        except (UnitError, UsageError) as error:
            raise DataError(f"{notes}: {error}") from None
    return said


def line_of(pull: "Pull") -> Line | None:
    """What lies between cell and specimen: by the recording's notes, its specimen's columns or session.toml.

    Raises: DataError.
    """
    for table, where in places_of(pull):
        said = table.get(LINE)
        if isinstance(said, Mapping):
            return read_line(said, f"{where}, [{LINE}]")
        if str(table.get(LEVER, "")).strip():  # columns of specimens.csv
            told = {name: table[name] for name in (LEVER, f"{LEVER}_pm") if str(table.get(name, "")).strip()}
            return read_line(told, where)
    return None


def _whole_curve(
    pull: "Pull",
    calibration: "Path | Calibration | None",
    accuracy_percent: float | None,
    response: "str | Path | StepResponse | None",
) -> LoadCurve:
    from breakyard.session.attaching import with_series

    curve = with_series(_as_recorded(pull, calibration, accuracy_percent, response), pull)
    said, line = said_of(pull), line_of(pull)
    if line is not None:
        load = curve.load_n * line.factor
        load.setflags(write=False)
        curve = replace(curve, load_n=load, line=line)
    if not said:
        return curve
    zero: Any = said.get(ZERO)
    return replace(
        curve,
        zero_at=zero,
        one_specimen=bool(said.get(ONE_SPECIMEN, False)),
        protocol=str(said.get(PROTOCOL, "")),
    )


def _as_recorded(
    pull: "Pull",
    calibration: "Path | Calibration | None",
    accuracy_percent: float | None,
    response: "str | Path | StepResponse | None",
) -> LoadCurve:
    if pull.path.suffix.lower() in RAW:
        return _of_counts(pull, load_run(pull.path), calibration, response)
    recording, accuracy = _recording(pull)
    if recording.counts is not None:
        run = _counted(pull.path, pull.session, recording)
        return _of_counts(pull, run, calibration, response)
    return _of_loads(pull, recording, accuracy if accuracy_percent is None else accuracy_percent / 100)


def _of_loads(pull: "Pull", recording: "Recording", accuracy: float | None) -> LoadCurve:
    assert recording.load_n is not None
    return curve_from_columns(
        recording.time_s,
        recording.load_n,
        name=pull.path.stem,
        accuracy=accuracy,
        extension_m=recording.extension_m,
    )


def _of_counts(
    pull: "Pull",
    run: Run,
    calibration: "Path | Calibration | None",
    response: "str | Path | StepResponse | None",
) -> LoadCurve:
    return curve_from_run(
        run,
        load_calibration(calibration, pull.session, pull.path.name),
        response=load_response(pull, run, response),
    )


def _recording(pull: "Pull") -> "tuple[Recording, float | None]":
    return _table(pull.path, pull.session)


def _table(path: Path, session: "Session | None") -> "tuple[Recording, float | None]":
    """A table as the session's notes say that it was read, else as it tells itself; with its stated accuracy.

    Raises: DataError, UnitError; for a file outside of sessions they say which command takes the options they name.
    """
    from breakyard.formats.read_csv import read_csv

    if session is not None and path.parent.resolve() == session.layout.runs.resolve():
        imported = session.notes(path.stem).imported
        if imported is not None:
            return session.read_recording(path.stem), imported.accuracy
    try:
        return read_csv(path), None
    except (DataError, UnitError) as error:
        if "give --" not in str(error):
            raise
        raise type(error)(f"{error}. These are options of breakyard import; import the file first") from None
