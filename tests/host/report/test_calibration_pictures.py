"""Pictures of a calibration's recording and of check weighings: what they mark, and the words that go with them."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from breakyard.calibration import (
    Calibration,
    CalibrationPlateaus,
    Plate,
    calibrate,
    gravity_at,
    parse_loads,
    points_from_run,
)
from breakyard.calibration.check_weighing import DAY_S, CheckWeighing, judge
from breakyard.errors import UnitError
from breakyard.report.figures.calibration_figure import calibration_figure
from breakyard.report.figures.check_figure import check_figure
from breakyard.report.figures.plateau_figure import plateau_figure
from breakyard.report.figures.style import VERMILLION
from breakyard.run import Run, run_from_columns

LEVELS = (0.0, 20.0, 40.0, 60.0, 40.0, 20.0, 0.0)
STATED = "0, 20 kg, 40 kg, 60 kg, 40 kg, 20 kg, 0"


def recording() -> Run:
    """Seven steps of 12 s at 80 a second, two seconds of handling before each but the first."""
    rng = np.random.default_rng(3)
    parts = [np.full(960, LEVELS[0])]
    for before, after in pairwise(LEVELS):
        parts += [np.linspace(before, after, 160), np.full(960, after)]
    kilograms = np.concatenate(parts)
    counts = 43_000 + 4294.0 * kilograms + rng.normal(0.0, 39.0, len(kilograms))
    return run_from_columns(np.arange(len(counts)) / 80.0, np.rint(counts).astype(np.int32), name="bench")


def made(stated: str = STATED) -> tuple[Run, CalibrationPlateaus, Calibration]:
    run = recording()
    points, plateaus = points_from_run(run, parse_loads(stated, mass_limit=0.0005))
    plate = Plate(2000 * 9.80665, 2.0, nonlinearity=0.0003)
    return run, plateaus, calibrate(points, plate=plate, gravity=gravity_at(54.0), name="bench")


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize("form", ["wide", "phone"])
def test_the_recording_marks_what_was_used(mode: str, form: str) -> None:
    """Seven numbered stretches above, seven means below, and the words say how many samples were used."""
    run, plateaus, calibration = made()
    picture = plateau_figure(run, plateaus, calibration, unit="kgf", mode=mode, form=form)  # type: ignore[arg-type]
    upper, lower = picture.figure.axes[:2]

    assert [text.get_text() for text in upper.texts] == list("1234567")
    thick = [line for line in upper.lines if line.get_linewidth() > 3.0]
    assert len(thick) == 7
    for line, level in zip(thick, LEVELS, strict=True):
        assert np.nanmean(line.get_ydata()) == pytest.approx(level * 1.0005, abs=0.1)
    assert len([line for line in lower.lines if line.get_marker() == "."]) == 7
    assert f"{int(plateaus.used.sum())} of {run.counts.size} samples used" in upper.get_title(
        loc="left"
    ).replace("\n", " ")
    assert "empty, 20 kg, 40 kg, 60 kg, 40 kg, 20 kg, empty" in picture.alt


def test_a_doubtful_stretch_has_its_own_colour_and_its_own_line_in_the_key() -> None:
    """A wrong mass is shown in both pictures; without one nothing is."""
    run, plateaus, calibration = made(STATED.replace("60 kg, 40 kg", "60 kg, 45 kg"))
    used = plateau_figure(run, plateaus, calibration, unit="kgf")
    fit = calibration_figure(calibration, unit="kgf")
    sound = calibration_figure(made()[2], unit="kgf")

    odd = [n for n, line in enumerate(one for one in used.figure.axes[0].lines if one.get_linewidth() > 3.0)
           if line.get_color() == VERMILLION]  # fmt: skip
    assert odd == [4]

    def key(picture: object) -> str:
        return " ".join(text.get_text() for text in picture.figure.legends[0].get_texts())  # type: ignore[attr-defined]

    assert "does not fit the others" in key(used)
    assert "does not fit the others" in key(fit)
    assert "does not fit the others" not in key(sound)
    assert "limits for 95 % of such readings" in key(sound)


def test_checks_show_band_failures_and_drift() -> None:
    """Checks within the band and beyond it have different signs; a drift has a line with its day."""
    _, _, calibration = made()
    checks = [
        CheckWeighing(
            n * 7 * DAY_S, "40 kg", 392.6, 392.6 + 0.02 * n, 0.15, 4.3e4, 2.1e5, calibration.content_hash
        )
        for n in range(6)
    ]
    drifting = check_figure(checks, judge(calibration, checks))
    failed = [*checks, replace(checks[-1], when_utc_s=42 * DAY_S, shown_n=393.0)]
    beyond = check_figure(failed, judge(calibration, failed), mode="dark", form="phone")

    texts = [text.get_text() for text in drifting.figure.legends[0].get_texts()]
    assert any("days from the last check" in text.replace("\n", " ") for text in texts)
    assert "It drifts" in drifting.alt
    assert any(line.get_marker() == "X" for line in beyond.figure.axes[0].lines)
    assert "no longer holds" in beyond.alt


def test_a_single_check_can_be_drawn() -> None:
    """The first check has a picture too."""
    _, _, calibration = made()
    only = CheckWeighing(0.0, "40 kg", 392.6, 392.61, 0.15, 4.3e4, 2.1e5, calibration.content_hash)

    picture = check_figure([only], judge(calibration, [only]))
    assert picture.svg().startswith(b"<?xml")


def test_a_mass_is_no_unit_of_the_picture() -> None:
    """kg is refused with an offer of kgf."""
    run, plateaus, calibration = made()
    with pytest.raises(UnitError, match="kgf"):
        plateau_figure(run, plateaus, calibration, unit="kg")
