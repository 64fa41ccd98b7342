"""The picture of how many hold how much says what the estimate says."""

import numpy as np
import pytest

from breakyard.comparison import Observation, compare
from breakyard.errors import UsageError
from breakyard.report.figures.survival_figure import describe_survival, survival_figure


def observed(group: str, value_n: float, at_least: bool = False) -> Observation:
    return Observation(group=group, specimen=f"{group}{value_n:g}", value_n=value_n, at_least=at_least)


@pytest.fixture
def comparison():  # type: ignore[no-untyped-def]
    """Four of A broke; of B one was let go at 1500 N."""
    loads = [observed("A", load) for load in (1000.0, 1100.0, 1200.0, 1300.0)]
    return compare(
        [*loads, observed("B", 1400.0), observed("B", 1500.0, at_least=True), observed("B", 1600.0)]
    )


@pytest.mark.parametrize("form", ["wide", "phone"])
@pytest.mark.parametrize("mode", ["light", "dark"])
def test_the_steps_are_those_of_the_estimate(comparison, mode: str, form: str) -> None:  # type: ignore[no-untyped-def]
    """Shares after each break by hand: A 3/4, 1/2, 1/4, 0; B 2/3, then 0 at 1600 N with one at risk."""
    picture = survival_figure(comparison, unit="kN", mode=mode, form=form)  # type: ignore[arg-type]

    a, _, b, lost = picture.figure.axes[0].lines[:4]
    np.testing.assert_allclose(a.get_xdata()[:5], [0.0, 1.0, 1.1, 1.2, 1.3])
    np.testing.assert_allclose(a.get_ydata()[:5], [1.0, 0.75, 0.5, 0.25, 0.0])
    np.testing.assert_allclose(b.get_ydata()[:3], [1.0, 2 / 3, 0.0])
    np.testing.assert_allclose(lost.get_xdata(), [1.5])
    np.testing.assert_allclose(lost.get_ydata(), [2 / 3])


def test_the_words_say_the_same(comparison) -> None:  # type: ignore[no-untyped-def]
    """Who cannot see the picture reads each step."""
    assert "67% beyond 1.40" in describe_survival(comparison, unit="kN")
    assert "B:" in describe_survival(comparison, unit="kN")


def test_an_unknown_shape_is_refused(comparison) -> None:  # type: ignore[no-untyped-def]
    """As every picture does."""
    with pytest.raises(UsageError):
        survival_figure(comparison, form="round")  # type: ignore[arg-type]
