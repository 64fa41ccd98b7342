"""Known loads from files: a recording of masses, a table, or a second cell; and where a calibration is kept."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from breakyard.errors import BreakyardError, CalibrationError, UsageError
from breakyard.session.in_force import read_calibration_file
from breakyard.session.pulls import CALIBRATION_PURPOSE, PURPOSE
from breakyard.session.recordings import load_counts

if TYPE_CHECKING:
    from breakyard.calibration import Calibration, CalibrationPlateaus, KnownLoad, Point
    from breakyard.calibration.known_loads import Basis
    from breakyard.run import Run
    from breakyard.session.session import Session

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class KnownPoints:
    """Points of a calibration and where they came from; run and plateaus are None for a table."""

    points: "tuple[Point, ...]"
    source: Path
    gain: int | None
    run: "Run | None" = None
    plateaus: "CalibrationPlateaus | None" = None
    provenance: Mapping[str, str] = field(default_factory=dict)


def from_recording(
    path: Path,
    masses: str,
    loads: "Sequence[KnownLoad]",
    gain: int | None,
    before: Callable[[], None] = lambda: None,
) -> KnownPoints:
    """Pair the steady stretches of a recording with the masses, in the order they were hung. Raises: errors.py.

    `before` is called when the recording was read, before anything is made of it.
    """
    from breakyard.calibration import points_from_run

    run = load_counts(path)
    before()
    points, plateaus = _naming(path, lambda: points_from_run(run, loads))
    return KnownPoints(
        points,
        path,
        gain_of(run, gain),
        run,
        plateaus,
        {"recording": path.name, "masses": masses, **identity_of(run)},
    )


def from_table(path: Path, mass_limit: float | None, known: "Basis | None", gain: int | None) -> KnownPoints:
    """Read points from a CSV file. Raises: errors.py."""
    from breakyard.formats.read_points import read_points

    return KnownPoints(
        read_points(path, mass_limit=mass_limit, known=known),
        path,
        128 if gain is None else gain,
        None,
        None,
        {"points": path.name},
    )


def from_second_cell(
    path: Path, other: Path, reference: Path, steps: int | None, gain: int | None
) -> KnownPoints:
    """Points from a calibrated cell in the same line: both recordings show the same steps. Raises: errors.py."""
    from breakyard.calibration import find_plateaus, transfer_points

    made = read_calibration_file(reference)
    run, shown = load_counts(path), load_counts(other)
    _, told = gain_of(shown, None), made.gain
    if shown.converter is not None and told is not None and shown.converter.gain != told:
        raise UsageError(
            f"{other.name} was recorded with gain {shown.converter.gain}, {reference.name} holds for gain {told}: "
            "give the reference cell's own calibration"
        )

    def points() -> "tuple[tuple[Point, ...], CalibrationPlateaus]":
        first = find_plateaus(shown.time_s, shown.counts, usable=shown.usable, expected=steps)
        second = find_plateaus(run.time_s, run.counts, usable=run.usable, expected=len(first.found))
        return transfer_points(made, first.found, second.found), second

    paired, plateaus = _naming(path, points)
    about = {
        "recording": path.name,
        "reference recording": other.name,
        "reference calibration": f"{made.name} {made.content_hash}",
    }
    return KnownPoints(paired, path, gain_of(run, gain), run, plateaus, about | identity_of(run))


def gain_of(run: "Run", stated: int | None) -> int | None:
    """The gain a run was recorded with; `stated` must not contradict it. Raises: UsageError."""
    told = None if run.converter is None else run.converter.gain
    if stated is not None and told is not None and stated != told:
        raise UsageError(f"the recording says gain {told}, --gain says {stated}: leave out --gain")
    return stated if told is None else told


def identity_of(run: "Run") -> dict[str, str]:
    """Which logger recorded a run, for the provenance; empty where the run does not tell."""
    if run.identity is None:
        return {}
    return {"logger": run.identity.serial.hex(), "firmware": run.identity.firmware}


def previous_calibration(
    stated: Path | None, session: "Session | None", gain: int | None
) -> "Calibration | None":
    """The calibration to compare a new one with: the one named, else the session's latest for the same gain.

    Raises: DataError for a named one that cannot be read; others in the session that cannot be read are left out.
    """
    if stated is not None:
        named = stated if stated.exists() or session is None else session.calibration_file(stated.stem)
        return read_calibration_file(named)
    if session is None:
        return None
    found = []
    for path in session.calibrations():
        try:
            made = read_calibration_file(path)
        except BreakyardError:
            continue
        if made.gain == gain:
            found.append(made)
    return max(found, key=lambda made: made.created, default=None)


def _naming(path: Path, work: Callable[[], _T]) -> _T:
    try:
        return work()
    except CalibrationError as error:
        raise CalibrationError(f"{path.name}: {error}") from None


def keep_calibration(made: "Calibration", recording: Path, output: Path | None = None) -> Path:
    """Keep a calibration: in a file if one is named, else in the recording's session, else beside the recording.

    In a session the recording is noted as one of known masses, so that it is not taken for a pull.
    Raises: DataError when another calibration has that name.
    """
    import json

    from breakyard.session.files.calibrations import write_calibration
    from breakyard.session.files.layout import name_from
    from breakyard.session.session import find_session

    text = json.dumps(made.to_json(), indent=1, ensure_ascii=False) + "\n"
    session = find_session(recording)
    note_purpose(recording)  # first: whatever stops this, a recording of masses is not taken for a pull
    if output is None and session is not None:
        return session.add_calibration(name_from(made.name), text)
    path = output or recording.with_name(f"{name_from(made.name)}.calibration.json")
    write_calibration(path, text)
    return path


def note_purpose(recording: Path) -> None:
    """A recording that a calibration was made from is no pull, unless its notes say otherwise."""
    from breakyard.session.session import find_session

    session = find_session(recording)
    if session is None or recording.resolve().parent != session.layout.runs.resolve():
        return
    if PURPOSE not in session.notes(recording.stem).more:
        session.change_notes(
            recording.stem,
            lambda notes: replace(notes, more={PURPOSE: CALIBRATION_PURPOSE, **notes.more}),
        )
