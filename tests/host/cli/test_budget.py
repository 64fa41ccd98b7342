"""Angle and temperature on the command line: in the budget, in newtons, wherever it is shown."""

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from .conftest import Said

Breakyard = Callable[..., Said]

PER_N = 200.0
"""Counts per newton of an invented cell."""


@pytest.fixture
def session(breakyard: Breakyard, tmp_path: Path) -> Path:
    """A session with one recording of counts (300 N/s to 3000 N, let go at once) and a calibration made at 20 C."""
    rng = np.random.default_rng(4)
    time = np.arange(0.0, 20.0, 0.0125)
    load = np.where(time < 14.0, np.clip((time - 4.0) * 300.0, 0.0, None), 0.0)
    counts = np.rint(1000.0 + PER_N * load + rng.normal(0.0, 20.0, time.size)).astype(int)
    rows = [f"{t:.4f},{c}" for t, c in zip(time, counts, strict=True)]
    (tmp_path / "pull.csv").write_text("\n".join(["Time [s],Counts", *rows]) + "\n")
    points = [(0, 0), (1000, 2), (2000, -3), (3000, 1), (2000, 2), (1000, -1), (0, 1)]
    lines = [f"{force},1,{1000 + PER_N * force + off:.0f}" for force, off in points]
    (tmp_path / "points.csv").write_text("\n".join(["Force [N],Uncertainty [N],Counts", *lines]) + "\n")
    breakyard("import", "pull.csv", "--session", "yard")
    made = breakyard(
        *("calibrate", "--points", "points.csv", "--capacity", "5000 N", "--nonlinearity", "0.03"),
        *("--span-per-c", "0.01", "--temperature", "20", "--gain", "128", "--latitude", "50"),
        *("-o", "yard/calibrations/c.json"),
    )
    assert made.status == 0, made.err
    return tmp_path / "yard"


def size(document: dict, source: str) -> float:
    return next((line["standard_n"] for line in document["budget"] if line["source"] == source), 0.0)


def test_angle_and_temperature_are_in_newtons_in_json(breakyard: Breakyard, session: Path) -> None:
    """10 degrees of angle: (1 - cos 10) / sqrt 3 and a twentieth of sin 10 in bending; 15 C apart at 0.01 %/C: 0.15 % /
    sqrt 3, all of the peak. Nothing said: 3 degrees and 20 C; more doubt is never a narrower interval."""
    plain = breakyard("summarize", "yard/runs/pull.csv", "--json").document
    told = breakyard(
        *("summarize", "yard/runs/pull.csv", "--misalignment", "10", "--temperature", "35", "--json")
    ).document

    peak = told["peak"]["estimate_n"]
    assert size(told, "misalignment") == pytest.approx(peak * (1 - math.cos(math.radians(10))) / math.sqrt(3))
    assert size(told, "temperature") == pytest.approx(peak * 0.0015 / math.sqrt(3))
    assert size(told, "bending") == pytest.approx(peak * 0.05 * math.sin(math.radians(10)) / math.sqrt(3))
    assert size(plain, "misalignment") == pytest.approx(peak * (1 - math.cos(math.radians(3))) / math.sqrt(3))
    assert size(plain, "temperature") == pytest.approx(peak * 0.0020 / math.sqrt(3))
    assert told["peak"]["low_n"] <= plain["peak"]["low_n"]
    assert told["peak"]["high_n"] >= plain["peak"]["high_n"]
    assert told["extrapolation"] == pytest.approx(peak / 3000.0)
    assert any("no temperature of the pull was stated" in said for said in plain["assumptions"])
    assert any("15 C from the calibration's 20 C" in said for said in told["assumptions"])


def test_the_budget_is_shown_to_people(breakyard: Breakyard, session: Path) -> None:
    """summarize on one pull prints sources, newtons and what was assumed; the report has the same table."""
    said = breakyard("summarize", "yard/runs/pull.csv", "--misalignment", "5", "--unit", "N")
    reported = breakyard("report", "yard", "--misalignment", "5", "--temperature", "20")
    page = (session / "results/report.html").read_text(encoding="utf-8")

    assert reported.status == 0
    assert "misalignment" in said.out
    assert "Angle: up to 5 degrees" in said.out
    assert "Temperature: up to 20 C" in said.out
    assert "To narrow this most: sight along the line" in " ".join(said.out.split())
    assert "Standard uncertainty [N]" in page
    assert "Angle: up to 5 degrees" in page
    assert "--misalignment 5 --temperature 20" in page


def test_a_kept_result_is_for_one_angle_and_temperature(breakyard: Breakyard, session: Path) -> None:
    """Other options are computed again; the same are not."""
    kept = session / "results/pull.summary.json"
    words = ("summarize", "yard", "--json", "--misalignment")

    breakyard(*words, "5")
    first = kept.stat().st_mtime_ns
    breakyard(*words, "5")
    same = kept.stat().st_mtime_ns
    breakyard(*words, "6")
    other = kept.stat().st_mtime_ns
    breakyard(*words, "6", "--temperature", "5")
    warmer = kept.stat().st_mtime_ns

    assert first == same < other < warmer


@pytest.mark.parametrize("words", [("--misalignment", "50"), ("--temperature", "300")])
def test_senseless_values_are_refused(breakyard: Breakyard, session: Path, words: tuple[str, str]) -> None:
    """One line that names the option and its range; status 2."""
    said = breakyard("summarize", "yard", *words)

    assert said.status == 2
    assert words[0] in said.err
