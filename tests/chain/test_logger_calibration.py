"""The command that keeps a calibration on the logger, against the virtual one."""

import json
import subprocess
import sys
from pathlib import Path

from breakyard.calibration import calibrate, gravity_at, mass_point


def run(*words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "breakyard", "logger", "calibration", "--link", "virtual", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_stored_and_read_back_with_its_hash(tmp_path: Path) -> None:
    """What comes back from the logger names the calibration that was given to it."""
    made = calibrate(
        [mass_point(0.0, 1000.0), mass_point(20.0, 130_000.0), mass_point(40.0, 259_100.0)],
        gravity=gravity_at(54.3, 3.0),
        name="weights",
        created="2026-05-03T08:00:00+00:00",
    )
    file = tmp_path / "weights.json"
    file.write_text(json.dumps(made.to_json()))

    done = run("--store", str(file), "--json")

    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["kept"]["hash"] == made.content_hash
    assert json.loads(done.stdout)["kept"]["name"] == "weights"


def test_a_logger_without_one_says_so() -> None:
    """Nothing kept is no error."""
    done = run("--json")

    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == {"schema": "breakyard.logger.calibration/1", "kept": None}


def test_a_file_that_is_no_calibration_gets_one_line(tmp_path: Path) -> None:
    """Status 2, one line, no traceback."""
    (tmp_path / "x.json").write_text("{}")

    done = run("--store", str(tmp_path / "x.json"))

    assert done.returncode == 2
    assert "x.json" in done.stderr
    assert len(done.stderr.splitlines()) == 1
