"""Pictures: complete, in words too, the same each time, and with nothing written over the data."""

import io
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image

from breakyard.calibration import Plate, calibrate, gravity_at, mass_point
from breakyard.curve import LoadCurve
from breakyard.errors import UnitError, UsageError
from breakyard.pull.results import Recovery, Summary
from breakyard.report.figures.calibration_figure import calibration_figure
from breakyard.report.figures.overlay_figure import overlay_figure
from breakyard.report.figures.pull_figure import break_figure, pull_figure
from breakyard.report.figures.run_figure import run_figure
from breakyard.report.figures.style import ORANGE, FigurePicture, thinned
from breakyard.report.overlay import DrawnPull
from breakyard.report.trace import make_trace
from breakyard.run import Converter, run_from_columns

Make = Callable[..., Summary]

CLIPPED = {
    "peak": {"bound": "lower", "high_n": None},
    "strength": {"at_least": True, "high_n": None},
    "flags": ("clipped", "extrapolated"),
}


def key_of(picture: FigurePicture) -> list[str]:
    """The lines of the key."""
    return [text.get_text().replace("\n", " ") for text in picture.figure.legends[0].get_texts()]


def texts(figure: Figure) -> list[Text]:
    """All texts that are drawn: labels of ticks beyond the ends of an axis are not."""
    beyond = {
        id(label)
        for axes in figure.axes
        for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim()))
        for place, label in zip(axis.get_majorticklocs(), axis.get_majorticklabels(), strict=True)
        if not low <= place <= high
    }
    found = figure.findobj(Text)
    return [
        text for text in found if text.get_text().strip() and text.get_visible() and id(text) not in beyond
    ]


def check_layout(picture: FigurePicture) -> None:
    """No text lies over the data, over another text, or outside the picture."""
    figure = picture.figure
    figure.draw_without_rendering()
    boxes = [(text.get_text(), text.get_window_extent()) for text in texts(figure)]
    data = [(f"axes {at}", axes.get_window_extent()) for at, axes in enumerate(figure.axes)]
    assert len(boxes) > 10
    for words, box in boxes:
        inside = (box.x0, box.y0, figure.bbox.x1 - box.x1, figure.bbox.y1 - box.y1)
        assert min(inside) >= -1.0, words
    for (one, a), (other, b) in [*combinations(boxes, 2), *((text, area) for text in boxes for area in data)]:
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        along = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert across <= 1.0 or along <= 1.0, (one, other)


@pytest.mark.parametrize("form", ["wide", "phone"])
@pytest.mark.parametrize("mode", ["light", "dark"])
def test_a_pull_shows_all_that_was_read(curve: LoadCurve, make_summary: Make, mode: str, form: str) -> None:
    picture = pull_figure(curve, make_summary(), unit="kgf", title="B1", mode=mode, form=form)  # type: ignore[arg-type]
    key = " | ".join(key_of(picture))

    for words in (
        "zero of this pull",
        "onset, 2.00 s",
        "first peak, 305.9 kgf",
        "peak, 407.9 (405.6 to 410.3) kgf",
        "settled load, 387.5 kgf",
        "partial drop",
        "plateau",
        "break, 12.00 s; ductile",
        "samples missing",
        "sample left out",
    ):
        assert words in key
    check_layout(picture)


def test_a_clipped_pull_is_at_least(curve: LoadCurve, make_summary: Make) -> None:
    clipped = curve.time_s > 11.9
    marked = replace(
        curve, clipped=clipped & (curve.load_n > 3900), usable=~(clipped & (curve.load_n > 3900))
    )

    picture = pull_figure(marked, make_summary(**CLIPPED), form="phone")

    key = " | ".join(key_of(picture))
    assert "peak, at least 3970 N (arrow: or more)" in key
    assert "off the converter's scale" in key
    assert "Doubt: off scale" in key
    assert "Note: beyond the known loads" in key
    check_layout(picture)


def test_glitches_do_not_squeeze_the_curve(curve: LoadCurve, make_summary: Make) -> None:
    """A spike to twenty times the peak is marked at the edge and leaves the scale alone."""
    picture = pull_figure(curve, make_summary())

    assert picture.figure.axes[0].get_ylim()[1] < 5000


def test_missing_samples_break_the_line(curve: LoadCurve, make_summary: Make) -> None:
    trace = make_trace(curve, make_summary(), "kN")
    missing = np.isnan(trace.load)

    assert missing.sum() == 1
    assert 5.0 < trace.time_s[missing][0] < 5.2
    np.testing.assert_allclose(np.nanmax(trace.load), 4.0, rtol=0.01)
    assert trace.left_out_s.tolist() == [7.0]


@pytest.mark.parametrize("form", ["wide", "phone"])
def test_the_break_in_detail(curve: LoadCurve, make_summary: Make, form: str) -> None:
    recovery = Recovery((11.9, 12.0), (3980.0, 4000.0), (11.9, 12.0, 12.02), (3960.0, 3990.0, 1500.0), 0.4)

    picture = break_figure(curve, make_summary(recovery=recovery), title="B1", form=form)  # type: ignore[arg-type]

    low, high = picture.figure.axes[0].get_xlim()
    assert (low, high) == pytest.approx((-0.15, 0.15))
    assert any("recovered" in words for words in key_of(picture))
    assert picture.alt.startswith("300 ms around the break of B1")
    check_layout(picture)


def test_a_slow_instrument_shows_a_longer_stretch(curve: LoadCurve, make_summary: Make) -> None:
    slow = LoadCurve(
        "slow", curve.time_s[::40], curve.load_n[::40], curve.usable[::40], curve.clipped[::40], period_s=0.5
    )
    summary = make_summary(failure={"manner": "none", "time_s": None, "load_n": None, "residual_n": None})

    picture = break_figure(slow, summary)

    low, high = picture.figure.axes[0].get_xlim()
    assert high - low == pytest.approx(6.0)
    assert "around the peak" in picture.alt


@pytest.mark.parametrize("align", ["rise", "peak"])
@pytest.mark.parametrize("form", ["wide", "phone"])
def test_an_overlay_dashes_and_numbers_doubtful_pulls(
    curve: LoadCurve, make_summary: Make, align: str, form: str
) -> None:
    pulls = [
        DrawnPull(curve, make_summary(flags=("extrapolated",)), "B1", "bonded"),
        DrawnPull(curve, make_summary(**CLIPPED), "S1", "screwed"),
        DrawnPull(curve, make_summary(**CLIPPED), "S2", "screwed"),
        DrawnPull(curve, make_summary(**CLIPPED), "S3", "screwed"),
    ]

    picture = overlay_figure(pulls, unit="kN", align=align, form=form, mode="dark")  # type: ignore[arg-type]

    key = key_of(picture)
    assert "bonded (1 pull)" in key
    assert "S1 (screwed): at least 3.97 kN; off scale" in key
    assert "All pulls: beyond the known loads" in key
    axes = picture.figure.axes[0]
    long = [line for line in axes.lines if len(np.asarray(line.get_xdata())) > 100]
    assert [line.get_linestyle() for line in long] == ["-", "--", "--", "--"]
    assert long[1].get_color() == long[2].get_color() == ORANGE
    assert long[0].get_color() != ORANGE
    assert "S1" in picture.alt
    check_layout(picture)


def test_an_overlay_needs_pulls(curve: LoadCurve, make_summary: Make) -> None:
    with pytest.raises(UsageError, match="no pull"):
        overlay_figure([])
    with pytest.raises(UsageError, match="aligned"):
        overlay_figure([DrawnPull(curve, make_summary(), "B1")], align="break")  # type: ignore[arg-type]


@pytest.mark.parametrize("form", ["wide", "phone"])
def test_a_calibration_shows_how_far_it_reaches(form: str) -> None:
    points = [
        mass_point(kg, 1000 + 64_000 * kg + wobble) for kg, wobble in [(0, 3), (10, -5), (20, 4), (20, -2)]
    ]
    calibration = calibrate(points, plate=Plate(9806.65), gravity=gravity_at(54.0), name="weights")

    picture = calibration_figure(calibration, unit="kgf", form=form)  # type: ignore[arg-type]

    line, interval, residuals = picture.figure.axes
    assert line.get_xlim()[1] > 1000
    assert interval.get_xlim() == line.get_xlim()
    assert residuals.get_xlim()[1] < 25
    assert any("calibrated range, to 20.0 kgf" in words for words in key_of(picture))
    assert "4 points" in picture.alt
    check_layout(picture)


def test_saved_pictures_carry_their_words(curve: LoadCurve, make_summary: Make) -> None:
    """Descriptions are inside the files, and the same pull gives the same SVG."""
    first = pull_figure(curve, make_summary(), title='"B1" <a&b>')
    again = pull_figure(curve, make_summary(), title='"B1" <a&b>')

    assert first.svg() == again.svg()
    root = ET.fromstring(first.svg())
    assert root.attrib["role"] == "img"
    assert root.attrib["aria-label"] == first.alt
    with Image.open(io.BytesIO(first.png())) as image:
        assert image.info["Description"] == first.alt
        assert image.width == pytest.approx(8.6 * 150, abs=1)


def test_the_words_of_a_picture_tell_what_it_shows(curve: LoadCurve, make_summary: Make) -> None:
    alt = pull_figure(curve, make_summary(flags=("gap",)), title="B1", unit="kN").alt

    assert alt == (
        "Load over time of B1: the load rises from 2.0 s on to its peak, 4.000 (3.978 to 4.023) kN, at 12.00 s. "
        "It then held 3.800 kN. Partial drops: 1. Ductile: gave way before it broke, at 12.00 s. "
        "Notes and doubts: samples missing at the peak."
    )


def test_a_long_run_is_thinned_without_losing_its_peak() -> None:
    time_s = np.arange(200_000) / 80.0
    load = np.sin(time_s)
    load[123_456] = 5.0
    load[50] = np.nan

    thin_s, thin = thinned(time_s, load)

    assert thin_s.size <= 6000
    assert np.nanmax(thin) == 5.0
    assert thin_s[np.nanargmax(thin)] == time_s[123_456]
    assert (np.diff(thin_s) > 0).all()


def test_wrong_words_are_refused(curve: LoadCurve, make_summary: Make) -> None:
    with pytest.raises(UsageError, match="light"):
        pull_figure(curve, make_summary(), mode="sepia")  # type: ignore[arg-type]
    with pytest.raises(UsageError, match="wide"):
        pull_figure(curve, make_summary(), form="square")  # type: ignore[arg-type]
    with pytest.raises(UnitError, match="kgf"):
        pull_figure(curve, make_summary(), unit="kg")


def test_pictures_leave_pyplot_alone_and_load_late() -> None:
    """Importing the report loads no matplotlib; drawing loads no pyplot."""
    code = (
        "import sys; import breakyard.report.figures as f; assert 'matplotlib' not in sys.modules;"
        "from breakyard.report.figures.style import make_look, new_figure; new_figure(make_look('light', 'wide'));"
        "assert 'matplotlib.pyplot' not in sys.modules"
    )

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_run_is_drawn_as_it_was_recorded() -> None:
    """Counts of every sample, those on a rail as what they are, and the time that is missing."""
    time = np.delete(np.arange(0.0, 10.0, 0.0125), slice(300, 340))
    counts = np.clip(4_000_000 * (time - 3.0), 0, 8_388_607).round()
    run = run_from_columns(time, counts, name="S1", converter=Converter(128))

    picture = run_figure(run, mode="dark", form="phone")

    assert key_of(picture)[1:] == ["on a rail: the load was larger", "missing: 40 samples"]
    assert f"{int(run.clipped.sum())} on a rail" in picture.alt
    assert picture.png()[:4] == b"\x89PNG"
    check_layout(picture)
