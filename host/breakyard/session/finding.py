"""What a path stands for: one recording, or a session with all its pulls; and the unit its owner reads."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from breakyard.errors import DataError
from breakyard.session.files.layout import legible
from breakyard.session.pulls import Pull, pulls_of
from breakyard.session.session import find_session, open_session
from breakyard.units import force_unit


def find_pulls(paths: Sequence[Path]) -> tuple[Pull, ...]:
    """Return the recordings that paths stand for: files as they are, a session's folder for all its pulls.

    Raises: DataError for a path that is not there, or a session without pulls; UsageError for a folder that is no
    session.
    """
    found: list[Pull] = []
    for path in paths:
        if path.is_dir():
            session = open_session(path)
            pulls = pulls_of(session)
            if not pulls:
                raise DataError(f"{session.layout.runs}: no pulls here yet")
            found += pulls
        elif path.exists():
            found.append(_file_pull(path))
        else:
            raise DataError(f"{path}: there is no such file or folder")
    return tuple(found)


def _file_pull(path: Path) -> Pull:
    session = find_session(path)
    if session is None:
        return Pull(legible(path.stem), path, None)
    for pull in pulls_of(session):
        if pull.path.resolve() == path.resolve():
            return pull
    return Pull(legible(path.stem), path, session)


def shown_unit(stated: str | None, pulls: Iterable[Pull] = ()) -> str:
    """Return the unit of force to show: the one stated, the first session's, or newtons. Raises: UnitError."""
    if stated is not None:
        return force_unit(stated)
    return next((pull.session.info.unit for pull in pulls if pull.session is not None), "N")
