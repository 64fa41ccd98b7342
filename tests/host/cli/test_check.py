"""breakyard check: a known mass before the day's pulls, its history, its drift, and when to calibrate again."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from breakyard.session.files.checks import COLUMNS

from .calibration_runs import MASSES, PLATE, UTC_S, hung, make_cell, write_run
from .conftest import Said

Breakyard = Callable[..., Said]
DAY_S = 86_400
SERIAL = b"invented".hex()


@pytest.fixture
def yard(breakyard: Breakyard, tmp_path: Path) -> Path:
    """A session whose cell was calibrated with 20, 40 and 60 kg."""
    root = tmp_path / "2026-05-03-slipway"
    (root / "runs").mkdir(parents=True)
    (root / "session.toml").write_text('place = "slip"\nlatitude_deg = 54.0\nheight_m = 0\nunit = "kgf"\n')
    write_run(root / "runs/spring.run", hung())
    assert breakyard("calibrate", root / "runs/spring.run", "--masses", MASSES, *PLATE).status == 0
    return root


def weighed(
    root: Path, day: int, *, output: float = 2.0, zero_mv_v: float = 0.02, again: bool = True
) -> Path:
    """A check with 40 kg on a later day, by a cell whose output may have changed."""
    masses = (0.0, 40.0, 0.0) if again else (0.0, 40.0)
    cell = make_cell(rated_output_mv_v=output, zero_mv_v=zero_mv_v)
    (root / "runs").mkdir(exist_ok=True)
    return write_run(
        root / f"runs/check{day}.run", hung(masses, cell=cell, seed=day), utc_s=UTC_S + day * DAY_S
    )


def test_a_calibration_that_holds(breakyard: Breakyard, yard: Path) -> None:
    """The same cell shows the mass within what is allowed; the table per logger can be opened by people."""
    said = breakyard("check", weighed(yard, 1), "--mass", "40 kg", "--json")
    once_more = breakyard("check", weighed(yard, 2, again=False))

    assert said.status == once_more.status == 0
    assert said.document["schema"] == "breakyard.check/1"
    assert said.document["check"]["holds"]
    assert abs(said.document["check"]["share"]) < 1.0
    assert said.document["check"]["known_n"] == pytest.approx(40 * 9.8145, rel=1e-3)
    assert "The calibration holds" in once_more.out
    table = (yard / f"checks/{SERIAL}.csv").read_text(encoding="utf-8-sig").splitlines()
    assert table[0].startswith("when_utc,hung,known_n,shown_n,difference_n,allowed_n,verdict")
    assert [row.split(",")[0][:10] for row in table[1:]] == ["2026-05-04", "2026-05-05"]
    assert all(",holds," in row for row in table[1:])


def test_the_same_recording_counts_once(breakyard: Breakyard, yard: Path) -> None:
    """Asked twice about one recording, the table has one row."""
    path = weighed(yard, 1)
    breakyard("check", path, "--mass", "40 kg")
    said = breakyard("check", path, "--json")

    assert len(said.document["history"]) == 1


@pytest.mark.parametrize("change", [0.994, 1.006])
def test_a_cell_that_changed_fails(breakyard: Breakyard, yard: Path, change: float) -> None:
    """0.6 % more or less output is beyond the interval: status 1, and it says to calibrate again."""
    said = breakyard("check", weighed(yard, 1, output=2.0 * change), "--mass", "40 kg")

    assert said.status == 1
    assert "no longer holds" in said.out
    assert "calibrate again" in said.out
    assert any("%" in line and "X" in line for line in said.out.splitlines())


def test_masses_of_the_calibration_show_more_than_others(breakyard: Breakyard, yard: Path) -> None:
    """What the calibration and the check share cancels; another mass brings its own doubt."""
    path = weighed(yard, 1)
    same = breakyard("check", path, "--mass", "40 kg", "--json").document["check"]
    other = breakyard("check", path, "--mass", "40 kg +- 0.2 kg", "--json").document["check"]

    assert same["allowed_n"] < 0.5 * other["allowed_n"]
    assert other["allowed_n"] > 1.9 * 0.2 * 9.81 / 3**0.5


def test_a_drift_is_told_before_the_check_fails(breakyard: Breakyard, yard: Path, tmp_path: Path) -> None:
    """Sessions beside one another share the history of a logger; five checks that creep give a day to recalibrate."""
    (tmp_path / "cal.json").write_bytes((yard / "calibrations/spring.json").read_bytes())
    said = None
    for number in range(5):
        root = tmp_path / f"2026-06-0{number}-slipway"
        root.mkdir()
        (root / "session.toml").write_text(
            'place = "slip"\nlatitude_deg = 54.0\nheight_m = 0\nunit = "kgf"\n'
        )
        path = weighed(root, 7 * number, output=2.0 * (1 + 0.0004 * number))
        said = breakyard(
            "check", path, "--mass", "40 kg", "-c", tmp_path / "cal.json", "-p", f"d{number}.svg", "--json"
        )
        assert said.status == 0

    assert said is not None
    drift = said.document["verdict"]["drift"]
    assert len(said.document["history"]) == 5
    assert drift["significant"]
    assert "drifting" in said.document["verdict"]["codes"]
    assert UTC_S + 28 * DAY_S < drift["due_utc_s"] < UTC_S + 88 * DAY_S
    assert (
        "leaves the band" in (tmp_path / "d4.svg").read_text() or (tmp_path / "d4.svg").stat().st_size > 5000
    )


def test_counts_by_hand(breakyard: Breakyard, yard: Path, tmp_path: Path) -> None:
    """Means read elsewhere do as well; the logger is named by hand."""
    made = yard / "calibrations/spring.json"
    said = breakyard(
        "check",
        "--counts",
        "128918",
        "--zero",
        "42948",
        "--mass",
        "40 kg",
        "-c",
        made,
        "--logger",
        "box 2",
        "--json",
    )

    assert said.document["file"].endswith("box-2.csv")
    assert Path(said.document["file"]).exists()
    assert said.document["check"]["shown_n"] == pytest.approx(392.6, abs=1.0)
    assert said.status == 0


def test_a_zero_that_jumped_is_named(breakyard: Breakyard, yard: Path) -> None:
    """0.5 % of the capacity is worth a word, 2 % a warning; neither fails the check by itself."""
    moved = breakyard("check", weighed(yard, 1, zero_mv_v=0.03), "--mass", "40 kg", "--json")
    far = breakyard("check", weighed(yard, 2, zero_mv_v=0.06), "--json")

    assert moved.document["verdict"]["codes"] == ["zero_moved"]
    assert far.document["verdict"]["codes"] == ["zero_far_off"]
    assert moved.status == far.status == 0


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["c.run"], "say what hung with --mass"),
        ([], "give the recording of the check"),
        (["c.run", "--mass", "40 kgf"], "is a force"),
        (["c.run", "--mass", "0"], "needs a mass on the hook"),
        (["--counts", "5", "--mass", "20 kg"], "--counts needs --zero"),
        (["still.run", "--mass", "20 kg"], "still.run: "),
        (["c.run", "--mass", "40 kg", "-c", "none"], "none"),
        (["c.run", "--mass", "40 kg", "--history", "broken.csv"], 'broken.csv, row 2: known_n "lots"'),
    ],
)
def test_wrong_input_gets_one_clear_line(
    breakyard: Breakyard, yard: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], expected: str
) -> None:
    """Status 2, one line, nothing on standard output."""
    monkeypatch.chdir(yard)
    weighed(yard, 3).rename(yard / "c.run")
    write_run(yard / "still.run", hung((0.0,)))
    head = ",".join(COLUMNS)
    (yard / "broken.csv").write_text(f"{head}\n2026-05-03T08:00:00Z,20 kg,lots,1,1,1,holds,1,1,a,b,c\n")

    said = breakyard("check", *words)

    assert said.status == 2
    assert expected in said.complaint
    assert said.out == ""


def test_the_chart_is_made_of_letters(breakyard: Breakyard, yard: Path) -> None:
    """Every terminal shows it, also one that knows only ASCII."""
    said = breakyard("check", weighed(yard, 1), "--mass", "40 kg")

    assert said.out.isascii()
    assert "[" in said.out
    assert sys.getdefaultencoding() == "utf-8"


def test_remounts_take_the_place_of_the_default(breakyard: Breakyard, yard: Path) -> None:
    """Three mountings of one mass: kept beside the checks, taken by later readings of the session's pulls (and those of
    sessions beside it) instead of 0.2 %, with their degrees of freedom; a kept result is made again."""
    write_run(yard / "runs/pull.run", hung((0.0, 400.0, 0.0), seed=9))
    before = breakyard("summarize", yard / "runs/pull.run", "--json").document
    write_run(yard / "runs/remount.run", hung((0.0, 20.0, 0.0, 20.0, 0.0, 20.0, 0.0), seed=5))

    measured = breakyard("check", yard / "runs/remount.run", "--remount", "--json")
    after = breakyard("summarize", yard / "runs/pull.run", "--json").document
    told = breakyard("summarize", yard / "runs/pull.run")

    def line(document: dict) -> dict:
        return next(one for one in document["budget"] if one["source"] == "remounting")

    assert measured.status == 0
    assert measured.document["schema"] == "breakyard.in_use/1"
    assert measured.document["remount"]["freedom"] == 2
    assert (yard / f"checks/{SERIAL}.in_use.json").is_file()
    assert line(before)["shape"] == "rectangular"
    assert line(after)["degrees_of_freedom"] == 2.0
    peak = after["peak"]["estimate_n"]
    assert line(after)["standard_n"] == pytest.approx(measured.document["remount"]["standard"] * peak)
    assert line(after)["standard_n"] < 0.5 * line(before)["standard_n"]
    assert "from repeated mountings" in " ".join(told.out.split())


def test_wrong_recordings_of_remounts_and_holds_get_one_line(breakyard: Breakyard, yard: Path) -> None:
    """A check's recording shows no three mountings and no half hour; both at once is no recording."""
    path = weighed(yard, 1)
    said = [
        breakyard("check", path, "--remount"),
        breakyard("check", path, "--hold"),
        breakyard("check", path, "--hold", "--remount"),
        breakyard("check", "--hold"),
    ]

    assert all(one.status == 2 for one in said)
    assert "check1" in said[0].complaint
    assert "30 are needed" in said[1].complaint
    assert "recording of their own" in said[2].complaint
    assert not list((yard / "checks").glob("*.in_use.json"))
