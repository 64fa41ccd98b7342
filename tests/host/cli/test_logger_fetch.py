"""logger fetch over a link that breaks: it goes on by itself, gives up in one line, and Ctrl-C loses nothing."""

import asyncio
import signal
from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from breakyard.cli import output
from breakyard.device import fetching, reach
from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.device.link.base import Link
from breakyard.device.link.memory import CutLink
from breakyard.run import read_run
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session
from breakyard.simulate.logger import VirtualLogger

from .conftest import Said

Cuts = Callable[[Iterable[int]], None]


@pytest.fixture(scope="module")
def flash(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logger's flash with two runs in it, and in `whole` what the runs are."""
    folder = tmp_path_factory.mktemp("flash")

    async def record() -> None:
        async with (
            VirtualLogger(None, ("--runs", str(folder))) as logger,
            Client(logger.link(), answer_timeout_s=60) as client,
        ):
            for _ in range(2):
                run = await client.start()
                await logger.run(20)
                await client.stop()
                await logger.run(2)
                assert await fetch(client, run, folder.parent / f"whole-{run}.run") is not None

    asyncio.run(record())
    return folder


@pytest.fixture
def cut(flash: Path, monkeypatch: pytest.MonkeyPatch) -> Cuts:
    """Let the link of the next command break after so many bytes, and again, and then hold."""

    def give(cuts: Iterable[int]) -> None:
        @asynccontextmanager
        async def make_link(way: str) -> AsyncIterator[Link]:
            async with VirtualLogger(None, ("--runs", str(flash))) as logger:
                link = CutLink(logger.link(), cuts)
                link.read_records = 4
                yield link

        monkeypatch.setattr(fetching, "make_link", make_link)
        monkeypatch.setattr(reach, "PAUSES_S", (0.0,))

    return give


def test_a_link_that_breaks_is_taken_up_again(
    breakyard: Callable[..., Said], cut: Cuts, flash: Path, tmp_path: Path
) -> None:
    """Broken eight times, in answers and in records: every run is here, the same bytes, and nothing else is."""
    cut([700, 900, 1500, 40, 2500, 700, 4000, 1000])
    said = breakyard("logger", "fetch", "--into", tmp_path, "--json")
    runs = said.document["runs"]

    assert said.status == 0
    assert [(one["run"], one["complete"]) for one in runs] == [(1, True), (2, True)]
    for one in runs:
        assert Path(one["file"]).read_bytes() == (flash.parent / f"whole-{one['run']}.run").read_bytes()
    assert len(list(tmp_path.iterdir())) == 2


def test_it_gives_up_in_one_line_and_goes_on_the_next_time(
    breakyard: Callable[..., Said], cut: Cuts, flash: Path, tmp_path: Path
) -> None:
    """A link that brings nothing any more: what came is named, can be read, and is not fetched again."""
    cut([700, 5000, *[1] * 50])
    said = breakyard("logger", "fetch", "2", "1", "--into", tmp_path)
    (part,) = tmp_path.iterdir()

    assert said.status == 2
    assert said.complaint.startswith(
        "breakyard: gave up after 6 attempts in vain (the link broke; connect again)"
    )
    assert f"0 of 2 runs are here, {part} holds what came" in said.complaint
    assert part.name.endswith("-run-2.part")
    assert len(read_run(part.read_bytes()).counts) > 0
    cut([])
    assert breakyard("logger", "fetch", "2", "1", "--into", tmp_path).status == 0
    assert (tmp_path / "logger-05060708-run-2.run").read_bytes() == (
        flash.parent / "whole-2.run"
    ).read_bytes()


def test_a_link_that_never_was_is_said_at_once(
    breakyard: Callable[..., Said], cut: Cuts, tmp_path: Path
) -> None:
    """Nobody answered in the first place: no attempts, one line."""
    cut([0])
    said = breakyard("logger", "fetch", "--into", tmp_path)

    assert (said.status, said.complaint) == (2, "breakyard: the link broke; connect again")


def test_ctrl_c_leaves_what_came(
    breakyard: Callable[..., Said],
    cut: Cuts,
    flash: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Stopped in the middle: one line that names the file, which can be read; the same command goes on."""
    cut([])
    advance, told = output._advance, []

    def strike(*words: Any) -> None:
        """Told of each record that is on disk; at the twentieth somebody presses Ctrl-C."""
        advance(*words)
        told.append(words)
        if len(told) == 20:
            signal.raise_signal(signal.SIGINT)  # os.kill would end the process under Windows

    monkeypatch.setattr(output, "_advance", strike)
    said = breakyard("logger", "fetch", "1", "--into", tmp_path)
    (part,) = tmp_path.iterdir()

    assert said.status == 130
    assert said.complaint == (
        f"breakyard: stopped; 0 of 1 runs are here, {part} holds what came of the next and can be read; "
        "the same command goes on from there"
    )
    assert not read_run(part.read_bytes()).loss.complete
    assert breakyard("logger", "fetch", "1", "--into", tmp_path).status == 0
    assert (tmp_path / "logger-05060708-run-1.run").read_bytes() == (
        flash.parent / "whole-1.run"
    ).read_bytes()


def test_another_logger_in_its_place_is_refused(
    breakyard: Callable[..., Said], flash: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After a loss somebody else answers: nothing of it is taken for the run."""

    class Swapped(CutLink):
        """Leads to another logger once it broke."""

        def __init__(self, first: Link, second: Link) -> None:
            super().__init__(first, [3500])
            self._second = second

        async def connect(self) -> None:
            if self.cut_count:
                self._inner = self._second
            await super().connect()

    @asynccontextmanager
    async def make_link(way: str) -> AsyncIterator[Link]:
        async with (
            VirtualLogger(None, ("--runs", str(flash))) as one,
            VirtualLogger(None, ("--serial", "1112131415161718")) as other,
        ):
            yield Swapped(one.link(), other.link())

    monkeypatch.setattr(fetching, "make_link", make_link)
    monkeypatch.setattr(reach, "PAUSES_S", (0.0,))
    said = breakyard("logger", "fetch", "--into", tmp_path)

    assert said.status == 2
    assert "another logger answers now (1112131415161718)" in said.complaint


def test_what_record_left_is_completed_and_nothing_is_fetched_twice(
    breakyard: Callable[..., Said], cut: Cuts, flash: Path, tmp_path: Path
) -> None:
    """A part under a specimen's id becomes that specimen's run; a run that is here under any name stays as it is."""
    info = SessionInfo(place="yard (invented)")
    session = create_session(tmp_path / "slipway", info, [Specimen("S1"), Specimen("S2")])
    runs = session.layout.runs
    whole = [(flash.parent / f"whole-{run}.run").read_bytes() for run in (1, 2)]
    (runs / "S2.part").write_bytes(whole[1][:4000])
    session.add_run("first pull", whole[0])
    cut([])
    said = breakyard("logger", "fetch", "--into", tmp_path / "slipway")

    assert said.status == 0
    assert sorted(path.name for path in runs.iterdir()) == ["S2.run", "S2.toml", "first pull.run"]
    assert [(runs / name).read_bytes() for name in ("first pull.run", "S2.run")] == whole
    assert [run.notes.specimen for run in session.runs() if run.name == "S2"] == ["S2"]
