"""Several pulls in one recording, and pulls at a stated speed, as a user meets them."""

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from .conftest import Said

Breakyard = Callable[..., Said]

PEAKS_N = (4000.0, 2500.0, 5200.0)
K_N_PER_M = 50_000.0


def day(path: Path, peaks: tuple[float, ...] = PEAKS_N) -> Path:
    """One ramp of 8 s and break after another, 20 s apart, the first at 5 s."""
    time = np.arange(0.0, 20.0 * len(peaks) + 5.0, 0.02)
    load = 0.5 * np.random.default_rng(1).standard_normal(len(time))
    for i, peak in enumerate(peaks):
        since = time - 20.0 * i - 5.0
        load += np.where((since > 0) & (since < 8.0), peak * since / 8.0, 0.0)
    rows = [f"{t:.3f},{f:.4f}" for t, f in zip(time, load, strict=True)]
    path.write_text("\n".join(["Time [s],Load [N]", *rows]) + "\n")
    return path


@pytest.fixture
def yard(breakyard: Breakyard, tmp_path: Path) -> Path:
    """A session with one recording of three pulls."""
    breakyard("import", day(tmp_path / "day.csv"), "--session", "yard")
    (tmp_path / "yard/specimens.csv").write_text(
        "id,group,order,mass_kg,notes\nA1,a,1,,\nB1,b,2,,\nA2,a,3,,\nB2,b,4,,\n"
    )
    return tmp_path / "yard"


def list_specimens(yard: Path, *names: str) -> None:
    notes = yard / "runs/day.toml"
    listed = ", ".join(f'"{name}"' for name in names)
    notes.write_text(f"specimens = [{listed}]\n" + notes.read_text())


def test_each_pull_gets_a_row(breakyard: Breakyard, yard: Path) -> None:
    """Names, starts and peaks; without a list of specimens no group, and the command says what to write."""
    said = breakyard("summarize", yard)
    pulls = breakyard("summarize", yard, "--json").document["pulls"]

    assert [one["name"] for one in pulls] == ["day#1", "day#2", "day#3"]
    assert [one["part"] for one in pulls] == [1, 2, 3]
    assert [one["group"] for one in pulls] == [None] * 3
    assert [one["summary"]["peak"]["largest_sample_n"] for one in pulls] == pytest.approx(PEAKS_N, rel=0.005)
    assert [one["summary"]["onset_s"] for one in pulls] == pytest.approx([5.0, 25.0, 45.0], abs=0.2)
    assert "3 pulls in one recording, begun at 5" in said.out
    assert "specimens = [" in said.out


def test_cycles_are_told_and_can_be_said_to_be_one_specimen(breakyard: Breakyard, yard: Path) -> None:
    """Let out slowly and loaded again: the rows say how to make one of them, and that command makes one."""
    time = np.arange(0.0, 24.0, 0.02)
    load = np.interp(time, [0, 2, 4, 6, 11, 16, 16.02, 24], [0, 0, 2000, 0, 0, 3000, 0, 0])
    rows = [f"{t:.2f},{f:.2f}" for t, f in zip(time, load, strict=True)]
    table = yard / "again.csv"
    table.write_text("\n".join(["Time [s],Load [N]", *rows]) + "\n")
    breakyard("import", table, "--session", yard)
    kept = yard / "runs/again.csv"

    said = breakyard("summarize", kept)
    one = breakyard("summarize", kept, "--one-specimen", "--json").document
    again = breakyard("summarize", kept, "--json").document

    assert "--one-specimen" in said.out
    assert "again.toml: one_specimen = true" in said.out
    assert [loading["number"] for loading in one["cycles"]] == [1, 2]
    assert one["peak"]["largest_sample_n"] == pytest.approx(3000.0, abs=15.0)
    assert len(again["pulls"]) == 2
    assert "--one-specimen" not in breakyard("summarize", yard / "runs/day.csv").out


def test_listed_specimens_give_groups(breakyard: Breakyard, yard: Path) -> None:
    """Each pull belongs to the specimen listed for it; the comparison uses them, the report shows them."""
    list_specimens(yard, "A1", "B1", "A2")

    pulls = breakyard("summarize", yard, "--json").document["pulls"]
    compared = breakyard("compare", yard, "--json").document
    report = breakyard("report", yard, "--json").document

    assert [(one["specimen"], one["group"]) for one in pulls] == [("A1", "a"), ("B1", "b"), ("A2", "a")]
    assert {group["name"]: group["n"] for group in compared["groups"]} == {"a": 2, "b": 1}
    assert report["pulls"] == 3


def test_without_a_list_none_is_compared(breakyard: Breakyard, yard: Path) -> None:
    """Three pulls of who knows what are not three specimens of a group."""
    said = breakyard("compare", yard)

    assert said.status == 2
    assert "one of several pulls" in said.complaint
    assert "day.toml" in said.complaint


def test_a_list_of_another_length_is_refused(breakyard: Breakyard, yard: Path) -> None:
    """Two names for three pulls: one line, nothing guessed."""
    list_specimens(yard, "A1", "B1")

    said = breakyard("summarize", yard)

    assert said.status == 2
    assert "3 pull(s) found, but its notes list 2 specimens" in said.complaint


def test_results_are_kept_per_pull_and_not_made_twice(breakyard: Breakyard, yard: Path) -> None:
    """The second time they come from results/; a change of the list needs no new computation but new names."""
    first = breakyard("summarize", yard, "--json").document
    kept = yard / "results/day.summaries.json"
    stamp = kept.stat().st_mtime_ns
    second = breakyard("summarize", yard, "--json").document

    assert first == second
    assert kept.stat().st_mtime_ns == stamp
    assert not (yard / "results/day.summary.json").exists()


def test_a_plot_says_which_pull_it_shows(breakyard: Breakyard, yard: Path) -> None:
    """The first one, and how to have another; a number that is not there is refused."""
    first = breakyard("plot", yard / "runs/day.csv")
    second = breakyard("plot", yard / "runs/day.csv", "--pull", "2", "--view", "break", "--json")
    none = breakyard("plot", yard / "runs/day.csv", "--pull", "4")
    whole = breakyard("plot", yard, "--pull", "2", "--view", "session")

    assert "Pull 1 of 3" in first.out
    assert "--pull" in first.out
    assert (second.document["pull"], second.document["pulls"]) == (2, 3)
    assert (yard / "results/day-1.pull.png").exists()
    assert (yard / "results/day-2.break.png").exists()
    assert (none.status, whole.status) == (2, 2)
    assert "3 pull(s)" in none.complaint


def test_exported_curves_are_those_of_the_pulls(breakyard: Breakyard, yard: Path) -> None:
    """One file per pull, none longer than its part."""
    breakyard("export", yard, "--to", "curves")

    files = sorted(Path("curves").glob("*.curve.csv"))
    lengths = [len(path.read_text(encoding="utf-8-sig").splitlines()) for path in files]
    assert [path.name for path in files] == ["day-1.curve.csv", "day-2.curve.csv", "day-3.curve.csv"]
    assert 3200 < sum(lengths) < 3300


@pytest.mark.parametrize(
    ("text", "mm_per_s"),
    [("10", 10.0), ("10 mm/s", 10.0), ("0.6 m/min", 10.0), ("1 cm/s", 10.0), ("0,5", 0.5)],
)
def test_work_of_a_linear_spring_at_a_stated_speed(
    breakyard: Breakyard, tmp_path: Path, text: str, mm_per_s: float
) -> None:
    """Closed form: a spring of k drawn by x stores k x^2 / 2; the speed is part of what the result was made from."""
    peak = K_N_PER_M * 8.0 * mm_per_s / 1000.0  # 8 s at that speed
    day(tmp_path / "spring.csv", (peak,))

    energy = breakyard("summarize", "spring.csv", "--pull-speed", text, "--json").document["energy"]

    reached = 8.0 * mm_per_s / 1000.0
    assert energy["work_to_peak_j"] == pytest.approx(0.5 * K_N_PER_M * reached**2, rel=0.02)
    stiffness = energy["stiffness"]
    assert stiffness["value"] == pytest.approx(K_N_PER_M, rel=0.01)
    # Nobody said how well the speed is known: 5 % is assumed, 1.96 times that either way.
    assert stiffness["high"] / stiffness["value"] >= 1.098
    assert stiffness["low"] / stiffness["value"] <= 0.902
    assert energy["extension_at_peak_m"] == pytest.approx(reached, rel=0.01)
    assert energy["stated_speed_m_per_s"] == pytest.approx(mm_per_s / 1000.0)


def test_without_a_speed_nothing_is_guessed(breakyard: Breakyard, tmp_path: Path) -> None:
    """No energy without a speed; with one, people are told whose stiffness it is; nonsense is refused."""
    day(tmp_path / "one.csv", (4000.0,))

    assert breakyard("summarize", "one.csv", "--json").document["energy"] is None
    told = breakyard("summarize", "one.csv", "--pull-speed", "5").out
    assert "rig and specimen together" in told
    assert re.search(r"stiffness [\d.]+ \([\d.]+ to [\d.]+\) N/mm", " ".join(told.split()))
    for wrong in ("fast", "0", "5 kg/s", "-3", "5 mm", "1000 m/s"):
        said = breakyard("summarize", "one.csv", "--pull-speed", wrong)
        assert said.status == 2
        assert "--pull-speed" in said.err
