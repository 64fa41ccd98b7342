"""What the field page passes on becomes runs of a session, byte for byte, with what was said of them."""

import asyncio
from collections.abc import Callable
from pathlib import Path

import pytest

from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.errors import DataError
from breakyard.run import read_run, read_runs
from breakyard.session.passed_on import read_table, take_apart
from breakyard.simulate.logger import VirtualLogger

from .conftest import Said


@pytest.fixture(scope="module")
def two_runs(tmp_path_factory: pytest.TempPathFactory, micropython: str) -> tuple[bytes, bytes]:
    """Two runs of one virtual logger, as they lie in its store."""
    folder = tmp_path_factory.mktemp("runs")

    async def record() -> list[bytes]:
        found = []
        async with VirtualLogger("micropython") as logger, Client(logger.link()) as client:
            for name in ("a", "b"):
                run = await client.start()
                await logger.run(1.5)
                await client.stop()
                await fetch(client, run, folder / name)
                found.append((folder / name).read_bytes())
        return found

    first, second = asyncio.run(record())
    return first, second


TABLE = (
    "serial,run,specimen,outcome,note,recorded,purpose\r\n"
    "{serial},1,S1,broke,\"first, crack\",2026-11-28T10:00:00.000Z,\r\n"
    "{serial},2,,did not break,'=1+1,2026-11-28T10:05:00.000Z,weighing\r\n"
)  # fmt: skip


def test_both_files_in_one_go(
    breakyard: Callable[..., Said], tmp_path: Path, two_runs: tuple[bytes, bytes]
) -> None:
    """Each run is what it was before it was joined; the words are in its notes; a second time changes nothing."""
    serial = read_run(two_runs[0]).identity.serial.hex()  # type: ignore[union-attr]
    (tmp_path / "pulls.run").write_bytes(two_runs[0] + two_runs[1])
    (tmp_path / "pulls.csv").write_text(TABLE.format(serial=serial), encoding="utf-8")
    words = ("import", "pulls.run", "pulls.csv", "--session", "session", "--json")

    first = breakyard(*words).document
    again = breakyard(*words).document

    kept = [Path(one["file"]) for one in first["runs"]]
    assert [path.read_bytes() for path in kept] == list(two_runs)
    assert kept[0].name == "S1.run"
    assert 'outcome = "broke"' in kept[0].with_suffix(".toml").read_text("utf-8")
    assert "first, crack" in kept[0].with_suffix(".toml").read_text("utf-8")
    assert '"=1+1"' in kept[1].with_suffix(".toml").read_text("utf-8")
    assert 'purpose = "weighing"' in kept[1].with_suffix(".toml").read_text("utf-8")
    assert "\npurpose = " not in kept[0].with_suffix(".toml").read_text("utf-8")
    assert [one["new"] for one in first["runs"]] == [True, True]
    assert [one["new"] for one in again["runs"]] == [False, False]


def test_a_damaged_joined_file_loses_one_record_at_most(two_runs: tuple[bytes, bytes]) -> None:
    """What is damaged stays with its run; nothing of the other is touched."""
    joined = bytearray(two_runs[0] + two_runs[1])
    joined[len(two_runs[0]) // 2] ^= 0x55

    first, second = take_apart(bytes(joined), "pulls.run")

    assert second.data == two_runs[1]
    (whole,) = read_runs(two_runs[0])
    (hurt,) = read_runs(first.data)
    assert not hurt.loss.complete
    assert len(hurt.counts) >= len(whole.counts) - 46


def test_files_that_are_none_get_one_clear_line(breakyard: Callable[..., Said], tmp_path: Path) -> None:
    """Not a run, not a table, a table alone."""
    with pytest.raises(DataError, match="no run in this file"):
        take_apart(b"nothing", "x.run")
    (tmp_path / "t.csv").write_text("serial,run,specimen,outcome,note,recorded\r\n00,x,,,,\r\n")
    with pytest.raises(DataError, match="line 2"):
        read_table(tmp_path / "t.csv")
    alone = breakyard("import", "t.csv", "--session", "s")

    assert alone.status == 2
    assert "the .run file" in alone.complaint
    assert not (tmp_path / "s").exists()


def test_a_run_that_was_cut_off_is_told(
    breakyard: Callable[..., Said], tmp_path: Path, two_runs: tuple[bytes, bytes]
) -> None:
    """It is kept as it is; a line says that it is not whole, and what to do next. The folder was new: that is said."""
    (tmp_path / "cut.run").write_bytes(two_runs[0][: len(two_runs[0]) // 2])

    said = breakyard("import", "cut.run", "--session", "session")

    assert said.status == 0
    assert "not complete" in said.complaint
    assert "next: breakyard next session" in said.out
