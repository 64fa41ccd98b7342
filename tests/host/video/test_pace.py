"""Which moment of a pull a frame shows."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from breakyard.video.pace import Pace, PaceStretch, paced

seconds = st.floats(0.0, 100.0)


@given(
    seconds, st.floats(0.1, 100.0), seconds, st.floats(0.0, 20.0), st.floats(1.0, 20.0), st.floats(0.0, 1.0)
)
def test_there_and_back(
    start: float, lasts: float, slow: float, slowly: float, slower: float, part: float
) -> None:
    """Each moment is shown where it is looked for, the film is as long as its parts, and time never runs backwards."""
    pace = paced(start, start + lasts, slow, slow + slowly, slower)
    shown = start + part * lasts

    assert pace.shown_at(pace.film_time(shown)) == pytest.approx(shown, abs=1e-9)
    inside = max(0.0, min(slow + slowly, start + lasts) - max(slow, start))
    assert pace.length_s == pytest.approx(lasts + (slower - 1.0) * inside, abs=1e-9)
    assert pace.film_time(shown) <= pace.film_time(start + lasts) + 1e-12


def test_slow_around_the_break() -> None:
    """Ten seconds, of which the fifth to the sixth take eight times as long."""
    pace = paced(0.0, 10.0, 5.0, 6.0, 8.0)

    assert pace.pieces == (PaceStretch(0.0, 5.0), PaceStretch(5.0, 6.0, 8.0), PaceStretch(6.0, 10.0))
    assert not pace.steady
    assert pace.shown_at(5.0 + 4.0) == 5.5
    assert pace.film_time(6.5) == 13.5
    assert [pace.slower_at(moment) for moment in (4.9, 5.0, 5.99, 6.0)] == [1.0, 8.0, 8.0, 1.0]


@given(seconds, st.floats(0.1, 100.0), st.floats(101.0, 300.0))
def test_a_slow_part_elsewhere_changes_nothing(start: float, lasts: float, after: float) -> None:
    """Sound can then be copied."""
    assume(after > start + lasts)

    assert paced(start, start + lasts, after, after + 1.0, 4.0) == Pace((PaceStretch(start, start + lasts),))
    assert paced(start, start + lasts, after, after + 1.0, 4.0).steady
