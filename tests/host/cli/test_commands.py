"""Commands on recordings of other instruments, and what happens when things are wrong."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from .conftest import Said

Breakyard = Callable[..., Said]

PEAK_N = 4500.0
FORCES = {"N": 1.0, "kN": 1000.0, "kgf": 9.80665, "lbf": 4.4482216152605}  # NIST SP 811


def uneven_pull() -> tuple[np.ndarray, np.ndarray]:
    """10 000 uneven steps: 4 s quiet, 450 N/s up to 4500 N at once let go. Newtons."""
    rng = np.random.default_rng(5)
    time = np.cumsum(rng.uniform(0.5, 1.5, 10_000)) * 0.002
    load = np.clip((time - 4.0) * 450.0, 0.0, None)
    load[load > PEAK_N] = 0.0
    return time, load + rng.normal(0.0, 0.5, time.size)


def write_recording(path: Path, unit: str, *, comma: bool) -> None:
    """Two header rows; semicolons with decimal commas, or commas with decimal points."""
    time, load = uneven_pull()
    separator = "," if comma else ";"
    rows = [f"Deck fitting no. 4{separator}", f"Time [s]{separator}Load [{unit}]"]
    for t, f in zip(time, load / FORCES[unit], strict=True):
        row = f"{t:.5f}{separator}{f:.6f}"
        rows.append(row if comma else row.replace(".", ","))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


@pytest.mark.parametrize("unit", sorted(FORCES))
@pytest.mark.parametrize("comma", [False, True], ids=["semicolon", "comma"])
def test_import_then_summarize(breakyard: Breakyard, tmp_path: Path, unit: str, comma: bool) -> None:
    """A recording in any unit and either dialect comes in and is read; its largest sample is the peak."""
    write_recording(tmp_path / "pull.csv", unit, comma=comma)

    imported = breakyard("import", "pull.csv", "--session", "yard", "--json")
    summary = breakyard("summarize", "yard/runs/pull.csv", "--json").document

    assert imported.status == 0
    assert imported.document["samples"] == 10_000
    assert summary["schema"] == "breakyard.summary/1"
    assert summary["peak"]["low_n"] < PEAK_N < summary["peak"]["high_n"]
    assert summary["peak"]["bound"] == "two-sided"
    assert summary["break"]["manner"] == "brittle"
    assert (tmp_path / "yard/runs/pull.csv").read_bytes() == (tmp_path / "pull.csv").read_bytes()


def test_a_recording_is_summarized_where_it_lies(breakyard: Breakyard, tmp_path: Path) -> None:
    """A file outside any session needs no import, and nothing is written beside it."""
    write_recording(tmp_path / "pull.csv", "kN", comma=True)

    said = breakyard("summarize", "pull.csv", "--unit", "kgf")

    assert said.status == 0
    assert "[kgf]" in said.out
    assert [path.name for path in tmp_path.iterdir()] == ["pull.csv"]


def test_a_session_is_not_computed_twice_and_can_be_rebuilt(breakyard: Breakyard, tmp_path: Path) -> None:
    """Results are kept beside the runs; deleting them changes nothing that is reported."""
    for name in ("a", "b"):
        write_recording(tmp_path / f"{name}.csv", "N", comma=True)
        breakyard("import", f"{name}.csv", "--session", "yard", "--specimen", name.upper())

    first = breakyard("summarize", "yard", "--json")
    stamp = (tmp_path / "yard/results/a.summary.json").stat().st_mtime_ns
    second = breakyard("summarize", "yard", "--json")
    untouched = (tmp_path / "yard/results/a.summary.json").stat().st_mtime_ns
    for path in (tmp_path / "yard/results").iterdir():
        path.unlink()
    third = breakyard("summarize", "yard", "--json")

    assert first.document["schema"] == "breakyard.summaries/1"
    assert [pull["specimen"] for pull in first.document["pulls"]] == ["A", "B"]
    assert stamp == untouched
    assert first.out == second.out == third.out


def test_one_bad_recording_does_not_hide_the_others(breakyard: Breakyard, tmp_path: Path) -> None:
    """A session with a recording that shows no pull: the rest is reported, status 1, and the reason is said."""
    write_recording(tmp_path / "good.csv", "N", comma=True)
    noise = np.random.default_rng(1).normal(size=200)
    (tmp_path / "noise.csv").write_text(
        "Time [s],Load [N]\n" + "\n".join(f"{i / 80:.4f},{noise[i]:.3f}" for i in range(200))
    )
    breakyard("import", "good.csv", "--session", "yard")
    breakyard("import", "noise.csv", "--session", "yard")

    said = breakyard("summarize", "yard", "--json")

    assert said.status == 1
    by_name = {pull["name"]: pull for pull in said.document["pulls"]}
    assert by_name["good"]["summary"] is not None
    assert by_name["noise"]["summary"] is None
    assert "noise" in said.complaint


def test_plot_and_export(breakyard: Breakyard, tmp_path: Path) -> None:
    """Pictures in both formats with a text that says what they show; curves with units in their headers."""
    write_recording(tmp_path / "pull.csv", "N", comma=True)

    png = breakyard("plot", "pull.csv", "-o", "pull.png", "--json")
    svg = breakyard("plot", "pull.csv", "-o", "break.svg", "--view", "break", "--dark", "--form", "phone")
    exported = breakyard("export", "pull.csv", "--to", "out", "--unit", "kN", "--decimal", "comma", "--json")

    assert (tmp_path / "pull.png").read_bytes().startswith(b"\x89PNG")
    assert "<svg" in (tmp_path / "break.svg").read_text(encoding="utf-8")
    assert "peak" in png.document["alt"]
    assert svg.status == 0
    assert len(exported.document["files"]) == 2
    header = (tmp_path / "out/pull.curve.csv").read_text(encoding="utf-8-sig").splitlines()[0]
    assert header.startswith("Time [s];Load [kN]")


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["summarize", "missing.run"], "missing.run: there is no such file or folder"),
        (["summarize", "."], "no session here"),
        (["summarize", "junk.run"], "is this a run file?"),
        (["summarize", "pull.csv", "--unit", "kg"], "write kgf if you mean kgf"),
        (["summarize", "pull.csv", "--unit", "stone"], 'unknown unit of force "stone"'),
        (["import", "kg.csv", "--session", "yard"], "kgf"),
        (["import", "words.csv", "--session", "yard"], "words.csv"),
        (["import", "missing.csv"], "missing.csv"),
        (["import", "back.csv", "--session", "yard"], "row"),
        (["plot", "pull.csv", "-o", "picture.gif"], "ends in .png or .svg"),
        (["plot", "pull.csv", "pull.csv", "--view", "break"], "shows one pull"),
        (["calibrate", "junk.run", "--masses", "0, 20 kg"], "is this a run file?"),
        (["demo", "--interpreter", "basic"], '"micropython" or "cpython"'),
    ],
)
def test_wrong_input_gets_one_clear_line(
    breakyard: Breakyard, tmp_path: Path, words: list[str], expected: str
) -> None:
    """Status 2, one line that says what and where, no traceback, nothing written."""
    write_recording(tmp_path / "pull.csv", "N", comma=True)
    (tmp_path / "junk.run").write_bytes(b"\0not a run\0")
    (tmp_path / "kg.csv").write_text("Time [s],Load [kg]\n0,0\n1,2\n2,3\n")
    (tmp_path / "words.csv").write_text("dear diary\nnothing broke today\n")
    (tmp_path / "back.csv").write_text("Time [s],Load [N]\n0,0\n2,2\n1,3\n3,3\n")
    before = sorted(path.name for path in tmp_path.rglob("*"))

    said = breakyard(*words)

    assert said.status == 2
    assert expected in said.complaint
    assert said.out == ""
    assert sorted(path.name for path in tmp_path.rglob("*")) == before


@pytest.mark.parametrize(
    "words", [["summarize"], ["nonsense"], ["export", "x.run"], ["summarize", "x", "--coverage", "2"]]
)
def test_wrong_use_is_status_2(breakyard: Breakyard, words: list[str]) -> None:
    """What the command line itself refuses has the same status."""
    said = breakyard(*words)

    assert said.status == 2
    assert "Traceback" not in said.err


@pytest.mark.parametrize("command", ["demo", "calibrate", "summarize", "plot", "import", "export"])
def test_each_command_explains_itself(breakyard: Breakyard, command: str) -> None:
    """--help tells what the command does and lists its options."""
    said = breakyard(command, "--help")

    assert said.status == 0
    assert "Usage: breakyard" in said.out
    assert "--json" in said.out
    assert len(said.out.splitlines()) > 8


def test_control_characters_from_a_file_do_not_reach_the_terminal(
    breakyard: Breakyard, tmp_path: Path
) -> None:
    """A name that would rewrite the screen is shown with marks in its place."""
    (tmp_path / "bad\x1b[2J.run").write_bytes(b"\0junk\0")

    said = breakyard("summarize", "bad\x1b[2J.run")

    assert said.status == 2
    assert "\x1b" not in said.err


def test_a_machine_test_is_told_as_it_is(breakyard: Breakyard, tmp_path: Path) -> None:
    """kN, uneven steps, a hold of 20 s, two seconds lost, ended at 40 % of the peak, no converter.

    Peak, plateau, gap and early end are told, in JSON and to people; no filter is corrected for.
    """
    rng = np.random.default_rng(7)
    time = np.cumsum(0.1 * (1 + 0.3 * rng.uniform(-1, 1, 500)))
    knots = [0.0, 3.0, 9.0, 29.0, 37.0, 43.0, 47.0]
    load = np.interp(time, knots, [0.0, 0.0, 30.0, 30.0, 52.0, 48.0, 20.8]) + 0.01 * rng.standard_normal(500)
    keep = (time < 47.0) & ((time < 15.0) | (time > 17.0))
    rows = [f"{t:.4f};{f:.4f}".replace(".", ",") for t, f in zip(time[keep], load[keep], strict=True)]
    (tmp_path / "machine.csv").write_text("\n".join(["Zeit [s];Kraft [kN]", *rows]) + "\n")

    summary = breakyard("summarize", "machine.csv", "--accuracy", "0.5", "--json").document
    told = breakyard("summarize", "machine.csv", "--accuracy", "0.5", "--unit", "kN").out

    assert summary["filter"]["source"] == "none"
    assert summary["recovery"] is None
    assert summary["peak"]["regime"] == "slow"
    assert summary["peak"]["estimate_n"] == pytest.approx(52e3, rel=0.01)
    assert summary["first_peak"]["load_n"] == pytest.approx(52e3, rel=0.01)
    assert [round(one["load_n"], -3) for one in summary["plateaus"]] == [30e3]
    assert {"gap", "no_break", "ended_early"} <= set(summary["flags"])
    assert summary["end_load_n"] == pytest.approx(20.8e3, rel=0.1)
    assert summary["strength"]["at_least"]
    for words in ("Plateaus", "Load at the end", "did not break", "Samples are missing", "stated accuracy"):
        assert words in told
