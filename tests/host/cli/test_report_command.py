"""From a session's folder to its report, through the command itself."""

import base64
import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import typer
from PIL import Image

from breakyard.cli import report
from breakyard.errors import UsageError
from breakyard.formats.read_csv import parse_csv
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import Session, create_session

Command = Callable[..., Any]


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


def photo(path: Path, size: tuple[int, int], orientation: int = 1) -> None:
    """A picture as a phone saves it: the turn of the camera beside the pixels, and the place."""
    path.parent.mkdir(parents=True, exist_ok=True)
    picture = Image.new("RGB", size, "sienna")
    exif = picture.getexif()
    exif[0x0112] = orientation
    exif[0x8825] = {1: "N", 2: (54.0, 1.0, 0.0)}
    picture.save(path, exif=exif)


def embedded(page: str) -> list[Image.Image]:
    """The pictures in a page."""
    return [
        Image.open(io.BytesIO(base64.b64decode(data)))
        for data in re.findall(r'src="data:image/jpeg;base64,([^"]+)"', page)
    ]


def test_photos_that_the_notes_name_are_on_the_page(breakyard: Command, tmp_path: Path) -> None:
    """Beside the notes, in the session's folder, in photos/ and kept by the command: small, upright, without a place.

    One that is missing, no picture, or outside of the session is said, on the page and in a line. Tags: Exif 2.3.
    """
    session = make_session(tmp_path / "yard")
    photo(session.root / "runs" / "beside.jpg", (1600, 900))
    photo(session.root / "root.jpg", (1600, 900), orientation=6)
    photo(session.root / "photos" / "folder.jpg", (300, 200))
    photo(tmp_path / "secret.jpg", (300, 200))
    photo(tmp_path / "camera.jpg", (1000, 1000))
    (session.root / "torn.jpg").write_bytes((session.root / "root.jpg").read_bytes()[:900])
    named = ("beside.jpg", "root.jpg", "folder.jpg", "lost.jpg", "../secret.jpg", "torn.jpg")
    session.change_notes("A1", lambda notes: replace(notes, photos=named))
    breakyard("photo", "B1", tmp_path / "camera.jpg", "--session", session.root)

    done = breakyard("report", session.root)
    page = (session.root / "results" / "report.html").read_text(encoding="utf-8")

    assert done.status == 0, done.err
    assert [one.size for one in embedded(page)] == [(800, 450), (450, 800), (300, 200), (800, 800)]
    assert all(not one.getexif() for one in embedded(page))
    for name in ("lost.jpg", "../secret.jpg", "torn.jpg"):
        assert re.search(rf"Photo {re.escape(name)}: ", page)
        assert f"breakyard: A1: photo {name}: " in done.err
    assert "beside.jpg" not in done.err


def test_a_sheet_has_the_same_photos(breakyard: Command, tmp_path: Path) -> None:
    """Those that the notes name, too; a torn one does not take the sheet with it."""
    session = make_session(tmp_path / "yard")
    photo(session.root / "runs" / "beside.jpg", (1600, 900))
    photo(session.root / "photos" / "A1" / "1.jpg", (1600, 1200))
    (session.root / "photos" / "A1" / "2.jpg").write_bytes(b"torn")
    session.change_notes("A1", lambda notes: replace(notes, photos=("beside.jpg",)))

    done = breakyard("sheet", "A1", "--session", session.root)
    page = (session.root / "results" / "A1.sheet.html").read_text(encoding="utf-8")

    assert done.status == 0, done.err
    assert [one.size for one in embedded(page)] == [(800, 450), (800, 600)]
    assert "Photo 2.jpg: " in page
