"""Falls of a mass that is cut loose, found in counts."""

import numpy as np
import pytest

from breakyard.converter.cuts import find_cuts
from breakyard.simulate.converter import filtered

PERIOD = 0.0125


def recording(*cuts: float, sign: float = 1.0, lasts_s: float = 1e-6, sway: float = 0.0, order: int = 4):
    """Counts of a mass that hangs for 3 s before each of these moments and is gone for 4 s after it."""
    knots, force = [0.0], [0.0]
    for cut in cuts:
        knots += [cut - 3.2, cut - 3.0, cut, cut + lasts_s]
        force += [0.0, 1.0, 1.0, 0.0]
    number = int((cuts[-1] + 6.0) / PERIOD)
    share = filtered(knots, force, first_s=PERIOD, period_s=PERIOD, number=number, order=order)
    time_s = PERIOD * (1.0 + np.arange(number))
    share = share * (1.0 + sway * np.sin(2.0 * np.pi * 0.8 * time_s))
    noise = 39.0 * np.random.default_rng(7).standard_normal(number)
    return time_s, 31_000.0 + sign * 200_000.0 * share + noise


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_each_cut_is_found_where_it_was(sign: float) -> None:
    """Two cuts, by cells wired either way: moment within a tenth of a conversion (the filter's delay of two conversions
    is part of it), size to a thousandth, shares of the mass before and after."""
    time_s, counts = recording(5.0, 14.0047, sign=sign)

    cuts = find_cuts(time_s, counts, "here")

    assert [cut.time_s for cut in cuts] == pytest.approx(
        [5.0 + 2.0 * PERIOD, 14.0047 + 2.0 * PERIOD], abs=0.1 * PERIOD
    )
    for cut in cuts:
        assert cut.size_counts == pytest.approx(sign * 200_000.0, rel=1e-3)
        assert cut.noise == pytest.approx(39.0 / 200_000.0, rel=0.25)
        assert cut.left[:4] == pytest.approx(np.ones(4), abs=1e-3)
        assert cut.left[-4:] == pytest.approx(np.zeros(4), abs=1e-3)
        assert 0.0 <= cut.phase < 1.0
        assert cut.missing == 0


def test_a_conversion_that_is_missing_in_the_fall_is_counted() -> None:
    """Only near the fall."""
    time_s, counts = recording(5.0)
    gone = [int(np.searchsorted(time_s, 5.01)), 30]

    (cut,) = find_cuts(np.delete(time_s, gone), np.delete(counts, gone), "here")

    assert cut.missing == 1


@pytest.mark.parametrize(
    ("how", "why"),
    [({"lasts_s": 0.6}, "lowered by hand"), ({"sway": 0.05}, "not hanging still")],
)
def test_what_is_no_cut(how: dict[str, float], why: str) -> None:
    """A change that says nothing of the filter is left aside."""
    assert find_cuts(*recording(5.0, **how), "here") == (), why


def test_nothing_hung() -> None:
    """Noise alone, and a recording that is too short."""
    time_s = PERIOD * np.arange(2000.0)
    counts = 39.0 * np.random.default_rng(1).standard_normal(2000)

    assert find_cuts(time_s, counts, "here") == ()
    assert find_cuts(time_s[:50], counts[:50], "here") == ()
