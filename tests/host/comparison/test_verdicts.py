"""What is said of groups and pairs: plain words, numbers behind them, nothing that the data cannot carry."""

from dataclasses import replace

import numpy as np
import pytest

from breakyard.comparison import Compared, Observation, compare
from breakyard.comparison.groups import describe
from breakyard.comparison.instrument import SharedTerm
from breakyard.comparison.tolerance import (
    normed_residual,
    one_sided_factor,
    share_surviving,
    two_sided_factor,
)
from breakyard.errors import DataError, UsageError


def group(name: str, *loads: float, held: tuple[float, ...] = (), own_n: float = 0.0) -> list[Observation]:
    """Breaks, then bounds."""
    return [Observation(name, f"{name}{i}", load, own_n=own_n) for i, load in enumerate(loads)] + [
        Observation(name, f"{name}-held{i}", load, at_least=True, own_n=own_n) for i, load in enumerate(held)
    ]


BONDED = group("bonded", 4380.0, 4590.0, 4470.0, 4510.0)
SCREWED = group("screwed", 3980.0, 4010.0, 3870.0, 4090.0)


def test_a_clear_difference_is_said_with_numbers() -> None:
    """Who carries more, by how much (first, in a range), how sure, from how many."""
    pair = compare([*SCREWED, *BONDED]).pairs[0]

    assert pair.verdict == "second_more"
    assert pair.sentence.startswith("bonded carries about 8.")
    assert "to 17 % more than screwed (12 % is likeliest; 95 % sure" in pair.sentence
    assert "4 and 4 specimens" in pair.sentence


def test_no_difference_is_claimed_only_if_a_difference_that_matters_is_ruled_out() -> None:
    """The same data: 10 % is ruled out, 0.3 % is not, so with that it is "can't tell"."""
    pulls = [*group("a", 100.0, 101.0, 99.0, 100.5), *group("b", 100.2, 99.6, 100.9, 100.1)]

    assert compare(pulls, matters=0.10).pairs[0].verdict == "no_difference_shown"
    tight = compare(pulls, matters=0.003).pairs[0]
    assert tight.verdict == "too_few"
    assert tight.needed_per_group is not None
    assert f"About {tight.needed_per_group} specimens per group" in tight.sentence


def test_few_scattered_specimens_are_not_told_apart() -> None:
    """Two against two with 10 % scatter: can't tell, however the means lie."""
    pair = compare([*group("a", 300.0, 360.0), *group("b", 400.0, 350.0)]).pairs[0]

    assert pair.verdict == "too_few"
    assert pair.sentence.startswith("Can't tell a from b: too few")


def test_one_against_one_says_what_would_have_to_be_true() -> None:
    """100 against 110: holds if parts scatter by less than ln(1.1) / (1.96 sqrt 2) = 3.4 %."""
    pair = compare([*group("a", 110.0), *group("b", 100.0)]).pairs[0]
    assert pair.single is not None

    assert pair.single.holds_below_cv == pytest.approx(np.log(1.1) / (1.959964 * 2**0.5), rel=1e-6)
    assert "scatter (SD over mean) by less than 3.4 %" in pair.sentence
    at = {one.cv: one.difference for one in pair.single.at_scatter}
    assert at[0.05] == pytest.approx(np.exp(1.959964 * 2**0.5 * 0.05) - 1.0, rel=1e-6)


def test_one_against_several_uses_their_scatter() -> None:
    """The single one would have to lie outside the others' prediction interval, on the log scale."""
    several = group("a", 100.0, 104.0, 96.0, 100.0)
    pair = compare([*several, *group("b", 108.0)]).pairs[0]
    assert pair.single is not None

    cv = float(np.std([100, 104, 96, 100], ddof=1)) / 100.0
    assert pair.single.group_difference == pytest.approx(
        np.exp(3.182446 * cv * (1 + 1 / 4) ** 0.5) - 1, rel=1e-6
    )
    assert "If it scatters as a does" in pair.sentence


def test_one_against_one_within_the_instruments_error() -> None:
    """Two calibrations that may be 5 % off each: 2 % between two specimens is nothing, at any scatter."""
    pulls = [
        replace(group("a", 102.0)[0], shared=(SharedTerm("c", "gravity", 5.0),)),
        replace(group("b", 100.0)[0], shared=(SharedTerm("d", "gravity", 5.0),)),
    ]
    pair = compare(pulls).pairs[0]
    assert pair.single is not None

    assert pair.single.holds_below_cv is None
    assert "smaller than the instrument's own uncertainty" in pair.sentence


def test_a_bound_below_shows_no_order() -> None:
    """100 N broke, another held at least 90 N: which is stronger is not seen at all."""
    pair = compare([*group("a", 100.0), *group("b", held=(90.0,))]).pairs[0]
    assert pair.single is not None

    assert not pair.single.order_seen
    assert "they show no order" in pair.sentence


def test_censored_groups_far_apart() -> None:
    """Four against four, one bound each, a factor of two apart: shown; order alone would not do it."""
    pulls = [*group("a", 400.0, 410.0, 395.0, held=(380.0,)), *group("b", 800.0, 830.0, 815.0, held=(790.0,))]
    pair = compare(pulls).pairs[0]

    assert pair.verdict == "second_more"
    assert pair.log_rank is not None
    assert pair.log_rank.p > 0.05


def test_the_log_rank_test_stands_beside_the_verdict() -> None:
    """Eight against eight, bounds in both: the test that assumes no form of scatter says the same."""
    low, high = [400.0 + i for i in range(7)], [450.0 + i for i in range(7)]
    pair = compare([*group("a", *low, held=(405.5,)), *group("b", *high, held=(455.5,))]).pairs[0]

    assert pair.verdict == "second_more"
    assert pair.p is not None
    assert pair.p < 0.01
    assert pair.log_rank is not None
    assert pair.log_rank.p < 0.01


def test_censored_groups_too_small_for_ranks_name_the_assumption() -> None:
    """Three against three: order alone gives 0.1 at best; the verdict says what it takes for granted."""
    pulls = [
        *group("bonded", 3000.0, 3200.0, held=(3100.0,)),
        *group("bolted", 12000.0, 12500.0, held=(11000.0,)),
    ]
    pair = compare(pulls).pairs[0]

    assert pair.verdict == "second_more"
    assert pair.method == "common_scatter"
    assert "all groups to scatter alike" in pair.sentence


def test_two_calibrations_are_not_overruled() -> None:
    """The same eight against eight, read with calibrations 10 % unsure each: 12 % is no longer shown."""
    low, high = [400.0 + i for i in range(7)], [450.0 + i for i in range(7)]
    pulls = [
        replace(p, shared=(SharedTerm(p.group, "gravity", 0.10 * p.value_n),))
        for p in (*group("a", *low, held=(405.5,)), *group("b", *high, held=(455.5,)))
    ]

    assert compare(pulls).pairs[0].verdict == "too_few"


def test_all_bounds_tell_what_was_held() -> None:
    """Nothing of three broke up to 5000 N: with 95 % confidence 37 % of such parts bear that; nothing more."""
    found = describe("a", group("a", held=(5000.0, 5200.0, 6000.0)))

    assert found.survived is not None
    assert (found.survived.load_n, found.survived.share) == (5000.0, pytest.approx(0.05 ** (1 / 3)))
    assert found.weibull is None
    assert found.mean_n is None
    assert found.interval is None


def test_two_groups_of_bounds_cannot_be_compared() -> None:
    """It says why."""
    pair = compare([*group("a", held=(5000.0, 5200.0)), *group("b", held=(900.0, 950.0))]).pairs[0]

    assert pair.verdict == "too_few"
    assert pair.method == "none"
    assert "nothing broke in either group" in pair.sentence


def test_rounded_loads_without_scatter_claim_nothing() -> None:
    """Three times 400 and three times 500: no scatter, no interval, no verdict."""
    comparison = compare([*group("a", 400.0, 400.0, 400.0), *group("b", 500.0, 500.0, 500.0)])

    assert comparison.pairs[0].verdict == "too_few"
    assert "rounded" in comparison.pairs[0].sentence
    assert comparison.groups[0].interval is None
    assert all(bound.value_n is None and bound.reason for bound in comparison.groups[0].bounds)


def test_the_instruments_noise_is_a_floor_for_the_scatter() -> None:
    """Alike loads from an instrument that is 10 N unsure: the interval is as wide as 10 N of scatter makes it."""
    found = describe("a", group("a", 400.0, 400.1, 400.2, own_n=10.0))
    assert found.interval is not None

    assert 400.1 - found.interval.low_n == pytest.approx(4.302653 * 10.0 / 3**0.5, rel=1e-6)
    assert any("own uncertainty is used" in note for note in found.notes)


def test_an_outlier_is_named_and_kept() -> None:
    """One of six far off: named, and in the mean all the same."""
    found = describe("a", group("a", 100.0, 101.0, 99.0, 100.5, 99.5, 60.0))

    assert found.outlier is not None
    assert found.outlier.specimen == "a5"
    assert found.mean_n == pytest.approx((100.0 + 101.0 + 99.0 + 100.5 + 99.5 + 60.0) / 6)


def test_one_step_of_rounding_is_no_outlier() -> None:
    """Loads written in whole kgf, all alike but one: no scatter is known against which it could stand out."""
    assert describe("a", group("a", 400.0, 400.0, 401.0)).outlier is None
    assert describe("a", group("a", 400.0, 400.0, 400.0, 410.0)).outlier is None
    assert describe("a", group("a", 400.0, 400.0, 400.0, 600.0)).outlier is not None


def test_nobody_is_told_to_break_a_thousand_specimens() -> None:
    """Loads that scatter by as much as they are."""
    pulls = [*group("a", 100.0, 400.0, 900.0), *group("b", 50.0, 300.0, 700.0)]
    (pair,) = compare(pulls).pairs

    assert pair.needed_per_group is None or pair.needed_per_group > 100
    assert "no reasonable number would show" in pair.sentence
    assert "specimens per group" not in pair.sentence


def test_doubtful_pulls_are_named_and_kept() -> None:
    """A flag names the pull and changes no number."""
    plain = describe("a", group("a", 100.0, 101.0, 99.0))
    flagged = describe("a", [replace(pull, flags=("zero_shift",)) for pull in group("a", 100.0, 101.0, 99.0)])

    assert [doubt.specimen for doubt in flagged.doubts] == ["a0", "a1", "a2"]
    assert flagged.interval == plain.interval


def test_shared_error_is_in_absolute_claims_and_not_in_ratios() -> None:
    """A 2 % calibration: wider intervals of the mean, lower bounds, the very same ratio interval."""
    plain = compare([*SCREWED, *BONDED])
    doubted = compare(
        [replace(p, shared=(SharedTerm("c", "gravity", 0.02 * p.value_n),)) for p in (*SCREWED, *BONDED)]
    )
    a, b = plain.groups[0], doubted.groups[0]
    assert a.interval is not None
    assert b.interval is not None
    assert a.interval.high_n is not None
    assert b.interval.high_n is not None

    assert b.interval.high_n - b.interval.low_n > 1.3 * (a.interval.high_n - a.interval.low_n)
    assert all(
        two.value_n is not None and one.value_n is not None and two.value_n < one.value_n
        for one, two in zip(a.bounds, b.bounds, strict=True)
    )
    assert doubted.pairs[0].ratio_low == pytest.approx(plain.pairs[0].ratio_low)
    assert doubted.pairs[0].p == pytest.approx(plain.pairs[0].p)


def test_two_calibrations_weaken_a_verdict() -> None:
    """13 % between groups read with calibrations that are 5 % unsure each is no longer shown."""
    pulls = [
        replace(p, shared=(SharedTerm(p.group, "gravity", 0.05 * p.value_n),)) for p in (*SCREWED, *BONDED)
    ]
    comparison = compare(pulls)

    assert comparison.pairs[0].instrument_relative == pytest.approx(0.05 * 2**0.5)
    assert comparison.pairs[0].verdict == "too_few"
    assert any("2 calibrations" in note for note in comparison.notes)


def test_beats_is_about_the_next_specimens() -> None:
    """Means 1 SD apart, many specimens: P(next beats next) near Phi(1 / sqrt 2) = 0.76, and inside its interval."""
    rng = np.random.default_rng(8)
    shape = rng.standard_normal(60)
    shape = (shape - shape.mean()) / shape.std(ddof=1)
    pulls = [*group("a", *(110.0 + 10.0 * shape)), *group("b", *(100.0 + 10.0 * shape))]
    found = compare(pulls).pairs[0].beats

    assert found is not None
    assert found.probability == pytest.approx(0.7602, abs=0.01)
    assert found.low < 0.7602 < found.high


def test_reference_limits_the_pairs() -> None:
    """With a reference only the others against it are compared; the reference comes second."""
    comparison = compare([*BONDED, *SCREWED, *group("c", 1.0, 2.0)], reference="screwed")

    assert [(pair.first, pair.second) for pair in comparison.pairs] == [
        ("bonded", "screwed"),
        ("c", "screwed"),
    ]


def test_wrong_use_gets_one_line() -> None:
    """Unknown reference, nothing to compare, shares out of range."""
    with pytest.raises(UsageError, match='no group "glued"; there is bonded'):
        compare(BONDED, reference="glued")
    with pytest.raises(DataError, match="no pull with a group"):
        compare([])
    with pytest.raises(UsageError, match="coverage of 95"):
        compare(BONDED, coverage=95.0)
    with pytest.raises(UsageError, match="matters"):
        compare(BONDED, matters=0.0)
    for factor in (one_sided_factor, two_sided_factor):
        with pytest.raises(UsageError, match="at least 2"):
            factor(1, 0.95, 0.95)
    with pytest.raises(UsageError, match="fewer than 3"):
        normed_residual([1.0, 2.0])
    with pytest.raises(UsageError, match="shows nothing"):
        share_surviving(0, 0.95)


def test_one_group_is_described_alone() -> None:
    """No pairs, and a sentence that says why; its scatter serves the next plan."""
    comparison = compare(BONDED)

    assert comparison.pairs == ()
    assert any("one group only" in note for note in comparison.notes)
    assert comparison.pooled_cv == comparison.groups[0].cv
    assert comparison.pooled_df == 3


def test_pooled_scatter() -> None:
    """Two groups' coefficients of variation pooled by their degrees of freedom."""
    comparison = compare([*BONDED, *group("c", 100.0, 130.0)])
    a, b = (group.cv for group in comparison.groups)
    assert a is not None
    assert b is not None

    assert comparison.pooled_cv == pytest.approx(((3 * a * a + b * b) / 4) ** 0.5)
    assert comparison.pooled_df == 4


def test_the_document_names_what_was_compared() -> None:
    """The JSON face carries schema, quantity, settings, groups with pulls, pairs with sentences."""
    document = compare(
        [*BONDED, *SCREWED], quantity=Compared("strength", "mass", "N/g"), left_out=["B9: no mass"]
    ).to_json()

    assert document["schema"] == "breakyard.comparison/2"
    assert document["quantity"] == {"name": "strength", "per": "mass", "unit": "N/g"}
    assert document["left_out"] == ["B9: no mass"]
    assert len(document["groups"][0]["pulls"]) == 4
    assert document["pairs"][0]["own_scatter"]["p"] <= document["pairs"][0]["p"]
    assert document["scatter"]["families"][0]["family"] in ("weibull", "log-normal")
