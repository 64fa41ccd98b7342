"""Which filter a pull is read through."""

from dataclasses import replace

import pytest
from analysis_cases import calibrated, curve_of
from step_cuts import cuts_of

from breakyard.converter import StepResponse, find_cuts, measure
from breakyard.curve import curve_from_columns
from breakyard.pull.peak.filter import choose_filter
from breakyard.pull.summarize import summarize
from breakyard.simulate.families import family


@pytest.fixture(scope="module")
def response() -> StepResponse:
    """Of order 4, at some 85 conversions a second."""
    conversions = cuts_of(7, 4)
    cuts = find_cuts(conversions.time_s, conversions.counts.astype(float), "cuts")
    return measure(cuts, logger="ab", created="2026-05-03T08:00:00Z", gain=128, sources=())


def test_a_response_of_another_rate_is_left_aside_and_said_so(response: StepResponse) -> None:
    """Measured at the fast rate, it says nothing about 10 conversions a second."""
    case = family("fast_brittle", 3)
    curve = curve_of(case.conversions, calibrated(3, "good", case.cell), "pull")

    used = summarize(curve, response=response)
    aside = summarize(curve, response=replace(response, rate_hz=10.0))

    assert used.filter is not None
    assert aside.filter is not None
    assert (used.filter.source, used.filter.order) == ("measured", 4)
    assert aside.filter.source == "assumed"
    assert any("measured at 10 conversions a second" in sentence for sentence in aside.assumptions)


def test_what_comes_first(response: StepResponse) -> None:
    """Stated before measured, measured before assumed; none where no converter is known; unsure is not used."""
    case = family("slow_brittle", 3)
    curve = curve_of(case.conversions, calibrated(3, "good", case.cell), "pull")
    other = curve_from_columns(curve.time_s, curve.load_n, name="machine")

    assert choose_filter(curve, 3, response).told.source == "stated"
    assert choose_filter(curve, None, response).orders == pytest.approx({4: 0.999, 3: 0.001})
    assert choose_filter(curve, None, None).orders == {3: 0.5, 4: 0.5}
    assert choose_filter(curve, None, replace(response, verdict="unsure")).told.source == "assumed"
    assert choose_filter(other, None, response).told.source == "none"
