"""A second series and marks, as a user brings them."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from terminal import Terminal

from breakyard.formats.read_csv import parse_csv
from breakyard.run import read_run
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session

Command = Callable[..., Any]
K = 9.80665


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """A rope that gives 0.1 mm per kgf: up at 20 kgf/s to 400 kgf, broken at 23 s."""
    made = create_session(tmp_path / "day", SessionInfo(unit="kgf"), [Specimen("S1", "rope")])
    time = np.arange(0.0, 28.0, 0.025)
    load = K * np.interp(time, [0, 3, 23, 23.01, 28], [0, 0, 400, 0, 0])
    load += 0.5 * np.random.default_rng(0).standard_normal(len(time))
    data = "time_s,load_N\n" + "\n".join(f"{t:.3f},{f:.3f}" for t, f in zip(time, load, strict=True))
    made.add_recording(
        "S1", data.encode(), parse_csv(data.encode(), name="S1"), specimen="S1", accuracy=0.001
    )
    return made.root


def write(path: Path, header: str, rows: list[tuple[object, ...]]) -> Path:
    """A table as people type it."""
    path.write_text("\n".join([header, *(",".join(map(str, row)) for row in rows)]), encoding="utf-8")
    return path


def test_a_tape_over_time(session: Path, breakyard: Command, tmp_path: Path) -> None:
    """Every two seconds, from a tape that began at 1000 mm: extension, stiffness 10 kgf/mm, remarks with their load."""
    rows: list[tuple[object, ...]] = [(t, 1000 + 2 * max(t - 3, 0), "") for t in range(1, 23, 2)]
    rows[5] = (*rows[5][:2], "first crack")
    marks = write(tmp_path / "marks.csv", "time_s,length_mm,remark", rows)

    kept = breakyard("attach", "S1", marks, "--session", session)
    told = breakyard("summarize", session / "runs" / "S1.csv")
    summary = breakyard("summarize", session / "runs" / "S1.csv", "--json").document

    assert kept.status == 0, kept.err
    assert "11 lengths, 1 remarks" in kept.out
    assert summary["extension"]["gauge_m"] == pytest.approx(1.0)
    assert summary["extension"]["at_50_percent_m"] == pytest.approx(0.020, rel=0.02)
    assert summary["extension"]["stiffness"]["value"] == pytest.approx(10 * K / 0.001, rel=0.01)
    assert summary["marks"] == [
        {"time_s": pytest.approx(11.0), "load_n": pytest.approx(160 * K, rel=0.01), "text": "first crack"}
    ]
    assert "kgf/mm" in told.out
    assert '"first crack" at 11.0 s, 160' in told.out


@pytest.mark.parametrize(("unit", "in_mm"), [("mm", 1.0), ("in", 25.4)])
def test_loads_and_lengths_without_time(
    session: Path, breakyard: Command, tmp_path: Path, unit: str, in_mm: float
) -> None:
    """load_kgf,mm or load_kgf,in: paired with the loads, shown in the unit they were written in."""
    rows: list[tuple[object, ...]] = [(load, f"{0.1 * load / in_mm:.3f}") for load in range(0, 401, 40)]
    kept = breakyard(
        "attach", "S1", write(tmp_path / "m.csv", f"load_kgf,{unit}", rows), "--session", session
    )
    summary = breakyard("summarize", session / "runs" / "S1.csv", "--json").document

    assert kept.status == 0, kept.err
    assert summary["extension"]["at_peak_m"] == pytest.approx(0.040, rel=0.02)
    assert summary["extension"]["unit"] == unit
    assert "first movement" not in breakyard("plot", session / "runs" / "S1.csv", "--view", "extension").out
    assert (session / "results" / "S1.extension.png").stat().st_size > 5000
    told = breakyard("summarize", session / "runs" / "S1.csv").out
    assert f" {unit} at 100 % of the peak" in told
    assert "that of the lengths (1 %, assumed)" in " ".join(told.split())
    breakyard("attach", "S1", tmp_path / "m.csv", "--session", session, "--accuracy", "3")
    wide = breakyard("summarize", session / "runs" / "S1.csv", "--json").document["extension"]["stiffness"]
    narrow = summary["extension"]["stiffness"]
    assert wide["high"] - wide["low"] > 2.0 * (narrow["high"] - narrow["low"])


@pytest.mark.parametrize("words", [("--offset", "-100"), ("--by-shape",)])
def test_a_clock_of_its_own(
    session: Path, breakyard: Command, tmp_path: Path, words: tuple[str, ...]
) -> None:
    """A camera's clock that is 100 s ahead: stated, or found from the lengths that follow the load."""
    rows: list[tuple[object, ...]] = [(100 + t, f"{2 * max(t - 3, 0):.1f}") for t in np.arange(0, 23, 0.7)]
    marks = write(tmp_path / "m.csv", "time_s,mm", rows)

    wrong = breakyard("attach", "S1", marks, "--session", session)
    kept = breakyard("attach", "S1", marks, "--session", session, *words, "--json").document

    assert wrong.status == 2
    assert "--by-shape" in wrong.complaint
    assert kept["offset_s"] == pytest.approx(-100.0, abs=0.15)
    if words == ("--by-shape",):
        assert kept["offset_low_s"] < -100.0 < kept["offset_high_s"]
    summary = breakyard("summarize", session / "runs" / "S1.csv", "--json").document
    assert summary["extension"]["at_50_percent_m"] == pytest.approx(0.020, rel=0.03)


def test_the_series_is_a_part_of_the_session(session: Path, breakyard: Command, tmp_path: Path) -> None:
    """Kept results are made again with it; a series that was changed since is refused for that pull."""
    before = breakyard("summarize", session / "runs" / "S1.csv", "--json").document
    rows: list[tuple[object, ...]] = [(load, 0.1 * load) for load in range(0, 401, 40)]
    breakyard("attach", "S1", write(tmp_path / "m.csv", "load_kgf,mm", rows), "--session", session)
    after = breakyard("summarize", session / "runs" / "S1.csv", "--json").document
    (session / "runs" / "S1.series.csv").write_text("load_kgf,mm\n0,0\n", encoding="utf-8")
    (session / "results" / "S1.summary.json").unlink()
    changed = breakyard("summarize", session / "runs" / "S1.csv")

    assert before["extension"] is None
    assert after["extension"] is not None
    assert changed.status == 2
    assert "attach it again" in changed.complaint


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("time_s,mm\n0,zero\n", "row 2, mm"),
        ("a,b\n1,2\n", "time_s"),
        ("time_s,load_kgf\n1,2\n", "extension_mm"),
        ("time_s\n", "at least one row"),
    ],
)
def test_a_table_that_is_none(
    session: Path, breakyard: Command, tmp_path: Path, text: str, said: str
) -> None:
    """One line, with what is missing."""
    (tmp_path / "m.csv").write_text(text, encoding="utf-8")

    done = breakyard("attach", "S1", tmp_path / "m.csv", "--session", session)

    assert done.status == 2
    assert said in done.complaint


def test_what_is_typed_while_recording_is_in_the_run(recording: Terminal, tmp_path: Path) -> None:
    """A length and a remark become marks of the run itself, in its own time."""
    recording.press(b"1012 mm\n")
    recording.wait_for(b"marked: 1012 mm")
    recording.press(b"first crack\n")
    recording.wait_for(b"marked: first crack")
    recording.press(b"\x03")

    assert recording.status() == 0, recording.seen
    (kept,) = tmp_path.iterdir()
    run = read_run(kept.read_bytes())
    assert [moment.text for moment in run.moments] == ["1012 mm", "first crack"]
    assert all(-0.5 <= moment.time_s <= run.time_s[-1] + 0.5 for moment in run.moments)
    assert [mark.code for mark in run.marks] == [4, 0]
