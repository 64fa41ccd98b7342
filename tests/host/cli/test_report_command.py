"""From a session's folder to its report, through the command itself."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import typer

from breakyard.cli import report
from breakyard.errors import UsageError
from breakyard.formats.read_csv import parse_csv
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import Session, create_session


def pull(peak_n: float, seed: int) -> bytes:
    """A recording at 80/s: 3 s quiet, 300 N/s up to the peak, gone at once."""
    time = np.arange(0.0, 5.0 + peak_n / 300.0, 0.0125)
    load = np.clip((time - 3.0) * 300.0, 0.0, None)
    load[load > peak_n] = 0.0
    load += np.random.default_rng(seed).normal(0.0, 0.5, time.size)
    return (
        "Time [s],Load [N]\n" + "\n".join(f"{t:.4f},{f:.3f}" for t, f in zip(time, load, strict=True))
    ).encode()


def make_session(root: Path, rig: Any = "") -> Session:
    """Two groups of two, and one recording without a pull."""
    info = SessionInfo(place="yard (invented)", unit="kgf", rig=rig)
    groups = {"A1": "a", "A2": "a", "B1": "b", "B2": "b"}
    session = create_session(root, info, [Specimen(name, group=group) for name, group in groups.items()])
    for at, (name, peak) in enumerate(zip(groups, (3000.0, 3100.0, 4500.0, 4600.0), strict=True)):
        data = pull(peak, at)
        session.add_recording(name, data, parse_csv(data, name=name), specimen=name, accuracy=0.002)
    return session


def run(capsys: pytest.CaptureFixture[str], folder: Path, *also: Path, **options: Any) -> dict[str, Any]:
    """Run the command with --json; returns its document."""
    given = {
        "output": None,
        "unit": None,
        "calibration": None,
        "accuracy": None,
        "coverage": 0.95,
        "matters": "10%",
    }
    given |= {"markdown": False, "pictures": None, "as_json": True}
    report.command([folder, *also], **(given | options))
    document: dict[str, Any] = json.loads(capsys.readouterr().out)
    return document


def test_a_session_becomes_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The page goes into results/, with Markdown and every picture beside it when asked for."""
    session = make_session(tmp_path / "yard")

    found = run(capsys, session.root, markdown=True, pictures=report.PictureKind.SVG)

    page = session.root / "results" / "report.html"
    assert found["schema"] == "breakyard.report/1"
    assert found["pulls"] == 4
    assert found["comparison"]["schema"] == "breakyard.comparison/2"
    assert Path(found["page"]).read_bytes() == page.read_bytes()
    assert "yard (invented)" in page.read_text(encoding="utf-8")
    names = {Path(path).name for path in found["files"]}
    assert {
        "report.html",
        "report.md",
        "all-pulls.svg",
        "strengths.svg",
        "A1.pull.svg",
        "B2.break.svg",
    } <= names
    assert all(Path(path).stat().st_size > 500 for path in found["files"])


def test_what_could_not_be_read_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One recording without a pull: the others are reported, status 1, and the page names it."""
    session = make_session(tmp_path / "yard")
    noise = pull(0.0, 9)
    session.add_recording("noise", noise, parse_csv(noise, name="noise"))

    with pytest.raises(typer.Exit) as stopped:
        run(capsys, session.root)

    assert stopped.value.exit_code == 1
    assert "noise" in capsys.readouterr().err
    assert "noise: " in (session.root / "results" / "report.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("rig", "wanted"),
    [
        ("a van and a tree", "a van and a tree"),
        ({"expected": "300 kg"}, "The rig could not be checked: session.toml: [rig], expected: "),
        ({"expected": "300..500 kgf"}, "No part of the line is described"),
    ],
    ids=["words", "a mass", "no parts"],
)
def test_any_rig_is_told_or_its_fault_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], rig: Any, wanted: str
) -> None:
    """A rig in words, one with a mistake, one without parts: a report all the same."""
    session = make_session(tmp_path / "yard", rig)

    run(capsys, session.root)

    assert wanted in (session.root / "results" / "report.html").read_text(encoding="utf-8")


def test_no_session_is_one_clear_line(tmp_path: Path) -> None:
    """An error of ours, which the command line turns into one line and status 2."""
    with pytest.raises(UsageError, match="no session here"):
        report.command([tmp_path])


def test_several_sessions_become_one_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same ids on two days: every name begins with its day's; the page lies where the command was given."""
    monkeypatch.chdir(tmp_path)
    days = [make_session(tmp_path / name, {"expected": "300..500 kgf"}).root for name in ("day1", "day2")]

    found = run(capsys, *days)

    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert found["page"] == "report.html"
    assert found["pulls"] == 8
    assert all(f"{day}/{name}" in page for day in ("day1", "day2") for name in ("A1", "A2", "B1", "B2"))
    assert all(f"{day}/specimens.csv" in page for day in ("day1", "day2"))
    assert "breakyard report day1 day2" in page
    assert page.count("No part of the line is described") == 2


def test_a_report_of_a_recording_is_about_that_recording(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One pull, nothing compared, the session's own page and table left alone."""
    session = make_session(tmp_path / "yard")

    found = run(capsys, session.root / "runs" / "A1.csv")

    page = (session.root / "results" / "A1.report.html").read_text(encoding="utf-8")
    assert found["pulls"] == 1
    assert found["comparison"] is None
    assert "runs/A1.csv" in page
    assert "runs/B1.csv" not in page
    assert "breakyard compare" not in page
    assert not (session.root / "results" / "report.html").exists()
    assert not (session.root / "results" / "summaries.csv").exists()


def test_recordings_and_sessions_are_not_mixed(tmp_path: Path) -> None:
    """It says which path is a recording."""
    session = make_session(tmp_path / "yard")

    with pytest.raises(SystemExit):
        report.command([session.root, session.root / "runs" / "A1.csv"])
