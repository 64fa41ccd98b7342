"""Another instrument's file -> a recording in a session, with how it was read kept beside it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from breakyard.curve import UNSTATED_ACCURACY, on_our_rail
from breakyard.errors import BreakyardError, DataError, UsageError
from breakyard.formats.read_csv import parse_csv
from breakyard.formats.recording import CsvOptions, Recording
from breakyard.run import Converter
from breakyard.session.converters import UNKNOWN, check_counts, parse_converter
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.layout import legible, name_from, session_above
from breakyard.session.files.specimens import Specimen
from breakyard.session.in_force import load_calibration
from breakyard.session.pulls import CALIBRATION_PURPOSE, PURPOSE
from breakyard.session.recordings import CONVERTER
from breakyard.session.session import Session, create_session, find_session
from breakyard.units import force_unit


@dataclass(frozen=True, slots=True)
class Found:
    """A file that was read, before anything is kept."""

    path: Path
    name: str
    data: bytes
    recording: Recording

    @property
    def holds_loads(self) -> bool:
        """Whether it holds forces, whose accuracy matters, and not counts."""
        return self.recording.load_n is not None


@dataclass(frozen=True, slots=True)
class RefusedFile:
    """A file that was not read, and why."""

    path: Path
    problem: str


def read_files(
    paths: Sequence[Path], options: CsvOptions, *, name: str = "", calibration: bool = False
) -> tuple[list[Found], list[RefusedFile]]:
    """Read files one by one; one that cannot be read does not stop the others.

    Raises: the one file's own error where there is only one; UsageError for a name that would stand for several.
    """
    if name and len(paths) > 1:
        raise UsageError("--name is for one recording: leave it out, then each is called as its file is")
    found: list[Found] = []
    refused: list[RefusedFile] = []
    for path in paths:
        try:
            found.append(_read(path, options, name, calibration))
        except (BreakyardError, OSError) as error:
            if len(paths) == 1:
                raise
            known = isinstance(error, BreakyardError)
            refused.append(RefusedFile(path, str(error) if known else f"{path}: cannot be read ({error})"))
    return found, refused


def _read(path: Path, options: CsvOptions, name: str, calibration: bool) -> Found:
    data = path.read_bytes()
    recording = parse_csv(data, name=name or path.stem, options=options, where=path.name)
    if calibration and recording.counts is None:
        raise DataError(
            f"{path.name}: this recording holds loads, not counts; a calibration is made from the converter's counts "
            "(give --load-unit counts if that is what they are)"
        )
    return Found(path, name_from(name or path.stem), data, recording)


def refused_once(refused: Sequence[RefusedFile]) -> list[str]:
    """Why files were not read, each reason once, with the files that share it."""
    by_reason: dict[str, list[RefusedFile]] = {}
    for one in refused:
        by_reason.setdefault(one.problem.replace(one.path.name, "", 1), []).append(one)
    return [
        group[0].problem
        if len(group) == 1
        else f"{', '.join(one.path.name for one in group)}: {reason.lstrip(' ,:')}"
        for reason, group in by_reason.items()
    ]


def without_specimen(session: Session, names: Sequence[str]) -> list[str]:
    """A line for recordings that belong to no specimen of a table that has some: nobody could compare them."""
    known = {one.id for one in session.specimens()}
    lost = [name for name in names if not {session.notes(name).specimen or name} & known]
    if not known or not lost:
        return []
    line = (
        f"no specimen is called {', '.join(lost)}: say which it was in runs/{lost[0]}.toml (specimen = "
        f'"{min(known)}"), or import again with --group GROUP, which adds it to specimens.csv'
    )
    return [line]


def session_for(folder: Path | None, unit: str | None = None) -> Session:
    """The session to import into: the one that is there, or a new one in the folder named, which shows that unit.

    Raises: UsageError where none is named and none is there; UnitError.
    """
    if folder is not None and not folder.exists() and (above := session_above(folder)) is not None:
        raise UsageError(
            f"{folder}: this would lie inside the session {above}; name that with --session, or a folder outside of it"
        )
    session = find_session(folder or Path())
    if session is not None:
        return session
    if folder is None:
        raise UsageError(
            "no session in this folder or above it; name one, new or not, with --session FOLDER, or make one with: "
            "breakyard new FOLDER"
        )
    return create_session(folder, SessionInfo(unit="N" if unit is None else force_unit(unit)))


def put_into_group(session: Session, ids: Sequence[str], group: str) -> None:
    """Give specimens a group in specimens.csv, with a new row for those that have none.

    Raises: UsageError if one is in another group; DataError (table).
    """

    def grouped(known: tuple[Specimen, ...]) -> Iterable[Specimen]:
        table = {one.id: one for one in known}
        for name in ids:
            one = table.get(name, Specimen(name))
            if one.group not in ("", group):
                raise UsageError(
                    f'{session.layout.specimens_file}: "{name}" is in the group "{one.group}", not "{group}"; '
                    "change it there"
                )
            table[name] = replace(one, group=group)
        return table.values()

    session.change_specimens(grouped)


def keep(
    session: Session,
    found: Found,
    *,
    specimen: str | None = None,
    accuracy: float | None = None,
    calibration: bool = False,
    said: Mapping[str, Any] | None = None,
    converter: str | None = None,
) -> Path:
    """Keep a file as it is, with a note of how it was read.

    said: how it is to be read (zero, one_specimen; see `recordings`). converter: what made its counts.
    Raises: DataError (name taken, counts of another converter), UsageError (name, converter).
    """
    about = {}
    if converter is not None and not found.holds_loads:
        check_counts(parse_converter(converter), _counts(found), found.path.name)
        about = {CONVERTER: converter}
    return session.add_recording(
        found.name,
        found.data,
        found.recording,
        original_name=legible(found.path.name),
        specimen=specimen,
        accuracy=accuracy if found.holds_loads else None,
        more={PURPOSE: CALIBRATION_PURPOSE} | about if calibration else {**(said or {}), **about} or None,
    )


def _counts(found: Found) -> NDArray[np.int32]:
    assert found.recording.counts is not None
    return found.recording.counts


def judged_converter(session: Session, found: Sequence[Found]) -> Converter | None:
    """The converter of counts as it will be judged where nobody names it; None where that is not sure."""
    counted = [one.recording for one in found if one.recording.counts is not None]
    try:
        gain = load_calibration(None, session, "").gain
    except BreakyardError:
        gain = None
    if gain is not None:
        return Converter(gain)
    sure = [on_our_rail(one.counts, one.period_s) for one in counted if one.counts is not None]
    return Converter(128) if sure and all(sure) else None


def document(
    found: Found, path: Path, accuracy: float | None, converter: str | None = None
) -> dict[str, Any]:
    """What was imported, for programs."""
    recording = found.recording
    loads = recording.load_n
    return {
        "file": str(path),
        "name": found.name,
        "samples": int(recording.time_s.size),
        "duration_s": float(recording.time_s[-1] - recording.time_s[0]),
        "median_step_s": recording.period_s,
        "largest_n": None if loads is None else float(loads.max()),
        "smallest_n": None if loads is None else float(loads.min()),
        "converter": None if found.holds_loads else converter or UNKNOWN,
        "accuracy": accuracy if found.holds_loads else None,
        "accuracy_assumed": UNSTATED_ACCURACY if found.holds_loads and accuracy is None else None,
        "read_as": recording.layout.as_options().to_dict(),
        "notes": list(recording.layout.notes),
    }


def in_words(found: Found, unit: str) -> list[str]:
    """What a person should check, line by line: how much it is, how it was read, and what was not taken as it stood."""
    from breakyard.units import FORCE_UNITS

    recording = found.recording
    span = recording.time_s[-1] - recording.time_s[0]
    size = f"{recording.time_s.size} samples over {span:.5g} s, median step {recording.period_s:.4g} s"
    if recording.load_n is not None:
        low, high = recording.load_n.min(), recording.load_n.max()
        shown = f"{low:.5g} to {high:.5g} N"
        if unit != "N":
            shown = f"{low / FORCE_UNITS[unit]:.5g} to {high / FORCE_UNITS[unit]:.5g} {unit} ({shown})"
        size += f"; loads from {shown}"
    else:
        assert recording.counts is not None
        size += f"; counts from {int(np.min(recording.counts))} to {int(np.max(recording.counts))}"
    return [size, recording.layout.sentence(), *(f"note: {one}" for one in recording.layout.notes)]
