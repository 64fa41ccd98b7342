"""A session's comparison is made once, and made again when anything that it depends on changes."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import breakyard.comparison
from breakyard.comparison import Comparison
from breakyard.comparison.compare import compare
from breakyard.errors import DataError
from breakyard.formats.read_csv import parse_csv
from breakyard.session.comparing import compare_results
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.kept import COMPARISON
from breakyard.session.session import Session, create_session

LOADS_N = {"A1": 3000.0, "A2": 3100.0, "A3": 3050.0, "B1": 4100.0, "B2": 3900.0, "B3": 4000.0}


@pytest.fixture
def yard(tmp_path: Path) -> Session:
    """Two groups of three that broke; the last was let go, and bears "at least" its load."""
    specimens = [Specimen(name, group=name[0]) for name in LOADS_N]
    session = create_session(tmp_path / "yard", SessionInfo(), specimens)
    for name, peak in LOADS_N.items():
        end = [20.0, 24.0] if name == "B3" else [10.01, 14.0]
        time = np.arange(0.0, end[-1], 0.02)
        load = np.interp(time, [0.0, 3.0, 10.0, *end], [0.0, 0.0, peak, 0.0, 0.0])
        load += 0.3 * np.random.default_rng(1).standard_normal(len(time))
        data = "time_s,load_N\n" + "\n".join(f"{t:.2f},{f:.3f}" for t, f in zip(time, load, strict=True))
        session.add_recording(
            name, data.encode(), parse_csv(data.encode(), name=name), specimen=name, accuracy=0.001
        )
    return session


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[Comparison]:
    """Every comparison that is really made."""
    all_made: list[Comparison] = []

    def counted(*args: object, **options: object) -> Comparison:
        all_made.append(compare(*args, **options))  # type: ignore[arg-type]
        return all_made[-1]

    monkeypatch.setattr(breakyard.comparison, "compare", counted)
    return all_made


def test_it_is_made_once_and_read_back_as_it_was(yard: Session, made: list[Comparison]) -> None:
    """Every figure of what was kept is that of what was made, open ends of intervals included."""
    first, second = yard.compare(), yard.compare()

    assert len(made) == 1
    assert second == first == made[0]


def test_another_question_is_answered_anew(yard: Session, made: list[Comparison]) -> None:
    """Another share worth knowing about, another coverage, another reference."""
    yard.compare()
    for asked in ({"matters": 0.2}, {"reference": "A"}, {"coverage": 0.9}):
        again = yard.compare(**asked)  # type: ignore[arg-type]

        assert again == made[-1]
    assert len(made) == 4


def test_a_specimen_in_another_group_is_compared_anew(yard: Session, made: list[Comparison]) -> None:
    """The pulls' summaries stand; who is in which group does not."""
    yard.compare()
    yard.change_specimens(lambda rows: [replace(one, group="A") if one.id == "B3" else one for one in rows])
    again = yard.compare()

    assert len(made) == 2
    assert [(group.name, group.n) for group in again.groups] == [("A", 4), ("B", 2)]


@pytest.mark.parametrize("spoilt", ["", "[]", "{", '{"made_from": 1}', "cut"])
def test_one_that_cannot_be_read_is_made_again(yard: Session, made: list[Comparison], spoilt: str) -> None:
    """A damaged file is no reason to stop, nor is one whose content is gone."""
    whole = yard.compare()
    path = yard.layout.result_file(COMPARISON)
    if spoilt == "cut":
        document = json.loads(path.read_text())
        del document["groups"]
        spoilt = json.dumps(document)
    path.write_text(spoilt)

    assert yard.compare() == whole
    assert len(made) == 2


def test_it_is_returned_though_it_cannot_be_kept(yard: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    """A medium that takes nothing more; the reason is told."""
    results = yard.results()

    def refused(*_: object) -> None:
        raise DataError("the disk is full")

    monkeypatch.setattr(Session, "write_result", refused)
    reasons: list[str] = []
    found = compare_results(results, not_kept=reasons.append)

    assert found.groups
    assert reasons == ["the disk is full"]


def test_pulls_of_two_sessions_leave_nothing_behind(yard: Session, tmp_path: Path) -> None:
    """Whose results they were, nobody could say."""
    other = create_session(tmp_path / "other", SessionInfo(), [Specimen("C1", group="C")])
    data = yard.layout.runs / "A1.csv"
    other.add_recording(
        "C1",
        data.read_bytes(),
        parse_csv(data.read_bytes(), name="C1"),
        specimen="C1",
        accuracy=0.001,
    )
    found = compare_results([*yard.results(), *other.results()])

    assert len(found.groups) == 3
    assert not yard.layout.result_file(COMPARISON).exists()
    assert not other.layout.result_file(COMPARISON).exists()
