"""Which pulls a session holds: its recordings, in the order of the specimens, with what people wrote about them."""

import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from breakyard.errors import DataError, UnreadKey
from breakyard.session.files.keys import CELL_KEYS, NOTES_KEYS, unread_keys
from breakyard.session.files.layout import composed
from breakyard.session.files.notes import read_notes
from breakyard.shown import Form, Mode, Picture, View

if TYPE_CHECKING:
    from breakyard.curve import LoadCurve
    from breakyard.pull.results import Summary
    from breakyard.session.files.run_files import RunFile
    from breakyard.session.files.specimens import Specimen
    from breakyard.session.session import Session

PURPOSE: Final = "purpose"
"""Key in a run's notes; a recording with another purpose than "pull" is not read as one."""

CALIBRATION_PURPOSE: Final = "calibration"
"""Value of `PURPOSE` for a recording of known masses."""

WEIGHING_PURPOSE: Final = "weighing"
"""Value of `PURPOSE` for a recording of something weighed."""

SPECIMENS: Final = "specimens"
"""Key in a run's notes: the specimens of several pulls in one recording, in their order."""


@dataclass(frozen=True, slots=True)
class Listed:
    """One of the specimens that a recording's notes list."""

    specimen: str
    group: str = ""
    order: int | None = None
    row: "Specimen | None" = None


@dataclass(frozen=True, slots=True, repr=False)
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
    photos: tuple[str, ...] = ()
    """Pictures that the notes name."""
    listed: tuple[Listed, ...] = ()
    """Specimens that the notes list for several pulls."""
    named: bool = False
    """Whether somebody said which specimen it is: the notes, or a name that the table of specimens has."""
    problem: str = ""
    """Why what people wrote about it cannot be read; it is then a row with this reason."""
    row: "Specimen | None" = None
    """Its row in the table of specimens."""

    def parts(self, number: int) -> "tuple[Pull, ...]":
        """The pulls of a recording that turned out to hold `number` of them. One alone is the recording itself.

        Several have a specimen and a group only where the notes list them: whether they were one specimen pulled again
        or several, a recording does not tell. Raises: DataError if the notes list another number.
        """
        if self.listed and len(self.listed) != number:
            raise DataError(
                f"{self.path}: {number} pull(s) found, but its notes list {len(self.listed)} specimens: "
                f"{', '.join(listed.specimen for listed in self.listed)}"
            )
        if number == 1 and not self.listed:
            return (self,)
        names = self.listed or (Listed(""),) * number
        return tuple(
            replace(
                self,
                name=f"{self.name}#{i}" if number > 1 else self.name,
                specimen=listed.specimen,
                group=listed.group,
                order=listed.order,
                part=i if number > 1 else None,
                row=listed.row,
            )
            for i, listed in enumerate(names, start=1)
        )

    def __repr__(self) -> str:
        said = ", ".join(part for part in (self.specimen, self.group, self.notes) if part)
        return f"Pull {self.name!r}{f': {said}' if said else ''}"

    def is_called(self, name: object) -> bool:
        """Whether people may mean it by this name: of its specimen, its recording, or the recording's file."""
        return name in (self.name, self.specimen, self.path.name)

    def curve(self) -> "LoadCurve":
        """Its load curve, with the calibration and the step response in force. Raises: BreakyardError."""
        from breakyard.session.recordings import load_curve

        return load_curve(self)

    def summary(self) -> "Summary":
        """Its summary, as the session keeps it. Raises: DataError (the reason why there is none, several pulls)."""
        from breakyard.session.options import ReadOptions
        from breakyard.session.reading import read_pulls

        results = read_pulls((self,), ReadOptions())
        if len(results) > 1:
            raise DataError(
                f"{self.name}: {len(results)} pulls in one recording; session.summaries() has each of them"
            )
        (result,) = results
        if result.summary is None:
            raise DataError(result.problem)
        return result.summary

    def plot(
        self, *, view: View = "pull", unit: str | None = None, mode: Mode = "light", form: Form = "wide"
    ) -> Picture:
        """Draw it, or the moment of its break. Raises: BreakyardError.

        Args:
            view: "pull" or "break".
            unit: of force; None: the session's.
        """
        shown = unit or ("N" if self.session is None else self.session.info.unit)
        title = " ".join(part for part in (self.specimen or self.name, self.group) if part)
        return self.curve().plot(view=view, unit=shown, title=title, mode=mode, form=form)

    def described(self) -> dict[str, Any]:
        """What is known of the pull besides its recording, for JSON."""
        return {
            "name": self.name,
            "file": str(self.path),
            "specimen": self.specimen or None,
            "group": self.group or None,
            "order": self.order,
            "part": self.part,
            "session": None if self.session is None else self.session.root.resolve().name,
            "columns": {} if self.row is None else dict(self.row.more),
        }


def pulls_of(session: "Session") -> tuple[Pull, ...]:
    """The pulls of a session, in the order of its specimens; recordings made for another purpose are left out.

    One whose notes are broken is there with the reason. Raises: DataError (table of specimens).
    """
    for sentence in _unread(session):
        warnings.warn(sentence, UnreadKey, stacklevel=2)
    specimens = {composed(specimen.id): specimen for specimen in session.specimens()}
    pulls = [
        _pull(run, session, specimens)
        for run in session.runs()
        if run.notes.more.get(PURPOSE, "pull") == "pull"
    ]
    return tuple(sorted(pulls, key=lambda pull: (pull.order is None, pull.order or 0)))


def specimens_done(session: "Session") -> set[str]:
    """Ids of the specimens that have a run, or one that was begun and is not here as a whole.

    Where notes cannot be read, a warning says so, and the run's name counts: whose else it is cannot be known.
    """
    done = set()
    for run in session.runs():
        done.add(run.notes.specimen or run.name)
        if run.problem:
            _warn_of(run.problem)
            continue
        try:
            done |= {one.specimen for one in _listed(run, {})}
        except DataError as error:
            _warn_of(str(error))
    for part in session.unfinished():
        try:
            done.add(read_notes(part.with_suffix(".toml")).specimen or part.stem)
        except DataError as error:
            _warn_of(str(error))
            done.add(part.stem)
    return done


def planned(session: "Session") -> tuple[str, ...]:
    """Ids of all specimens, in the order in which they are to be pulled. Raises: DataError (table of specimens)."""
    ordered = sorted(session.specimens(), key=lambda one: (one.order is None, one.order or 0))
    return tuple(one.id for one in ordered)


def still_to_pull(session: "Session") -> tuple[str, ...]:
    """Ids of the specimens without a run, in their order. Raises: DataError (table of specimens)."""
    done = specimens_done(session)
    return tuple(one for one in planned(session) if one not in done)


def _warn_of(problem: str) -> None:
    warnings.warn(f"{problem}; until then nobody knows which specimen it was", UnreadKey, stacklevel=3)


def _unread(session: "Session") -> Iterator[str]:
    """A sentence for each key that somebody wrote and nothing reads; those of session.toml may be factors."""
    layout = session.layout
    yield from unread_keys(session.info.cell, CELL_KEYS, f"{layout.session_file}: [cell]")
    for run in session.runs():
        yield from unread_keys(run.notes.more, NOTES_KEYS, str(run.path.with_suffix(".toml")))


def _pull(run: "RunFile", session: "Session", specimens: "dict[str, Specimen]") -> Pull:
    called = run.notes.specimen or run.name
    specimen = specimens.get(composed(called))
    problem = run.problem
    listed: Sequence[Listed] = ()
    try:
        listed = _listed(run, specimens)
    except DataError as error:
        problem = problem or str(error)
    return Pull(
        run.name,
        run.path,
        session,
        specimen=specimen.id if specimen else called,
        group=specimen.group if specimen else "",
        order=specimen.order if specimen else None,
        notes=run.notes.notes,
        photos=run.notes.photos,
        listed=tuple(listed),
        row=specimen,
        named=specimen is not None or run.notes.specimen is not None,
        problem=problem,
    )


def _listed(run: "RunFile", specimens: "dict[str, Specimen]") -> Sequence[Listed]:
    ids = run.notes.more.get(SPECIMENS, ())
    if not isinstance(ids, list | tuple) or not all(isinstance(name, str) for name in ids):
        raise DataError(f'{run.path.with_suffix(".toml")}: "{SPECIMENS}" must be a list of ids')
    known = [(name, specimens.get(composed(name))) for name in ids]
    return [Listed(s.id if s else name, s.group if s else "", s.order if s else None, s) for name, s in known]
