"""What record says around a pull; the logger is played here, so that its words are quick to test."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from breakyard.device.keeping import Kept
from breakyard.device.recording import RecordJob
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session, open_session

Command = Callable[..., Any]


@dataclass
class Played:
    """A logger that has recorded at once; what it got as a job."""

    jobs: list[RecordJob]

    async def record(self, way: str, job: RecordJob, erase: bool) -> Kept:
        self.jobs.append(job)
        name = job.specimen or f"run-{len(self.jobs)}"
        job.keeper.begin(name, job.notes)
        assert job.keeper.session is not None
        path = job.keeper.session.layout.run_file(name)
        path.write_bytes(b"not looked into")
        return Kept(path, True, None)


@pytest.fixture
def played(monkeypatch: pytest.MonkeyPatch) -> Played:
    one = Played([])
    monkeypatch.setattr("breakyard.device.recording.record_pull", one.record)
    return one


def test_the_plan_comes_to_its_end(breakyard: Command, played: Played, tmp_path: Path) -> None:
    """The next specimen is named, after the last one the plan is done, and a pull more is told to be of none."""
    plan = [Specimen("B", "b", order=2), Specimen("A", "a", order=1)]
    create_session(tmp_path / "yard", SessionInfo(), plan)

    first, last, more = (breakyard("record", "yard", "--link", "usb:none") for _ in range(3))

    assert [job.specimen for job in played.jobs] == ["A", "B", ""]
    assert "next: breakyard record yard   (for B)   or known masses" in first.out
    assert "breakyard record yard --now" in first.out  # nothing can be read before
    assert "plan is done" not in first.out
    assert "the plan is done: every specimen has a run\nnext: breakyard compare yard" in last.out
    assert "breakyard record" not in last.out
    assert "each of the 2 specimens has a run; this pull is of none" in more.out


def test_an_invented_pull_says_so_in_its_notes(breakyard: Command, played: Played, tmp_path: Path) -> None:
    """In anybody's session a pull of the virtual logger can be told from one that was pulled."""
    create_session(tmp_path / "yard", SessionInfo(), [Specimen("A", "a")])

    said = breakyard("record", "yard", "--link", "virtual")

    assert "simulated: what is recorded is an invented pull" in said.out
    assert open_session(tmp_path / "yard").notes("A").notes.startswith("simulated")
