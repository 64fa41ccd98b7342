"""What the commands are pointed at: a run, an imported recording, a session; and the calibration to use."""

import hashlib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from breakyard.errors import CalibrationError, DataError, UsageError

if TYPE_CHECKING:
    from breakyard.calibration import Calibration
    from breakyard.converter import StepResponse
    from breakyard.curve import LoadCurve
    from breakyard.run import Run
    from breakyard.session.session import Session

PURPOSE: Final = "purpose"
"""Key in a run's notes; what has another purpose than a pull is not summarised as one."""

CalibrationOption = Annotated[
    Path | None,
    typer.Option(
        "--calibration",
        "-c",
        help="Calibration file, or its name in the session; default: the session's own.",
    ),
]
AccuracyOption = Annotated[
    float | None,
    typer.Option(
        help="Standard uncertainty of an imported instrument, in percent of the load; from its certificate."
    ),
]
MisalignmentOption = Annotated[
    float,
    typer.Option(
        "--misalignment",
        min=0.0,
        max=30.0,
        metavar="DEG",
        help="Largest angle between the line of pull and the cell's axis that you vouch for, in degrees.",
    ),
]
TemperatureOption = Annotated[
    float | None,
    typer.Option(
        "--temperature",
        min=-60.0,
        max=80.0,
        metavar="C",
        help="Temperature of the cell during the pulls, in degrees C; compared with that of its calibration.",
    ),
]
ASSUMED: Final = "assumed"
"""Said instead of a response's file: leave measured ones aside."""

ResponseOption = Annotated[
    str | None,
    typer.Option(
        "--response",
        metavar="FILE",
        help='Step response of the logger (breakyard step), or "assumed"; default: what was measured of it, if so.',
    ),
]


PullSpeedOption = Annotated[
    str | None,
    typer.Option(
        "--pull-speed",
        metavar="MM/S",
        help='Speed at which it was pulled, as 5 or "0.3 m/min": work and stiffness of rig and specimen together.',
    ),
]

FASTEST_PULL_M_PER_S: Final = 20.0

SPECIMENS: Final = "specimens"
"""Key in a run's notes: the specimens of several pulls in one recording, in their order."""


@dataclass(frozen=True, slots=True)
class Named:
    """One of the specimens that a recording's notes list."""

    specimen: str
    group: str = ""
    order: int | None = None


@dataclass(frozen=True, slots=True)
class Pull:
    """One recording to be read, or one of several pulls in it, and what people wrote about it."""

    name: str
    path: Path
    session: "Session | None"
    specimen: str = ""
    group: str = ""
    order: int | None = None
    notes: str = ""
    part: int | None = None
    """Which pull of the recording, from 1; None for a recording of one pull, or not looked into yet."""
    listed: tuple[Named, ...] = ()
    """Specimens that the notes list for several pulls."""

    def parts(self, number: int) -> "tuple[Pull, ...]":
        """The pulls of a recording that turned out to hold so many. One alone is the recording itself.

        Several have a specimen and a group only where the notes list them: whether they were one specimen pulled again
        or several, a recording does not tell. Raises: DataError if the notes list another number.
        """
        if self.listed and len(self.listed) != number:
            raise DataError(
                f"{self.path}: {number} pull(s) found, but its notes list {len(self.listed)} specimens: "
                f"{', '.join(one.specimen for one in self.listed)}"
            )
        if number == 1 and not self.listed:
            return (self,)
        names = self.listed or (Named(""),) * number
        return tuple(
            replace(
                self,
                name=f"{self.name}#{i}" if number > 1 else self.name,
                specimen=one.specimen,
                group=one.group,
                order=one.order,
                part=i if number > 1 else None,
            )
            for i, one in enumerate(names, start=1)
        )


def find_pulls(paths: Sequence[Path]) -> tuple[Pull, ...]:
    """Return the recordings that paths stand for: files as they are, a session's folder for all its pulls.

    Raises: DataError for a path that is not there; UsageError for a folder that is no session.
    """
    found: list[Pull] = []
    for path in paths:
        if path.is_dir():
            found += _session_pulls(path)
        elif path.exists():
            found.append(_file_pull(path))
        else:
            raise DataError(f"{path}: there is no such file or folder")
    return tuple(found)


def only_pull(path: Path) -> Pull:
    """Return the one recording that a path stands for. Raises: DataError, UsageError."""
    found = find_pulls([path])
    if len(found) != 1:
        raise UsageError(f"{path}: {len(found)} recordings here; name one of them")
    return found[0]


def _session_pulls(folder: Path) -> list[Pull]:
    from breakyard.session.session import open_session

    session = open_session(folder)
    specimens = {specimen.id: specimen for specimen in session.specimens()}
    pulls = []
    for run in session.runs():
        if run.notes.more.get(PURPOSE, "pull") != "pull":
            continue
        specimen = specimens.get(run.notes.specimen or run.name)
        listed = run.notes.more.get(SPECIMENS, ())
        if not isinstance(listed, list | tuple) or not all(isinstance(one, str) for one in listed):
            raise DataError(f'{run.path.with_suffix(".toml")}: "{SPECIMENS}" must be a list of ids')
        known = [(one, specimens.get(one)) for one in listed]
        pulls.append(
            Pull(
                run.name,
                run.path,
                session,
                specimen=run.notes.specimen or run.name,
                group=specimen.group if specimen else "",
                order=specimen.order if specimen else None,
                notes=run.notes.notes,
                listed=tuple(Named(one, s.group if s else "", s.order if s else None) for one, s in known),
            )
        )
    if not pulls:
        raise DataError(f"{session.layout.runs}: no pulls here yet")
    return sorted(pulls, key=lambda pull: (pull.order is None, pull.order or 0))


def _file_pull(path: Path) -> Pull:
    from breakyard.session.session import find_session

    session = find_session(path)
    if session is None:
        return Pull(path.stem, path, None)
    for pull in _session_pulls(path):
        if pull.path.resolve() == path.resolve():
            return pull
    return Pull(path.stem, path, session)


def load_calibration(wanted: Path | None, session: "Session | None", what: str) -> "Calibration":
    """Read the calibration named on the command line, or the session's.

    Args:
        what: the recording that needs it, for the message.

    Raises: UsageError when none is named and none is to be found; CalibrationError for a file that is none.
    """
    from breakyard.calibration import Calibration
    from breakyard.session.files.calibrations import read_calibration

    if wanted is not None and (wanted.exists() or session is None):
        path = wanted
    elif session is not None:
        path = session.calibration(wanted.stem if wanted is not None else None)
    else:
        raise UsageError(
            f"{what}: counts need a calibration: give one with --calibration, or make one with: breakyard calibrate"
        )
    text = read_calibration(path)
    try:
        return Calibration.from_json(text)
    except (CalibrationError, DataError) as error:
        raise CalibrationError(f"{path}: {error}") from None


def load_run(path: Path) -> "Run":
    """Read the one run of a run file. Raises: DataError, also when several runs are in it."""
    from breakyard.run import read_runs

    runs = read_runs(path.read_bytes(), name=path.stem)
    if len(runs) > 1:
        numbers = ", ".join(str(run.number) for run in runs)
        raise DataError(f"{path}: {len(runs)} runs ({numbers}) in one file; keep each in a file of its own")
    return runs[0]


def load_curve(
    pull: Pull, calibration: Path | None, *, accuracy_percent: float | None = None
) -> "tuple[LoadCurve, Run | None]":
    """Read a pull's load curve, with the run it came from unless another instrument made it.

    A pull that is one of several in its recording gets its own part of the curve.
    Raises: BreakyardError of any kind, naming the file.
    """
    from breakyard.pull.split import split_pulls

    curve, run = _whole_curve(pull, calibration, accuracy_percent)
    return (curve if pull.part is None else split_pulls(curve)[pull.part - 1]), run


def _whole_curve(
    pull: Pull, calibration: Path | None, accuracy_percent: float | None
) -> "tuple[LoadCurve, Run | None]":
    from breakyard.curve import curve_from_columns, curve_from_run
    from breakyard.run import run_from_columns

    name = pull.path.stem
    if pull.path.suffix.lower() == ".run":
        run = load_run(pull.path)
        return curve_from_run(run, load_calibration(calibration, pull.session, pull.path.name)), run
    from breakyard.formats.read_csv import read_csv

    accuracy = None if accuracy_percent is None else accuracy_percent / 100
    listed = pull.session is not None and pull.path.parent.resolve() == pull.session.layout.runs.resolve()
    if pull.session is not None and listed and pull.session.notes(name).imported is not None:
        recording = pull.session.read_recording(name)
        imported = pull.session.notes(name).imported
        if accuracy is None and imported is not None:
            accuracy = imported.accuracy
    else:
        recording = read_csv(pull.path)
    if recording.counts is not None:
        run = run_from_columns(recording.time_s, recording.counts, name=name)
        return curve_from_run(run, load_calibration(calibration, pull.session, pull.path.name)), run
    assert recording.load_n is not None
    curve = curve_from_columns(
        recording.time_s,
        recording.load_n,
        name=name,
        accuracy=accuracy,
        extension_m=recording.extension_m,
    )
    return curve, None


def load_response(pull: Pull, run: "Run | None", wanted: str | None) -> "StepResponse | None":
    """The step response to read a pull with: the file named, else what is kept of its logger; None for neither.

    Raises: DataError (file), UsageError (a response that is not sure).
    """
    from breakyard.session.files.responses import find_response, read_response

    if wanted == ASSUMED or run is None:
        return None
    if wanted is not None:
        return read_response(Path(wanted))
    if run.identity is None:
        return None
    return find_response(_home(pull), run.identity.serial.hex())


def visible_responses(pull: Pull, wanted: str | None) -> list[str]:
    """Hashes of all response files that `load_response` might choose from. Raises: OSError."""
    from breakyard.session.files import responses

    if wanted == ASSUMED or pull.path.suffix.lower() != ".run":
        return []
    paths = [Path(wanted)] if wanted is not None else responses.visible_responses(_home(pull))
    return sorted(digest(path.read_bytes()) for path in paths)


def _home(pull: Pull) -> Path:
    return pull.path.parent if pull.session is None else pull.session.root


def shown_unit(wanted: str | None, pulls: Iterable[Pull] = ()) -> str:
    """Return the unit of force to show: the one asked for, the first session's, or newtons. Raises: UnitError."""
    from breakyard.units import force_unit

    if wanted is not None:
        return force_unit(wanted)
    return next((pull.session.info.unit for pull in pulls if pull.session is not None), "N")


def digest(data: bytes) -> str:
    """Return the SHA-256 of some bytes in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def pull_speed(text: str | None) -> float | None:
    """A speed in metres per second from "5" (mm/s), "5 mm/s", "0.3 m/min". Raises: UsageError."""
    from breakyard.errors import UnitError
    from breakyard.formats.recording import LENGTH_UNITS, TIME_UNITS, length_unit, time_unit

    if text is None:
        return None
    match = re.fullmatch(r"\s*([\d.,]+(?:[eE][+-]?\d+)?)\s*(?:([^\d\s/]+)\s*/\s*(\w+))?\s*", text)
    try:
        if match is None:
            raise ValueError
        value = float(match[1].replace(",", "."))
        if match[2]:
            speed = value * LENGTH_UNITS[length_unit(match[2])] / TIME_UNITS[time_unit(match[3])]
        else:
            speed = value * LENGTH_UNITS["mm"]
    except (ValueError, UnitError):
        raise UsageError(
            f'--pull-speed "{text}" is no speed; write 5 (mm/s), "5 mm/s" or "0.3 m/min"'
        ) from None
    if not 0.0 < speed <= FASTEST_PULL_M_PER_S:
        raise UsageError(
            f'--pull-speed "{text}" is not sensible: give a speed above 0, up to {FASTEST_PULL_M_PER_S:g} m/s'
        )
    return speed
