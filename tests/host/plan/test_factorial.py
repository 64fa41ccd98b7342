"""Campaigns of several factors over several days."""

from collections import Counter

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from breakyard.errors import UsageError
from breakyard.plan.factorial import campaign, confounded, each_for, parse_factors

FACTORS = {"wood": ("oak", "ash", "elm"), "direction": ("along", "across")}


@given(
    levels=st.lists(st.integers(2, 4), min_size=1, max_size=3),
    each=st.integers(1, 5),
    days=st.integers(1, 4),
    seed=st.integers(0, 50),
)
def test_every_combination_is_pulled_and_the_days_are_even(
    levels: list[int], each: int, days: int, seed: int
) -> None:
    factors = {f"f{n}": tuple(f"{n}{level}" for level in range(count)) for n, count in enumerate(levels)}
    try:
        planned = campaign(factors, each=each, days=days, seed=seed)
    except UsageError:
        assume(False)
    counts = Counter(tuple(one.levels.values()) for one in planned)
    assert set(counts.values()) == {each}
    assert [one.order for one in planned] == list(range(1, len(planned) + 1))
    assert len({one.specimen for one in planned}) == len(planned)
    of_days = Counter(one.day for one in planned)
    for name, of_factor in factors.items():
        for level in of_factor:
            share = Counter(one.day for one in planned if one.levels[name] == level)
            assert (
                max(share.values()) - min(share[day] for day in of_days)
                <= len(planned) // len(of_factor) // each
            )
    assert campaign(factors, each=each, days=days, seed=seed) == planned
    assert not confounded(factors, [(tuple(one.levels.values()), one.day) for one in planned], days)


def test_one_level_a_day_is_refused_with_the_way_out() -> None:
    with pytest.raises(
        UsageError, match="wood cannot be separated from the days; take 2 of each combination"
    ):
        campaign({"wood": ("oak", "ash", "elm")}, each=1, days=3, seed=1)


def test_a_factor_that_changes_with_the_day_is_confounded() -> None:
    placed = [((wood, "along" if day == 1 else "across"), day) for wood in FACTORS["wood"] for day in (1, 2)]
    assert confounded(FACTORS, placed, 2) == ("direction",)


def test_each_gives_every_level_enough() -> None:
    assert each_for(9, FACTORS) == 5  # of each of 6; each wood has 10, each direction 15
    assert each_for(1, FACTORS) == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("wood=oak", "two levels or more"),
        ("wood", "two levels or more"),
        ("wood=oak,oak", "named twice"),
        ("wood=oak,ash; wood=elm,yew", 'the factor "wood" is named twice'),
        ("", "name the factors"),
    ],
)
def test_what_is_no_factor_is_refused(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        parse_factors(text)


def test_factors_are_read_as_typed() -> None:
    assert parse_factors("wood=oak, ash,elm; direction = along , across") == FACTORS
