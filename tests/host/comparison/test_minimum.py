"""Groups against a load that was asked for."""

import pytest

from breakyard.comparison import Observation, compare
from breakyard.comparison.minimum import against_minimum, against_reference
from breakyard.errors import UsageError


def group(name: str, *loads: float, held: int = 0, half: float = 5.0) -> list[Observation]:
    """Loads in newtons; the last `held` are only "at least"."""
    return [
        Observation(name, f"{name}{n}", load, at_least=n >= len(loads) - held, half_n=half)
        for n, load in enumerate(loads)
    ]


def test_a_load_far_below_the_scatter_is_shown_and_one_within_it_is_not() -> None:
    """95/95 bound by the normal curve: mean 1000, SD 31.6, n 5, k 4.203 (ISO 16269-6:2014, table D.4): 867."""
    found = compare(group("a", 960, 980, 1000, 1020, 1040))
    (low,) = against_minimum(found, 800.0)
    (high,) = against_minimum(found, 950.0)
    assert (low.outcome, low.above, low.below) == ("shown", 5, 0)
    assert (high.outcome, high.above, high.below) == ("not_shown", 5, 0)
    assert low.bound_n is not None
    assert low.bound_n < 868.0


def test_one_that_broke_below_decides_and_one_within_its_interval_does_not() -> None:
    found = compare(group("a", 960, 980, 1000, 1020, 1040))
    (one,) = against_minimum(found, 982.0)
    assert (one.outcome, one.above, one.below) == ("broke_below", 3, 1)


def test_one_that_was_let_go_within_its_interval_of_the_load_is_not_beyond_doubt() -> None:
    """5015 N +- 44 that did not break: 5000 N is not shown of it, 4960 N is."""
    both = compare(
        [Observation("a", f"a{n}", 5015.0 + 100 * n, at_least=True, half_n=44.0) for n in range(2)]
    )

    (near,), (below,) = against_minimum(both, 5000.0), against_minimum(both, 4960.0)

    assert (near.above, near.share_shown, near.outcome) == (1, None, "not_shown")
    assert (below.above, below.outcome) == (2, "not_shown")


def test_what_held_without_a_break_shows_the_success_run_only() -> None:
    """Five of five: 0.05^(1/5) = 55 % of such parts (success run; Hahn and Meeker, Statistical Intervals, 1991)."""
    found = compare(group("a", 600, 600, 600, 600, 600, held=5))
    (one,) = against_minimum(found, 500.0)
    assert one.outcome == "not_shown"
    assert one.share_shown == pytest.approx(0.549, abs=0.001)


def test_a_share_of_the_reference_is_shown_by_the_ratios_lower_end() -> None:
    groups = [*group("new", 1000, 1010, 990, 1005), *group("worn", 850, 860, 845, 855)]
    found = compare(groups, reference="new")
    (kept,) = against_reference(found, 0.8)
    (more,) = against_reference(found, 0.85)
    (less,) = against_reference(found, 0.95)
    assert (kept.outcome, more.outcome, less.outcome) == ("shown", "not_shown", "less")
    with pytest.raises(UsageError, match="--reference"):
        against_reference(compare(groups), 0.8)
