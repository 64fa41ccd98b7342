"""One path for command, library and page: the same inputs give the same figures, to the last bit."""

import json
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from step_cuts import cuts_of

from breakyard.calibration import Calibration, KnownLoad, Point, calibrate, parse_load
from breakyard.converter import find_cuts, measure
from breakyard.formats.read_csv import parse_csv
from breakyard.pull.summarize import summarize
from breakyard.session import Session, create_session, open_session
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.responses import keep_response, response_file
from breakyard.session.in_force import load_calibration
from breakyard.session.options import ReadOptions
from breakyard.session.pulls import pulls_of
from breakyard.session.reading import read_pulls
from breakyard.session.recordings import load_curve, load_run
from breakyard.session.reporting import gather


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Session:
    """The demo's session, whose logger's step response was measured too."""
    folder = tmp_path_factory.mktemp("figures") / "yard"
    subprocess.run(
        [sys.executable, "-m", "breakyard", "demo", "--folder", str(folder), "--json"],
        check=True,
        capture_output=True,
    )
    session = open_session(folder)
    run = load_run(next(pull.path for pull in session.pulls if pull.name == "S1"))
    assert run.identity is not None
    conversions = cuts_of(2, 4)
    cuts = find_cuts(conversions.time_s, conversions.counts.astype(float), "cuts")
    logger = run.identity.serial.hex()
    made = replace(
        measure(cuts, logger=logger, created="2026-05-02T08:00:00Z", gain=128, sources=()),
        rate_hz=1.0 / run.period_s,
    )
    keep_response(response_file(session.root, logger), made)
    return session


def test_command_library_and_page_give_the_same_figures(yard: Session) -> None:
    """With a measured response in force that nobody names: all three find it, and say so."""
    done = subprocess.run(
        [sys.executable, "-m", "breakyard", "summarize", str(yard.root), "--json"],
        check=True,
        capture_output=True,
        text=True,
    )
    told = {row["name"]: row["summary"] for row in json.loads(done.stdout)["pulls"]}
    options = ReadOptions()
    library = {
        pull.name: json.loads(json.dumps(summarize(load_curve(pull)).to_json())) for pull in pulls_of(yard)
    }
    content = gather(yard, read_pulls(yard.pulls, options), options, "kgf")
    page = {entry.name: json.loads(json.dumps(entry.summary.to_json())) for entry in content.entries}

    assert len(told) == 12
    assert {summary["filter"]["source"] for summary in told.values()} == {"measured"}
    assert told == library == page


def test_two_processes_give_the_same_figures_as_one(yard: Session) -> None:
    """The second process only saves time."""
    pulls = [replace(pull, session=None) for pull in yard.pulls] * 2
    options = ReadOptions(calibration=yard.calibration_file())

    one = read_pulls(pulls, options, processes=1)
    two = read_pulls(pulls, options, processes=2)

    assert all(result.summary is not None for result in one)
    assert [result.described() for result in one] == [result.described() for result in two]


SLOPE_KGF = 1.0 / 1500.0


def load_of(kilograms: float) -> KnownLoad:
    return parse_load(f"{kilograms:g} kg" if kilograms else "0")


def halved(points: list[Point]) -> Calibration:
    """The same counts for half the masses."""
    halves = [replace(point, load=load_of(float(point.load.text.split()[0]) / 2)) for point in points]
    return calibrate(halves)


def test_counts_of_another_instrument_follow_the_calibration(tmp_path: Path) -> None:
    """A halved calibration halves the peak of an imported table of counts; no kept result hides it.

    The calibration's hash was once left out of what a result of such a table was made from, so that the old peak
    stayed.
    """
    points = [Point(load_of(kg), kg / SLOPE_KGF) for kg in (0.0, 20.0, 40.0, 60.0)]
    session = create_session(tmp_path / "yard", SessionInfo(unit="kgf", calibration="whole"))
    for name, made in (("whole", calibrate(points)), ("half", halved(points))):
        session.add_calibration(name, json.dumps(made.to_json()))
    time = np.arange(0.0, 20.0, 0.0125)
    load_kgf = np.where(time > 4.0, (time - 4.0) * 100.0, 0.0) * (time < 17.0)
    counts = np.round(load_kgf / SLOPE_KGF + np.random.default_rng(1).normal(0.0, 20.0, time.size))
    rows = "\n".join(f"{t:.4f},{int(c)}" for t, c in zip(time, counts, strict=True))
    data = f"Time [s],Counts\n{rows}\n".encode()
    session.add_recording("counts", data, parse_csv(data, name="counts"))

    (whole,) = read_pulls(session.pulls, ReadOptions())
    session = session.write_info(SessionInfo(unit="kgf", calibration="half"))
    (half,) = read_pulls(session.pulls, ReadOptions())
    (again,) = read_pulls(session.pulls, ReadOptions())

    assert whole.summary is not None
    assert half.summary is not None
    assert half.summary.peak.estimate_n == pytest.approx(whole.summary.peak.estimate_n / 2, rel=1e-6)
    assert half.summary.run.calibration_hash == load_calibration(None, session, "").content_hash
    assert again.kept


def test_conditions_count_however_a_recording_is_read(yard: Session, tmp_path: Path) -> None:
    """What the session says of temperature and angle: the front door once read without any of it."""
    import breakyard as by

    folder = tmp_path / "yard"
    shutil.copytree(yard.root, folder, ignore=shutil.ignore_patterns("results"))
    table = open_session(folder).layout.session_file
    text = table.read_text("utf-8")
    table.write_text(
        text.replace("# temperature_C = 12", "temperature_C = 31\nmisalignment_deg = 8"), "utf-8"
    )
    pull = open_session(folder)["S1"]

    (command,) = read_pulls([pull], ReadOptions())
    ways = [by.summarize(pull.path), by.summarize(pull), pull.summary()]

    assert ways == [command.summary] * 3
    assert ways[0] != by.summarize(yard["S1"])
