"""Lower bounds: of the plausible curves the lowest, and no strong specimen that makes the others weaker."""

import math

import numpy as np
import pytest

from breakyard.comparison import Observation
from breakyard.comparison.bounds import censored_factor
from breakyard.comparison.groups import Bound, describe
from breakyard.comparison.tolerance import one_sided_factor


def bounds(*loads: float, held: tuple[float, ...] = ()) -> dict[str, Bound]:
    """By name."""
    pulls = [Observation("g", str(i), load) for i, load in enumerate(loads)] + [
        Observation("g", f"held{i}", load, at_least=True) for i, load in enumerate(held)
    ]
    return {bound.name: bound for bound in describe("g", pulls).bounds}


@pytest.mark.parametrize("name", ["95/95", "90/95", "characteristic"])
def test_a_strongest_specimen_that_held_on_hardly_moves_a_bound(name: str) -> None:
    """Five loads whose strongest broke at 420 N, or was let go there unbroken: within 4 % of each other."""
    broke = bounds(383.0, 409.0, 395.0, 405.0, 420.0)[name].value_n
    held = bounds(383.0, 409.0, 395.0, 405.0, held=(420.0,))[name].value_n

    assert broke is not None
    assert held is not None
    assert held == pytest.approx(broke, rel=0.04)


def test_how_much_more_the_strongest_held_changes_no_bound() -> None:
    """The weak ones are not made weaker by it."""
    first, second = bounds(383.0, 409.0, 395.0, held=(420.0,)), bounds(383.0, 409.0, 395.0, held=(4200.0,))

    assert {name: one.value_n for name, one in first.items()} == {n: one.value_n for n, one in second.items()}


def test_the_lowest_plausible_curve_is_shown_and_named() -> None:
    """Six loads that no test can tell apart: Weibull's long lower tail gives the lowest, and is named."""
    shown = bounds(383.0, 409.0, 395.0, 405.0, 420.0, 400.0)["95/95"]
    by_curve = {one.curve: one.value_n for one in shown.curves}

    assert set(by_curve) == {"normal", "log-normal", "weibull"}
    assert shown.method == "weibull"
    assert shown.value_n == min(value for value in by_curve.values() if value is not None)


def test_a_curve_that_does_not_fit_is_left_aside() -> None:
    """Log-normal loads with a long upper tail refuse the Weibull curve."""
    rng = np.random.default_rng(2)
    shown = bounds(*np.exp(rng.normal(6.0, 0.6, 150)))["90/95"]

    assert "weibull" not in {one.curve for one in shown.curves}


def test_two_kinds_mixed_are_said_to_fit_no_curve() -> None:
    """Half near 100 N, half near 300 N."""
    loads = [100.0 + i for i in range(8)] + [300.0 + i for i in range(8)]
    group = describe("g", [Observation("g", str(i), load) for i, load in enumerate(loads)])

    assert any("No usual curve" in note for note in group.notes)


def test_bounds_of_brittle_parts_hold_as_often_as_promised() -> None:
    """150 groups of five, Weibull: 95/95 lies below the load that 5 % do not bear in 95 % of them or more."""
    rng = np.random.default_rng(7)
    true = 1000.0 * (-math.log(0.95)) ** (1.0 / 12.0)
    held = normal = 0
    for _ in range(150):
        shown = bounds(*(1000.0 * rng.weibull(12.0, 5)))["95/95"]
        held += (shown.value_n or 0.0) <= true
        normal += next(one.value_n or 0.0 for one in shown.curves if one.curve == "normal") <= true

    assert held / 150 >= 0.95 - 2.0 * (0.95 * 0.05 / 150) ** 0.5
    assert normal < held


def test_the_characteristic_value_takes_a_least_scatter() -> None:
    """EN 14358:2016, 3.2.2 d), formula (3), as quoted: logarithms scatter by 0.05 or more. Ten loads within 1 %:
    exp(mean - 2.10 x 0.05).
    """
    loads = [1000.0 + i for i in range(10)]
    shown = bounds(*loads)["characteristic"]
    expected = math.exp(float(np.mean(np.log(loads))) - one_sided_factor(10, 0.95, 0.75) * 0.05)

    assert (shown.method, shown.value_n) == ("log-normal", pytest.approx(expected, rel=1e-9))


def test_no_bound_is_called_b_basis() -> None:
    """CMH-17 gives that name to 18 specimens or more from 3 batches or more; batches are not known here."""
    assert set(bounds(383.0, 409.0, 395.0)) == {"95/95", "90/95", "characteristic"}


@pytest.mark.parametrize("n", [3, 8])
def test_the_simulated_factor_of_a_complete_group_is_the_exact_one(n: int) -> None:
    """Nothing left unbroken: the noncentral t distribution's factor, within the simulation's own error."""
    assert censored_factor((0,) * n, 0.90, 0.95) == pytest.approx(
        one_sided_factor(n, 0.90, 0.95) * math.sqrt(n / (n - 1)), rel=0.06
    )


def test_no_interval_reaches_below_nothing() -> None:
    """Two loads far apart: the mean's interval ends at 0."""
    group = describe("g", [Observation("g", "1", 100.0), Observation("g", "2", 300.0)])

    assert group.interval is not None
    assert group.interval.low_n == 0.0


@pytest.mark.parametrize(
    ("loads", "named", "times"),
    [
        ((400.0, 4100.0, 410.0), ("1",), 10.1),
        ((400.0, 41.0, 410.0), ("1",), 0.101),
        ((40.0, 400.0), ("0", "1"), 10.0),
    ],
)
def test_a_slip_is_named(loads: tuple[float, ...], named: tuple[str, ...], times: float) -> None:
    """One value ten times the others, or a tenth of them."""
    slip = describe("g", [Observation("g", str(i), load) for i, load in enumerate(loads)]).slip

    assert slip is not None
    assert slip.specimens == named
    assert slip.times == pytest.approx(times, rel=0.01)


def test_scatter_is_no_slip() -> None:
    """A factor of three between the weakest and the strongest of widely scattered parts."""
    loads = (200.0, 350.0, 600.0, 420.0)

    assert describe("g", [Observation("g", str(i), load) for i, load in enumerate(loads)]).slip is None
