"""What an overlay shows is decided once: the picture file and the page's chart take it from here."""

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from breakyard.curve import LoadCurve
from breakyard.pull.results import Summary
from breakyard.report.figures.overlay_figure import overlay_figure
from breakyard.report.overlay import DrawnPull, describe_overlay, make_overlay
from breakyard.report.page.content import Entry
from breakyard.report.page.curves_chart import make_curves, overlay_charts

Make = Callable[..., Summary]
CLIPPED: dict[str, Any] = {
    "flags": ("clipped",),
    "peak": {"low_n": 3970.0, "high_n": None, "bound": "lower"},
    "strength": {"low_n": 3970.0, "high_n": None, "at_least": True},
}


@pytest.fixture
def pulls(curve: LoadCurve, make_summary: Make) -> list[DrawnPull]:
    sure, bound = make_summary(), make_summary(**CLIPPED)
    return [
        DrawnPull(curve, sure, "B1", "bonded"),
        DrawnPull(curve, bound, "S1", "screwed"),
        DrawnPull(curve, replace(sure, onset_s=sure.onset_s + 1.0), "B2", "bonded"),
    ]


def test_what_is_shown_of_several_pulls(pulls: list[DrawnPull]) -> None:
    """Groups as they are met, doubts, bounds at their lower ends, and all of the highest interval."""
    overlay = make_overlay(pulls, "kN")

    assert overlay.groups == ("bonded", "screwed")
    assert overlay.doubtful == (1,)
    assert overlay.peak(1)[1] == pytest.approx(3.97)
    assert overlay.peak(0)[0] == overlay.peak(2)[0]  # from the visible rise, wherever the onset is
    assert overlay.top >= (pulls[0].summary.peak.high_n or 0.0) / 1000.0
    left, right = overlay.span_s
    assert -0.05 * right < left < 0.0
    at_peak = make_overlay(pulls, "kN", "peak")
    assert at_peak.peak(0)[0] == at_peak.peak(1)[0] == 0.0
    assert at_peak.span_s[0] < left


def test_both_engines_draw_the_same(pulls: list[DrawnPull]) -> None:
    """Times, groups, the doubtful pull and the words agree between the file and the page."""
    overlay = make_overlay(pulls, "kN")
    axes = overlay_figure(pulls, unit="kN").figure.axes[0]
    entries = [Entry(p.label, p.label, p.curve, p.summary, p.group) for p in pulls]
    curves = make_curves(entries, "kN")
    wide, _ = overlay_charts(curves)

    assert tuple(axes.get_xlim()) == pytest.approx(overlay.span_s)
    assert curves.overlay.span_s == overlay.span_s
    assert curves.groups == overlay.groups
    assert curves.doubts == {"S1": 1}
    assert len(re.findall(r"<use[^>]* doubtful", wide)) == 1
    assert describe_overlay(overlay) in wide.replace("&quot;", '"').replace("&#39;", "'")
