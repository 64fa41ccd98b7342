"""What a comparison by factors says, and what it refuses to say."""

import math
from collections.abc import Sequence

import numpy as np
import pytest

from breakyard.comparison.factors import FactorComparison, PulledSpecimen, compare_factors
from breakyard.comparison.instrument import SharedTerm
from breakyard.comparison.observations import Observation
from breakyard.errors import DataError, UsageError

WOODS = {"oak": 0.0, "ash": 0.28, "elm": -0.15}
DIRECTIONS = {"along": 0.0, "across": -0.4}
DAYS = {"day1": 0.0, "day2": 0.06}


def rows(
    *,
    cv: float = 0.04,
    seed: int = 1,
    each: int = 2,
    together: float = 0.0,
    cut: float = math.inf,
    slope: float = 0.0,
    calibration_of_day: bool = False,
) -> list[PulledSpecimen]:
    """Invented specimens; together: what ash carries more across than its wood and direction say."""
    rng = np.random.default_rng(seed)
    made = []
    for day, of_day in DAYS.items():
        for wood, of_wood in WOODS.items():
            for direction, of_direction in DIRECTIONS.items():
                for number in range(each):
                    warm = float(rng.uniform(5.0, 25.0))
                    log = of_day + of_wood + of_direction + slope * (warm - 15.0)
                    log += together if (wood, direction) == ("ash", "across") else 0.0
                    load = 5000.0 * math.exp(log + cv * rng.standard_normal())
                    value = min(load, cut)
                    calibration = day if calibration_of_day else "one"
                    made.append(
                        PulledSpecimen(
                            Observation(
                                f"{wood} {direction}",
                                f"{wood}-{direction}-{day}-{number}",
                                value,
                                at_least=load > cut,
                                shared=(SharedTerm(calibration, "calibration", 0.02 * value),),
                            ),
                            {"wood": wood, "direction": direction, "day": day},
                            {"temperature": warm},
                        )
                    )
    return made


def ratio(found: FactorComparison, first: str, second: str) -> tuple[float, float, float]:
    """One ratio with its ends, whichever way round it stands."""
    for one in found.ratios:
        if (one.first, one.second) == (first, second):
            return one.ratio, one.ratio_low, one.ratio_high
        if (one.first, one.second) == (second, first):
            return 1.0 / one.ratio, 1.0 / one.ratio_high, 1.0 / one.ratio_low
    raise AssertionError(f"no ratio of {first} and {second}")


def test_factors_days_and_conditions_are_told_apart() -> None:
    found = compare_factors(
        rows(slope=-0.004), factors=["wood", "direction"], block="day", conditions=["temperature"]
    )
    for first, second, of in (("ash", "oak", WOODS), ("elm", "oak", WOODS), ("along", "across", DIRECTIONS)):
        _, low, high = ratio(found, first, second)
        assert low < math.exp(of[first] - of[second]) < high
        assert high / low < 1.2
    (shift,) = found.shifts
    assert shift.ratio_low < math.exp(0.06) < shift.ratio_high
    (slope,) = found.slopes
    assert slope.ratio_low < math.exp(-0.004 * (slope.to_value - slope.from_value)) < slope.ratio_high
    assert [(one.shown, one.p is not None) for one in found.together] == [(False, True)]
    assert not found.cannot_tell
    assert [one.name for one in found.combinations][:1] == ["ash, along"]


def test_only_pairs_that_share_everything_else_are_compared() -> None:
    found = compare_factors(rows(), factors=["wood", "direction"], block="day")
    assert len(found.ratios) == 3 + 1  # not the 15 of six groups


def test_factors_that_act_together_are_compared_at_each_level_of_the_other() -> None:
    found = compare_factors(rows(together=0.5), factors=["wood", "direction"], block="day")
    (both,) = found.together
    assert both.shown
    assert "act together" in both.sentence
    assert len(found.ratios) == 2 * 3 + 3 * 1
    across = [one for one in found.ratios if one.within == {"direction": "across"} and one.first == "oak"]
    by_name = {one.second: one for one in across}
    assert by_name["ash"].ratio_low < math.exp(-0.28 - 0.5) < by_name["ash"].ratio_high
    assert "ash (across) carries" in by_name["ash"].sentence


def test_a_condition_with_one_value_a_day_is_named_with_the_reason() -> None:
    made = [
        PulledSpecimen(row.pull, row.levels, {"temperature": 10.0 if row.levels["day"] == "day1" else 18.0})
        for row in rows()
    ]
    found = compare_factors(made, factors=["wood"], block="day", conditions=["temperature"])
    assert found.cannot_tell == (
        "temperature has one value in each day, so its effect cannot be separated from that of day.",
    )
    assert not found.slopes


def test_a_factor_that_changed_with_the_day_gives_no_ratio() -> None:
    made = [row for row in rows() if (row.levels["direction"] == "along") == (row.levels["day"] == "day1")]
    found = compare_factors(made, factors=["wood", "direction"], block="day")
    assert {one.factor for one in found.ratios} == {"wood"}
    assert any("direction has one level in each day" in line for line in found.cannot_tell)
    assert any("these specimens do not show it" in line for line in found.cannot_tell)


def test_a_days_calibration_error_is_taken_out_with_the_day_and_stays_without() -> None:
    uneven = [
        row
        for row in rows(calibration_of_day=True, each=3)
        if row.levels["wood"] != "ash" or row.levels["day"] == "day2"
    ]
    with_days = compare_factors(uneven, factors=["wood"], block="day")
    without = compare_factors(uneven, factors=["wood"])

    def instrument(found: FactorComparison) -> float:
        return next(one.instrument_relative for one in found.ratios if "ash" in (one.first, one.second))

    assert instrument(with_days) < 1e-9
    assert instrument(without) > 0.01
    assert any("--block session" in note for note in without.notes)


def test_bounds_count_as_known_to_have_held() -> None:
    """Left out or taken as breaks they would pull ash down to the cut."""
    found = compare_factors(rows(cut=6000.0, each=3), factors=["wood", "direction"], block="day")
    assert found.specimens > found.breaks
    _, low, high = ratio(found, "ash", "oak")
    assert low < math.exp(0.28) < high


def test_a_level_of_which_nothing_broke_is_left_out_and_named() -> None:
    made = [
        PulledSpecimen(
            Observation("g", f"x{n}", 9000.0, at_least=True),
            {"wood": "yew", "direction": "along", "day": "day1"},
            {},
        )
        for n in range(2)
    ]
    found = compare_factors([*rows(), *made], factors=["wood", "direction"], block="day")
    assert "yew" not in {level for one in found.ratios for level in (one.first, one.second)}
    assert any(line.startswith("wood yew: none of its 2 broke") for line in found.left_out)


def test_a_reference_level_is_compared_with_the_others_only() -> None:
    found = compare_factors(rows(), factors=["wood"], block="day", reference="oak")
    assert [(one.first, one.second) for one in found.ratios] == [("ash", "oak"), ("elm", "oak")]
    with pytest.raises(UsageError, match='no level "pine"; there is oak, ash, elm'):
        compare_factors(rows(), factors=["wood"], block="day", reference="pine")


@pytest.mark.parametrize("seed", range(6))
def test_a_ratio_is_called_different_exactly_where_its_interval_and_probability_say_so(seed: int) -> None:
    found = compare_factors(rows(cv=0.2, seed=seed), factors=["wood", "direction"], block="day")
    for one in found.ratios:
        apart = one.ratio_low > 1.0 or one.ratio_high < 1.0
        assert apart == (one.verdict in ("first_more", "second_more"))
        assert apart == (one.p < 0.05)


def test_units_and_order_change_nothing() -> None:
    made = rows(cv=0.1)
    scaled = [
        PulledSpecimen(
            Observation(row.pull.group, row.pull.specimen, 0.2248 * row.pull.value_n),
            row.levels,
            row.conditions,
        )
        for row in made
    ]
    plain = [
        PulledSpecimen(
            Observation(row.pull.group, row.pull.specimen, row.pull.value_n), row.levels, row.conditions
        )
        for row in made
    ]

    def found(of: Sequence[PulledSpecimen]) -> list[float]:
        return [one.ratio_low for one in compare_factors(of, factors=["wood"], block="day").ratios]

    assert found(scaled) == pytest.approx(found(plain), rel=1e-9)


def test_what_cannot_be_asked_is_refused_in_a_line() -> None:
    with pytest.raises(UsageError, match='"wood" is named twice'):
        compare_factors(rows(), factors=["wood"], block="wood")
    with pytest.raises(DataError, match="too few for"):
        compare_factors(rows(each=1)[:4], factors=["wood", "direction"], conditions=["temperature"])
    with pytest.raises(DataError, match="only one level was pulled"):
        compare_factors([row for row in rows() if row.levels["wood"] == "oak"], factors=["wood"])
    same = [
        PulledSpecimen(Observation("g", str(n), 500.0), {"wood": "oak" if n < 3 else "ash"}, {})
        for n in range(6)
    ]
    with pytest.raises(DataError, match="no scatter at all"):
        compare_factors(same, factors=["wood"])
