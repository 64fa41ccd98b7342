"""What one pull's summary says about its group: value, censoring, and which doubts are its own."""

import math
from dataclasses import replace

import pytest

from breakyard.comparison import Observation, observe
from breakyard.comparison.instrument import (
    SharedTerm,
    is_shared,
    own_standard_n,
    ratio_standard,
    shared_standard,
)
from breakyard.comparison.observations import one_per_specimen
from breakyard.errors import DataError, UsageError
from breakyard.pull.results import (
    Break,
    BudgetLine,
    FirstPeak,
    Peak,
    Rate,
    Settled,
    Source,
    Strength,
    Summary,
    Zero,
)


def summary(peak_n: float = 4000.0, *, at_least: bool = False, bound: str = "two-sided") -> Summary:
    """An invented pull."""
    high = None if bound == "lower" else peak_n + 20.0
    return Summary(
        run=Source("run-1", 1, 1000, 10.0, 92.0, 0, None, None, "masses", "abc123"),
        peak=Peak(peak_n, peak_n - 20.0, high, peak_n, 5.0, bound, 0.95, "slow", 1.0),  # type: ignore[arg-type]
        strength=Strength(peak_n, peak_n - 20.0, None if at_least else peak_n + 20.0, at_least),
        settled=Settled(1000.0, 6.0, 7.0),
        first_peak=FirstPeak(0.5 * peak_n, 3.0),
        failure=Break("brittle", 5.0, peak_n, 0.0, sure=True, reason="invented"),
        rate=Rate(100.0, 100.0, 0.1, 100.0, steady_enough=True),
        drops=(),
        energy=None,
        flags=("no_break",) if at_least else ("glitch",),
        budget=(BudgetLine("zero", 3.0), BudgetLine("noise", 4.0), BudgetLine("gravity", 8.0)),
        zero=Zero(0.0, 3.0, 0.0, 4.0, None, 0.0, 1.0),
        onset_s=1.0,
        end_load_n=0.0,
    )


def test_own_and_shared_uncertainty_are_told_apart() -> None:
    """Zero and noise are the pull's own and add in quadrature; gravity is shared by the calibration."""
    one = observe(summary(), group="a")

    assert one is not None
    assert one.own_n == pytest.approx(5.0)
    assert one.shared == (SharedTerm("abc123", "gravity", 8.0),)
    assert one.doubts == ("glitch",)


def test_a_pull_that_was_let_go_is_censored_at_its_peak() -> None:
    """It held its measured peak, so that is the bound; not having broken is no doubt about the number."""
    one = observe(summary(at_least=True), group="a")

    assert one is not None
    assert (one.value_n, one.at_least, one.doubts) == (4000.0, True, ())


def test_a_pull_that_was_let_go_bore_its_lower_end_beyond_doubt() -> None:
    """Its peak counts, and is as unsure as one of a pull that broke."""
    let_go = replace(summary(), strength=Strength(5000.0, 4900.0, None, True))
    one = observe(let_go, group="a", per=2.0)

    assert one is not None
    assert (one.value_n, one.at_least, one.sure_n) == (2500.0, True, 2450.0)


def test_a_peak_that_is_a_bound_is_censored_at_its_sure_end() -> None:
    """Of a clipped or too short peak only the lower end is certain."""
    one = observe(summary(at_least=True, bound="lower"), group="a")

    assert one is not None
    assert (one.value_n, one.at_least) == (3980.0, True)


def test_first_peak_and_settled_load_scale_the_budget() -> None:
    """The budget is the peak's: at half the load a scale error is half as large."""
    first = observe(summary(), group="a", of="first_peak")
    settled = observe(summary(), group="a", of="settled")

    assert first is not None
    assert settled is not None
    assert (first.value_n, first.shared[0].standard_n) == (2000.0, 4.0)
    assert (settled.value_n, settled.shared[0].standard_n) == (1000.0, 2.0)


def test_a_first_peak_brings_its_own_budget_and_interval() -> None:
    """Its recovery may be ten times less sure than the peak's: that doubt is compared, not a share of the peak's."""
    own = (BudgetLine("recovery of the peak", 30.0), BudgetLine("noise", 40.0), BudgetLine("gravity", 4.5))
    one = observe(
        replace(summary(), first_peak=FirstPeak(2000.0, 3.0, 1900.0, 2120.0, own)), group="a", of="first_peak"
    )

    assert one is not None
    assert (one.value_n, one.at_least) == (2000.0, False)
    assert one.own_n == pytest.approx(50.0)
    assert one.shared == (SharedTerm("abc123", "gravity", 4.5),)
    assert one.half_n == pytest.approx(110.0)


def test_a_first_peak_that_is_a_bound_is_censored_at_its_sure_end() -> None:
    """No upper end of its interval is known: the specimen bore that much or more."""
    own = (BudgetLine("noise", 4.0), BudgetLine("gravity", 3.0))
    one = observe(
        replace(summary(), first_peak=FirstPeak(2000.0, 3.0, 1990.0, None, own)), group="a", of="first_peak"
    )

    assert one is not None
    assert (one.value_n, one.at_least, one.half_n) == (1990.0, True, 10.0)


def test_a_pull_without_a_settled_load_has_none() -> None:
    """It is left out, not counted as zero."""
    assert observe(replace(summary(), settled=None), group="a", of="settled") is None


def test_per_gram_divides_value_and_uncertainty() -> None:
    """Newtons per gram, with the uncertainty in the same unit."""
    one = observe(summary(), group="a", per=40.0)

    assert one is not None
    assert (one.value_n, one.own_n, one.shared[0].standard_n) == pytest.approx((100.0, 0.125, 0.2))


@pytest.mark.parametrize("per", [0.0, -1.0, float("nan"), float("inf")])
def test_dividing_by_nothing_is_refused(per: float) -> None:
    """A mass, price or area that is not above zero gets one clear line."""
    with pytest.raises(UsageError, match="above 0"):
        observe(summary(), group="a", per=per)


@pytest.mark.parametrize("value", [0.0, -5.0, float("nan"), float("inf")])
def test_a_load_that_is_none_is_refused(value: float) -> None:
    """Nothing at or below zero enters a comparison."""
    with pytest.raises(DataError, match="cannot be compared"):
        Observation("a", "a1", value)


@pytest.mark.parametrize(
    ("source", "shared"),
    [
        ("zero", False),
        ("noise", False),
        ("sampling and filter", False),
        ("recovery of the peak", False),
        ("zero return", True),
        ("calibration fit", True),
        ("known masses", True),
        ("gravity", True),
        ("non-linearity", True),
        ("stated accuracy", True),
        ("something new", True),
    ],
)
def test_which_sources_are_shared(source: str, shared: bool) -> None:
    """What the calibration brings is shared; a source nobody knows is taken as shared, the careful side."""
    assert is_shared(source) is shared


def group(level: float, calibration: str, source: str, relative: float, n: int = 3) -> list[Observation]:
    """A group with one shared source."""
    term = SharedTerm(calibration, source, relative * level)
    return [Observation("g", str(i), level, own_n=2.0, shared=(term,)) for i in range(n)]


def test_a_scale_error_cancels_in_a_ratio() -> None:
    """One calibration, any two levels: gravity leaves nothing on the ratio, and all of itself on the level."""
    a, b = group(1000.0, "c", "gravity", 0.01), group(3000.0, "c", "gravity", 0.01)

    assert ratio_standard(a, b) == pytest.approx(0.0, abs=1e-12)
    assert shared_standard(a) == pytest.approx(0.01)


def test_more_specimens_do_not_shrink_a_shared_error() -> None:
    """Thirty specimens know the level no better than three, as far as the calibration goes."""
    few, many = (shared_standard(group(1000.0, "c", "gravity", 0.01, n)) for n in (3, 30))

    assert few == pytest.approx(many)


def test_two_calibrations_do_not_cancel() -> None:
    """Their errors are independent: they add in quadrature."""
    a, b = group(1000.0, "c", "gravity", 0.03), group(1000.0, "d", "gravity", 0.04)

    assert ratio_standard(a, b) == pytest.approx(0.05)


def test_non_linearity_cancels_at_equal_loads_only() -> None:
    """It changes with the load: alike at like loads, independent when one load is nothing of the other."""
    same = ratio_standard(
        group(1000.0, "c", "non-linearity", 0.01), group(1000.0, "c", "non-linearity", 0.01)
    )
    far = ratio_standard(group(1.0, "c", "non-linearity", 0.01), group(1e6, "c", "non-linearity", 0.01))

    assert same == pytest.approx(0.0, abs=1e-9)
    assert far == pytest.approx(0.01 * 2**0.5, rel=1e-3)


def test_own_uncertainty_is_a_root_mean_square() -> None:
    """Of 3 N and 4 N: 3.54 N; of nothing: nothing."""
    pulls = [Observation("g", "1", 100.0, own_n=3.0), Observation("g", "2", 100.0, own_n=4.0)]

    assert own_standard_n(pulls) == pytest.approx((12.5) ** 0.5)
    assert own_standard_n([]) == 0.0


def test_a_specimen_pulled_twice_counts_once() -> None:
    """Let go at 300 N, broken at 400 N: one specimen that bears 400 N, and a sentence that says so."""
    pulls = [Observation("g", "s1", 300.0, True, run="r1"), Observation("g", "s1", 400.0, run="r2")]
    kept, notes = one_per_specimen(pulls)

    assert [(one.value_n, one.at_least) for one in kept] == [(400.0, False)]
    assert notes == ("s1 was pulled 2 times and counts once, with r2",)


def test_only_bounds_of_one_specimen_keep_the_highest() -> None:
    """Held 300 N and later 350 N: it bears at least 350 N."""
    kept, _ = one_per_specimen([Observation("g", "s1", 300.0, True), Observation("g", "s1", 350.0, True)])

    assert [(one.value_n, one.at_least) for one in kept] == [(350.0, True)]


def test_a_specimen_that_broke_twice_is_doubted() -> None:
    """Two breaks under one name can't be one specimen: the lower counts, with a flag."""
    kept, _ = one_per_specimen([Observation("g", "s1", 300.0), Observation("g", "s1", 350.0)])

    assert [one.value_n for one in kept] == [300.0]
    assert "broke_more_than_once" in kept[0].doubts


@pytest.mark.parametrize(
    ("source", "left"),
    [
        ("gravity", 0.0),
        *(
            (name, math.sqrt(2.0) * 0.01)
            for name in (
                *("misalignment", "bending", "temperature", "remounting"),
                *("gain of the converter", "friction of blocks"),
            )
        ),
    ],
)
def test_what_changes_between_pulls_cancels_in_no_ratio(source: str, left: float) -> None:
    """Gravity of one calibration cancels between two groups; angle, warmth and mounting may be others in each, and are
    no scatter of single pulls that more specimens would average."""
    first, second = (
        [Observation(name, f"{name}{i}", 100.0, shared=(SharedTerm("c", source, 1.0),)) for i in range(3)]
        for name in "ab"
    )

    assert ratio_standard(first, second) == pytest.approx(left, abs=1e-12)
    assert shared_standard(first) == pytest.approx(0.01)
    assert is_shared(source)
