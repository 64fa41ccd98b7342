"""Where a fetched run goes: whatever stops the fetching, the run does not forget its specimen, and nothing is lost."""

import asyncio
import json
import sys
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
from faulty_disk import Disk, Fault, lay_out, tree_of

from breakyard.device import recording
from breakyard.device.keeping import Keeper
from breakyard.device.keys import KEYS_VARIABLE, keep_key, read_keys
from breakyard.device.recording import RecordingObserver, RecordJob, record_pull, specimen_for
from breakyard.errors import DataError, FileBusy
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.notes import RunNotes
from breakyard.session.files.specimens import Specimen
from breakyard.session.pulls import pulls_of
from breakyard.session.session import create_session, open_session
from breakyard.simulate.converter import Conversions
from breakyard.wire.frame import FrameReader
from breakyard.wire.records import RunEnd, parse

from ..cli.calibration_runs import hung, write_run


@pytest.fixture(scope="module")
def whole_run(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Three seconds of a run, as a logger writes it."""
    path = write_run(tmp_path_factory.mktemp("run") / "a.run", short(hung((0.0, 20.0)), 270))
    return path.read_bytes()


def short(conversions: Conversions, number: int) -> Conversions:
    return replace(
        conversions,
        **{
            one.name: value[:number]
            for one in fields(conversions)
            if isinstance(value := getattr(conversions, one.name), np.ndarray)
        },
    )


class Store:
    """A logger with one run, as `Keeper` uses its client."""

    def __init__(self, data: bytes) -> None:
        reader = FrameReader()
        reader.receive_data(data)
        reader.receive_end()
        self.records: list[bytes] = []
        while isinstance(raw := reader.next_bytes(), bytes):
            self.records.append(raw)
        self.run = parse(self.records[0]).run

    async def read_record(self, run: int, index: int) -> bytes:
        return self.records[index]

    async def read_run(
        self, run: int, keep: Callable[[bytes], None], *, first: int = 0, follow: bool = False
    ) -> RunEnd | None:
        for raw in self.records[first:]:
            keep(raw)
        end = parse(self.records[-1])
        return end if isinstance(end, RunEnd) else None


def fetch_for(root: Path, store: Store, specimen: str) -> str:
    """As `record` does it: a name, the notes, then the records."""

    async def do() -> str:
        client: Any = store
        keeper = Keeper(root)
        name = await keeper.place(client, store.run, specimen)
        kept = await keeper.fetch(client, store.run, name, notes=RunNotes(specimen))
        assert kept.complete
        return name

    return asyncio.run(do())


def next_specimen(root: Path) -> str:
    return specimen_for(Keeper(root), None, False)


@pytest.fixture
def store(whole_run: bytes) -> Store:
    return Store(whole_run)


@pytest.mark.parametrize("links", [True, False], ids=["links", "FAT"])
@pytest.mark.parametrize("fault", list(Fault), ids=lambda fault: fault.name)
def test_a_run_does_not_forget_its_specimen(
    fault: Fault, links: bool, store: Store, whole_run: bytes, tmp_path: Path
) -> None:
    """Stopped at any operation: once something of the run is here, the next pull is offered the next specimen."""
    root = tmp_path / "yard"
    create_session(root, SessionInfo(), [Specimen("A1"), Specimen("A2")])
    before = tree_of(root)
    whole = Disk(root, links=links)
    with whole.running():
        fetch_for(root, store, "A1")
    after = tree_of(root)
    assert set(after) - set(before) == {"runs/A1.run", "runs/A1.toml"}
    fetched = after["runs/A1.run"]
    assert fetched is not None
    assert fetched.endswith(whole_run)
    for at, operation in enumerate(whole.operations):
        lay_out(root, before)
        disk = Disk(root, fault, at, links)
        with disk.running():
            try:
                fetch_for(root, store, "A1")
            except (DataError, KeyboardInterrupt):
                assert not disk.dead
        where = f"{fault.value}: {operation}"
        session = open_session(root)

        begun = [*session.unfinished(), *(pull.path for pull in pulls_of(session))]
        assert next_specimen(root) == ("A2" if begun else "A1"), where
        assert len(begun) <= 1, where
        assert all(path.read_bytes() == fetched for path in begun if path.suffix == ".run"), where
        assert [pull.specimen for pull in pulls_of(session)] in ([], ["A1"]), where
        with Disk(root, links=links).running():
            assert fetch_for(root, store, "A1") == "A1", where
        assert tree_of(root) == after, where


@pytest.mark.parametrize("fault", [Fault.EROFS, Fault.ENOSPC], ids=lambda fault: fault.name)
def test_nothing_is_armed_for_a_folder_that_takes_no_files(
    fault: Fault, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run that would find no place is not begun: the logger is not even spoken to, and one line says why."""
    root = tmp_path / "yard"
    create_session(root, SessionInfo(), [Specimen("A1")])
    before = tree_of(root)
    monkeypatch.setattr(recording, "make_link", lambda *_, **__: pytest.fail("the logger was spoken to"))
    job = RecordJob(Keeper(root), "A1", False, None, cast(RecordingObserver, None))
    with Disk(root, fault, 0).running(), pytest.raises(DataError) as told:
        asyncio.run(record_pull("virtual", job, False))

    assert "runs: nothing can be written there" in str(told.value)
    assert tree_of(root) == before


def test_a_run_without_its_notes_is_that_of_the_specimen_it_is_called_after(
    whole_run: bytes, tmp_path: Path
) -> None:
    """As an earlier version left it when it was killed between the two."""
    session = create_session(tmp_path / "yard", SessionInfo(), [Specimen("A1"), Specimen("A2")])
    session.add_run("A1", whole_run)

    assert next_specimen(session.root) == "A2"


def test_a_whole_part_beside_half_a_run_is_used(store: Store, whole_run: bytes, tmp_path: Path) -> None:
    """As an earlier version left it on a card without hard links: nothing is thrown away, all of the run is here."""
    session = create_session(tmp_path / "yard", SessionInfo(), [Specimen("A1")])
    half = whole_run[: len(whole_run) // 2]
    session.layout.run_file("A1").write_bytes(half)
    (session.layout.runs / "A1.part").write_bytes(whole_run)
    fetch_for(session.root, store, "A1")

    contents = {path.name: path.read_bytes() for path in session.layout.runs.glob("*.run")}
    assert contents == {"A1.run": half, "A1-2.run": whole_run}
    assert session.unfinished() == ()


@pytest.mark.parametrize("fault", list(Fault), ids=lambda fault: fault.name)
def test_no_key_is_lost(fault: Fault, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped at any operation, the file of keys holds the old ones, or the old ones and the new."""
    monkeypatch.setenv(KEYS_VARIABLE, str(tmp_path / "keys" / "keys.json"))
    keep_key("aa", bytes([1]) * 32)
    before = tree_of(tmp_path)
    old, new = {"aa": bytes([1]) * 32}, {"aa": bytes([1]) * 32, "bb": bytes([2]) * 32}
    whole = Disk(tmp_path)
    with whole.running():
        keep_key("bb", new["bb"])
    for at in range(len(whole.operations)):
        lay_out(tmp_path, before)
        disk = Disk(tmp_path, fault, at)
        with disk.running():
            try:
                keep_key("bb", new["bb"])
            except (DataError, KeyboardInterrupt):
                assert not disk.dead
        assert read_keys() in (old, new)
        keep_key("bb", new["bb"])
        assert read_keys() == new
        assert [path.name for path in (tmp_path / "keys").iterdir()] == ["keys.json"]
        if sys.platform != "win32":
            assert (tmp_path / "keys" / "keys.json").stat().st_mode & 0o077 == 0


def test_who_is_at_work_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second command waits, and says in the end who has the file."""
    from breakyard.disk import alone

    monkeypatch.setattr(alone, "WAIT_S", 0.0)
    monkeypatch.setattr(sys, "argv", ["/usr/bin/breakyard", "check", "runs/x.run"])
    path = tmp_path / "checks" / "a.csv"
    with alone.alone_with(path):
        with pytest.raises(FileBusy) as busy, alone.alone_with(path):
            pass
        with alone.alone_with(tmp_path / "b.csv"):
            pass
    with alone.alone_with(path):
        pass

    import os

    assert f"breakyard check, process {os.getpid()}, is at work on it" in str(busy.value)
    assert json.dumps(str(busy.value)).count("\\n") == 0
    assert list(tmp_path.iterdir()) == []
