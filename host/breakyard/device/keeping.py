"""Where a fetched run goes: into the session that a folder belongs to, or into the folder itself."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from breakyard.errors import DataError

if TYPE_CHECKING:
    from breakyard.device.client.client import Client
    from breakyard.session.files.notes import RunNotes
    from breakyard.session.session import Session


@dataclass(frozen=True, slots=True)
class Kept:
    """A run on disk. `sha256` is the logger's own hash of it, when it is complete."""

    path: Path
    complete: bool
    sha256: bytes | None


class Keeper:
    """Fetches runs into a folder; what is not complete yet ends in .part and is readable all the same."""

    def __init__(self, folder: Path) -> None:
        from breakyard.session.session import find_session

        if not folder.is_dir():
            raise DataError(f"{folder}: there is no such folder")
        self.session: Session | None = find_session(folder)
        self._folder = self.session.layout.runs if self.session else folder
        if self.session is not None:  # copying services and archives leave out empty folders
            self._folder.mkdir(exist_ok=True)

    def ensure_takes_files(self) -> None:
        """Before anything is recorded that would find no place. Raises: DataError if the disk refuses."""
        from breakyard.disk.atomic import ensure_takes_files

        ensure_takes_files(self._folder)

    def part(self, name: str) -> Path:
        """The file that grows while a run is fetched."""
        from breakyard.session.files.layout import PART

        return self._folder / f"{name}{PART}"

    def begin(self, name: str, notes: "RunNotes | None") -> None:
        """Write the notes of a run before the first of its records; in a session only, and never over others.

        Whatever stops what follows, the run does not forget its specimen. Raises: DataError.
        """
        if self.session is not None and notes is not None:
            from breakyard.disk.alone import alone_with
            from breakyard.session.files.layout import as_on_disk

            path = as_on_disk(self.session.layout.notes_file(name))
            with alone_with(path):
                if not path.exists():
                    self.session.write_notes(name, notes)

    async def place(self, client: "Client", run: int, name: str) -> str:
        """The name under which a run of the logger is or will be kept: `name`, or with a number behind it.

        What another command has kept of this very run, under whatever name, goes first: it is completed, never
        fetched twice. A file counts only if it begins with the very record that the run begins with. Raises: LinkError.
        """
        from breakyard.device.client.download import begins_alike, holds_beginning
        from breakyard.disk.atomic import double_of
        from breakyard.session.files.layout import PART

        for path in sorted(self._folder.glob(f"*{PART}")) + sorted(self._folder.glob("*.run")):
            if await holds_beginning(client, run, path) and (path.suffix == PART or _kept(path).complete):
                return path.stem if path.suffix != PART else self._unhindered(path)
        number, candidate = 2, name
        while True:
            path = self._final(candidate)
            taken = path if path.exists() else self.part(candidate)
            if not double_of(path) and (not taken.exists() or await begins_alike(client, run, taken)):
                return candidate
            candidate, number = f"{name}-{number}", number + 1

    def _unhindered(self, part: Path) -> str:
        """The name of a part; another one if what has its final name is not complete and is never overwritten."""
        from breakyard.session.files.layout import as_on_disk

        name, number = part.stem, 2
        if not self._final(name).exists() or _kept(self._final(name)).complete:
            return name
        while self._final(f"{name}-{number}").exists() or self.part(f"{name}-{number}").exists():
            number += 1
        free = f"{name}-{number}"
        notes = as_on_disk(part.with_suffix(".toml"))
        if self.session is not None and notes.exists():
            self.begin(free, self.session.notes(name))
        part.rename(self.part(free))
        return free

    async def fetch(
        self,
        client: "Client",
        run: int,
        name: str,
        step: Callable[[], None] = lambda: None,
        *,
        follow: bool = False,
        notes: "RunNotes | None" = None,
    ) -> Kept:
        """Bring a run's file up to date; `name` is what `place` said. Raises: LinkError, with what came in the part."""
        from breakyard.device.client.download import fetch
        from breakyard.session.files.run_files import has_its_name

        path = self._final(name)
        if path.exists():
            if self.part(name).exists() and has_its_name(self.part(name)):
                self.part(name).unlink()  # a command was stopped when it had given it its name
            return _kept(path)
        self.begin(name, notes or self._notes(name))
        await fetch(client, run, self.part(name), follow=follow, step=step)
        return self._finish(name)

    def _notes(self, name: str) -> "RunNotes | None":
        """Notes for a part that `record` left under a specimen's id."""
        from breakyard.session.files.notes import RunNotes

        known = self.session.specimens() if self.session is not None else ()
        return RunNotes(specimen=name) if any(one.id == name for one in known) else None

    def _final(self, name: str) -> Path:
        return self._folder / f"{name}.run"

    def _finish(self, name: str) -> Kept:
        """Give a run that is complete its final name. Raises: DataError (name taken)."""
        from breakyard.disk.atomic import move_once
        from breakyard.session.files.run_files import finish_run

        part, path = self.part(name), self._final(name)
        kept = _kept(part)
        if not kept.complete:
            return kept
        if self.session is not None:
            finish_run(self.session.layout, name, part)
        else:
            move_once(part, path)
        return Kept(path, kept.complete, kept.sha256)


def _kept(path: Path) -> Kept:
    from breakyard.run import read_run

    run = read_run(path.read_bytes(), name=path.stem)
    return Kept(path, run.loss.complete, run.end.sha256 if run.end is not None else None)
