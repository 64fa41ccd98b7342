"""The demo, whole: from the model's newtons through firmware, link, decoding and calibration to summaries."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest


def demo(folder: Path, *words: str) -> dict[str, Any]:
    """Run the installed command as a user does; standard output is one JSON document."""
    done = subprocess.run(
        [sys.executable, "-m", "breakyard", "demo", "--folder", str(folder), "--json", *words],
        capture_output=True,
        check=True,
        text=True,
    )
    document: dict[str, Any] = json.loads(done.stdout)
    return document


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("demo") / "session"
    return folder, demo(folder)


@pytest.fixture
def pulls(made: tuple[Path, dict[str, Any]]) -> dict[str, Any]:
    return {pull["specimen"]: pull for pull in made[1]["pulls"]}


def test_four_groups_of_three(pulls: dict[str, Any]) -> None:
    """Twelve pulls in four groups; exactly one is a snatch, one clips, one was let go."""
    groups = [pull["group"] for pull in pulls.values()]
    assert {group: groups.count(group) for group in groups} == {
        "bonded": 3,
        "screwed": 3,
        "riveted": 3,
        "through-bolted": 3,
    }
    assert sorted(pull["spoilt"] or "" for pull in pulls.values()) == [""] * 9 + [
        "clipped",
        "let go",
        "snatch",
    ]


def test_the_true_peak_lies_within_each_interval(pulls: dict[str, Any]) -> None:
    """Two-sided where nothing was spoilt; a lower bound lies below the truth."""
    for pull in pulls.values():
        peak, truth_n = pull["summary"]["peak"], pull["truth"]["peak_n"]
        assert peak["low_n"] <= truth_n
        if pull["spoilt"] in (None, "let go"):
            assert peak["bound"] == "two-sided"
            assert truth_n <= peak["high_n"]
            assert peak["high_n"] - peak["low_n"] < 0.02 * truth_n


@pytest.mark.parametrize(("spoilt", "flag"), [("snatch", "shock"), ("clipped", "clipped")])
def test_snatch_and_clipped_are_lower_bounds(pulls: dict[str, Any], spoilt: str, flag: str) -> None:
    """They carry their flag, a peak that is a lower bound, and a strength that is "at least"."""
    (pull,) = [pull for pull in pulls.values() if pull["spoilt"] == spoilt]

    summary = pull["summary"]
    assert flag in summary["flags"]
    assert summary["peak"]["bound"] == "lower"
    assert summary["peak"]["high_n"] is None
    assert summary["strength"]["at_least"] is True


def test_let_go_has_a_two_sided_peak_and_a_strength_of_at_least(pulls: dict[str, Any]) -> None:
    """The load was measured; what the specimen could bear was not found."""
    (pull,) = [pull for pull in pulls.values() if pull["spoilt"] == "let go"]

    summary = pull["summary"]
    assert summary["peak"]["bound"] == "two-sided"
    assert "no_break" in summary["flags"]
    assert summary["strength"]["at_least"] is True
    assert summary["break"]["manner"] == "none"


def test_manner_of_break_of_the_pulls_that_were_not_spoilt(pulls: dict[str, Any]) -> None:
    """Bonded is brittle, screwed progressive, riveted and through-bolted ductile, as the model made them."""
    for pull in pulls.values():
        if pull["spoilt"] is None:
            assert pull["truth"]["manner"] == pull["summary"]["break"]["manner"]


def test_every_verdict_is_met(made: tuple[Path, dict[str, Any]]) -> None:
    """One clear difference at least, one "no difference shown", one "too few"; never more than the truth bears out."""
    pairs = made[1]["comparison"]["pairs"]
    said = {frozenset((pair["first"], pair["second"])): pair["verdict"] for pair in pairs}

    assert said[frozenset(("bonded", "riveted"))] == "no_difference_shown"
    assert said[frozenset(("bonded", "screwed"))] == "too_few"
    for pair in pairs:
        if "through-bolted" in (pair["first"], pair["second"]):
            assert pair["sentence"].startswith("through-bolted carries about ")


def test_the_session_folder_is_one_that_people_can_open(made: tuple[Path, dict[str, Any]]) -> None:
    """Raw runs, notes, calibration, table of specimens, results and a picture lie where the design says."""
    folder, document = made

    assert {path.name for path in folder.iterdir()} == {
        "session.toml", "specimens.csv", "FILES.txt", "calibrations", "runs", "results",
    }  # fmt: skip
    assert len(list((folder / "runs").glob("*.run"))) == 13
    assert not list((folder / "runs").glob("*.part"))
    assert len(list((folder / "calibrations").glob("*.json"))) == 1
    assert Path(document["picture"]).read_bytes().startswith(b"\x89PNG")
    assert "invented" in (folder / "session.toml").read_text(encoding="utf-8")


def test_the_same_numbers_each_time_and_in_each_interpreter(
    made: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    """CPython in MicroPython's place, in another folder: every number of every summary is the same."""
    again = demo(tmp_path / "again", "--interpreter", "cpython")

    first = made[1]
    assert again["interpreter"] != first["interpreter"] or "cpython" in first["interpreter"]
    assert [pull["summary"] for pull in first["pulls"]] == [pull["summary"] for pull in again["pulls"]]


def test_it_does_not_replace_a_session_of_somebody(tmp_path: Path) -> None:
    """Only a folder that the demo made is replaced."""
    (tmp_path / "session.toml").write_text('place = "home"\n')

    words = [sys.executable, "-m", "breakyard", "demo", "--folder", str(tmp_path)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)

    assert done.returncode == 2
    assert "was not made by the demo" in done.stderr
    assert (tmp_path / "session.toml").exists()
