"""An archive is a backup: whatever stops its writing, each session in it is there, as it was or as it is now."""

from pathlib import Path

import pytest
from faulty_disk import DEADLY, Disk, Fault, lay_out, tree_of

pytest.importorskip("pyarrow")

from breakyard.errors import DataError
from breakyard.formats.archive import ArchivedFile, ArchivedPull, read_files, sessions_in, write_session

NAME = "2026-05-03 slip%way"
OLD = {"session.toml": b"old", "runs/A1.run": b"records"}
NEW = {"session.toml": b"new", "runs/A1.run": b"records", "runs/A2.run": b"more records"}


def write(archive: Path, files: dict[str, bytes], name: str = NAME) -> None:
    pulls = [
        ArchivedPull(Path(one).stem, None, None, problem="unread") for one in files if one.endswith(".run")
    ]
    write_session(archive, name, pulls, [ArchivedFile(*one) for one in files.items()])


def there(archive: Path) -> dict[str, bytes]:
    return {file.path: file.content for file in read_files(archive, NAME)}


@pytest.mark.parametrize("fault", list(Fault), ids=lambda fault: fault.name)
def test_a_session_is_replaced_in_one_step(fault: Fault, tmp_path: Path) -> None:
    """Killed or powerless at any operation, other faults at each fourth: what comes back is whole, old or new."""
    archive = tmp_path / "archive"
    write(archive, {"session.toml": b"another"}, "another")
    write(archive, OLD)
    before = tree_of(archive)
    whole = Disk(archive)
    with whole.running():
        write(archive, NEW)
    after = tree_of(archive)
    assert len(whole.operations) > 25
    everywhere = fault in (Fault.KILL, Fault.POWER)
    for at, operation in enumerate(whole.operations):
        if at % 4 and not everywhere:
            continue
        lay_out(archive, before)
        disk = Disk(archive, fault, at)
        with disk.running():
            try:
                write(archive, NEW)
            except (DataError, KeyboardInterrupt):
                assert not disk.dead
        where = f"{fault.value}: {operation}"

        assert sessions_in(archive) == (NAME, "another"), where
        left = tree_of(archive)
        with Disk(archive, Fault.EROFS, 0).running():  # as it lies, on a card that takes no writing
            assert there(archive) in (OLD, NEW), where
        assert tree_of(archive) == left, where
        found = there(archive)  # and put in order where that is possible
        assert found in (OLD, NEW), where
        assert fault in DEADLY or not list(archive.glob(".ready-*")), where
        with Disk(archive).running():
            write(archive, NEW)
        assert tree_of(archive).keys() == after.keys(), where
        assert there(archive) == NEW, where


def test_a_first_session_is_there_or_not(tmp_path: Path) -> None:
    """Killed while the archive was made: nothing that could be taken for a session is in it, or all of it."""
    whole = Disk(tmp_path)
    with whole.running():
        write(tmp_path / "archive", NEW)
    for at in range(0, len(whole.operations), 2):
        lay_out(tmp_path, {})
        with Disk(tmp_path, Fault.POWER, at).running():
            write(tmp_path / "archive", NEW)
        archive = tmp_path / "archive"
        if archive.exists() and sessions_in(archive):
            assert there(archive) == NEW
        with Disk(tmp_path).running():
            write(archive, NEW)
        assert there(archive) == NEW
