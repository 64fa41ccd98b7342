"""Sessions into an archive, and out of it again."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from breakyard.errors import BreakyardError, UsageError
from breakyard.session.files.layout import spelled
from breakyard.session.options import ReadOptions
from breakyard.session.reading import PullResult
from breakyard.session.recordings import Curves

if TYPE_CHECKING:
    from breakyard.formats.archive import ArchivedFile, ArchivedPull
    from breakyard.session.session import Session

DERIVED = "results"
"""The folder that can be computed again, and is not archived."""


def add_to_archive(archive: Path, results: Sequence[PullResult], options: ReadOptions) -> dict[str, int]:
    """Put the sessions of pulls that were read into an archive; returns how many pulls each has there.

    Raises: UsageError for pulls without a session, or two sessions of one name.
    """
    from breakyard.formats.archive import write_session

    by_root: dict[Path, list[PullResult]] = {}
    for result in results:
        if result.pull.session is None:
            raise UsageError(
                f"{result.pull.path}: only sessions can be archived; import the recording into one"
            )
        by_root.setdefault(result.pull.session.root.resolve(), []).append(result)
    names = [root.name for root in by_root]
    if twice := next((name for name in names if names.count(name) > 1), None):
        raise UsageError(f'two sessions are called "{twice}"; rename the folder of one before archiving them')
    written = {}
    for root, members in by_root.items():
        session = members[0].pull.session
        assert session is not None
        info = session.info
        written[root.name] = write_session(
            archive,
            root.name,
            _pulls(session, members, options),
            _files(root),
            place=info.place,
            date=info.date,
            logger=info.logger,
        )
    return written


def _pulls(
    session: "Session", results: Sequence[PullResult], options: ReadOptions
) -> "Iterator[ArchivedPull]":
    from breakyard.formats.archive import ArchivedPull

    specimens = {one.id: one for one in session.specimens()}
    curves = Curves(options.calibration, accuracy_percent=options.accuracy_percent)
    for result in results:
        pull, problem = result.pull, result.problem
        try:
            curve = curves.of(pull)
        except BreakyardError as error:
            curve, problem = None, problem or str(error)
        specimen = specimens.get(pull.specimen)
        yield ArchivedPull(
            run=pull.name,
            curve=curve,
            summary=result.summary,
            specimen=pull.specimen,
            group=pull.group,
            order=pull.order,
            mass_kg=None if specimen is None else specimen.mass_kg,
            notes=pull.notes or ("" if specimen is None else specimen.notes),
            problem=problem,
            own={} if specimen is None else specimen.more,
        )


def _files(root: Path) -> "Iterator[ArchivedFile]":
    from breakyard.formats.archive import ArchivedFile

    for path in sorted(root.rglob("*")):
        inside = path.relative_to(root)
        hidden = any(part.startswith(".") for part in inside.parts)
        if path.is_file() and not path.is_symlink() and not hidden and inside.parts[0] != DERIVED:
            yield ArchivedFile(spelled(inside.as_posix()), path.read_bytes())


@dataclass(frozen=True, slots=True)
class Restored:
    """How many files came back, and which of them under another name: (as it was, as it is now)."""

    count: int
    renamed: tuple[tuple[str, str], ...]


def restore(archive: Path, into: Path) -> dict[str, Restored]:
    """Bring an archive's sessions back as folders inside `into`; returns what became of the files of each.

    What is there already with the same content stays; other content is never overwritten. A name that not every system
    takes ("IMG 12:30.jpg"), and one that differs from another in capitals only where the disk takes the two for one,
    is changed: a backup comes back on any computer.
    Raises: DataError, UsageError.
    """
    from breakyard.disk.atomic import write_once
    from breakyard.formats.archive import read_files, sessions_in
    from breakyard.session.files.layout import portable_name, safe_name

    names = sessions_in(archive)
    if not names:
        raise UsageError(f"{archive}: there is no session in this archive")
    restored = {}
    for name in names:
        folder = into / safe_name(name, "the session's name")
        places: dict[str, str] = {}
        for file in read_files(archive, name):
            inside = "/".join(portable_name(part) for part in file.path.split("/") if part)
            inside = _free(inside, places, folder)
            places[inside] = file.path
            write_once(folder / inside, file.content, alone=False)
        (folder / DERIVED).mkdir(parents=True, exist_ok=True)
        renamed = tuple((was, now) for now, was in places.items() if was != now)
        restored[name] = Restored(len(places), renamed)
    return restored


def _free(inside: str, places: dict[str, str], folder: Path) -> str:
    """The path, or one with a number if a file of this very restoring has it, as this disk reads names."""
    path, number = PurePosixPath(inside), 2
    while inside in places or (
        (folder / inside).exists() and any(_same_file(folder / inside, folder / other) for other in places)
    ):
        inside, number = str(path.with_name(f"{path.stem} ({number}){path.suffix}")), number + 1
    return inside


def _same_file(one: Path, other: Path) -> bool:
    """Whether two names are one file: on a disk for which capitals are no difference, say."""
    return other.name.casefold() == one.name.casefold() and one.samefile(other)
