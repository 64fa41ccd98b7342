"""What is written is whole or not there, whatever fails at whatever operation."""

from collections.abc import Callable
from pathlib import Path

import pytest
from faulty_disk import DEADLY, Disk, Fault, Tree, lay_out, tree_of

from breakyard.disk.atomic import DRAFT, move_once, write_atomically, write_once
from breakyard.disk.folders import replace_folder
from breakyard.errors import DataError

OLD, NEW = b"old " * 40, b"new " * 50


def replace(root: Path) -> None:
    write_atomically(root / "runs" / "notes.toml", NEW)


def once(root: Path) -> None:
    write_once(root / "calibrations" / "april.json", NEW)


def move(root: Path) -> None:
    move_once(root / "runs" / "A1.part", root / "runs" / "A1.run")


def folder(root: Path) -> None:
    replace_folder(root / "site", {"page.html": NEW, "parts/new.css": NEW, "parts/same.css": NEW})


SITE: Tree = {
    "site": None,
    "site/page.html": OLD,
    "site/old": None,
    "site/old/gone.css": OLD,
    "site/parts": None,
    "site/parts/same.css": OLD,
}
BEFORE: Tree = {"runs": None, "runs/notes.toml": OLD, "runs/A1.part": NEW, **SITE}
AFTER: dict[Callable[[Path], None], Tree] = {
    replace: BEFORE | {"runs/notes.toml": NEW},
    once: BEFORE | {"calibrations": None, "calibrations/april.json": NEW},
    move: {"runs": None, "runs/notes.toml": OLD, "runs/A1.run": NEW, **SITE},
    folder: {
        **{name: content for name, content in BEFORE.items() if not name.startswith("site/")},
        "site/page.html": NEW,
        "site/parts": None,
        "site/parts/new.css": NEW,
        "site/parts/same.css": NEW,
    },
}


@pytest.mark.parametrize("links", [True, False], ids=["links", "FAT"])
@pytest.mark.parametrize("fault", list(Fault), ids=lambda fault: fault.name)
@pytest.mark.parametrize("act", list(AFTER), ids=lambda act: act.__name__)
def test_a_file_is_whole_or_not_there(
    act: Callable[[Path], None], fault: Fault, links: bool, tmp_path: Path
) -> None:
    """After a fault at any operation there is the old file or the new one; the same again brings the new one, alone."""
    lay_out(tmp_path, BEFORE)
    whole = Disk(tmp_path, links=links)
    with whole.running():
        act(tmp_path)
    assert tree_of(tmp_path) == AFTER[act]
    for at in range(len(whole.operations)):
        lay_out(tmp_path, BEFORE)
        disk = Disk(tmp_path, fault, at, links)
        told = ""
        with disk.running():
            try:
                act(tmp_path)
            except (DataError, OSError) as error:
                told = str(error)
            except KeyboardInterrupt:
                assert fault is Fault.CTRL_C
        left = tree_of(tmp_path)
        where = f"{fault.value}: {whole.operations[at]}"

        for name, content in left.items():
            if not any(part.startswith((DRAFT, ".ready-")) for part in Path(name).parts):
                assert content in (BEFORE.get(name, b""), AFTER[act].get(name, b"")), (where, name)
        assert any(content == NEW for content in left.values()), where
        assert left.get("runs/notes.toml") in (OLD, NEW), where
        if not disk.dead:
            assert told == "" or "\n" not in told, where
        with Disk(tmp_path, links=links).running():
            act(tmp_path)
        assert tree_of(tmp_path) == AFTER[act], where
    assert whole.operations


def test_the_disk_forgets_what_was_not_forced(tmp_path: Path) -> None:
    """The stand-in itself: a write without fsync is lost with the power, and a name without its folder's."""
    lay_out(tmp_path, {"a": OLD})

    def careless() -> None:
        (tmp_path / "a").write_bytes(NEW)
        (tmp_path / "b").write_bytes(NEW)
        (tmp_path / "c").mkdir()

    for fault, left in (
        (Fault.POWER, {"a": OLD}),
        (Fault.POWER_NAMES_KEPT, {"a": OLD, "b": b"", "c": None}),
        (Fault.KILL, {"a": NEW, "b": NEW}),
    ):
        lay_out(tmp_path, {"a": OLD})
        disk = Disk(tmp_path, fault, 4)
        with disk.running():
            careless()
        assert disk.operations == ["truncate a", "write a", "create b", "write b", "mkdir c"]
        assert disk.dead
        assert tree_of(tmp_path) == left


def test_every_deadly_fault_ends_the_program(tmp_path: Path) -> None:
    """Nothing that follows reaches the disk, not even what is done on the way out."""
    for fault in DEADLY:
        lay_out(tmp_path, {})
        disk = Disk(tmp_path, fault, 0)
        with disk.running():
            try:
                (tmp_path / "a").write_bytes(NEW)
            finally:
                (tmp_path / "b").write_bytes(NEW)
        assert "b" not in tree_of(tmp_path)


def test_a_draft_of_a_writer_that_lives_is_left_alone(tmp_path: Path) -> None:
    """Only one whose writer was killed is removed; which that is, its lock tells."""
    fcntl = pytest.importorskip("fcntl", reason="no such locks on this system: there its age tells")
    dead, alive = tmp_path / f"{DRAFT}dead", tmp_path / f"{DRAFT}alive"
    dead.write_bytes(NEW)
    with alive.open("wb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        write_atomically(tmp_path / "a", NEW)

        assert sorted(path.name for path in tmp_path.iterdir()) == [alive.name, "a"]
    write_atomically(tmp_path / "a", OLD)
    assert [path.name for path in tmp_path.iterdir()] == ["a"]
