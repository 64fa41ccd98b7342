"""The range plan: what clips, what is too small to see, what is too fast."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from breakyard.calibration.plate import Plate
from breakyard.errors import UsageError
from breakyard.plan import events
from breakyard.plan.ranges import RAIL, RangePlan, RangeQuestion, plan_range
from breakyard.plan.rules import LOADINGS
from breakyard.simulate.converter import filtered
from breakyard.units import FORCE_UNITS

KGF = 9.80665
forces = st.floats(10.0, 1e6)
outputs = st.floats(0.5, 4.0)


def plan(
    low: float = 300.0, high: float = 500.0, capacity: float = 1000.0, output: float = 2.0, **more: object
) -> RangePlan:
    """A plan in kgf."""
    asked = RangeQuestion(low * KGF, high * KGF, Plate(capacity * KGF, output), **more)  # type: ignore[arg-type]
    return plan_range(asked, unit="kgf")


def codes(answer: RangePlan, level: str | None = None) -> set[str]:
    return {finding.code for finding in answer.findings if level is None or finding.level == level}


def test_a_fitting_cell_passes() -> None:
    """300 to 500 kgf on 1 tf at 2 mV/V: half the capacity, a quarter of the converter, nothing speaks against it."""
    answer = plan()

    assert answer.ok
    assert answer.at_expected.of_capacity == pytest.approx(0.5)
    assert answer.at_expected.of_converter == pytest.approx(0.256, abs=0.001)
    assert answer.at_surprise.of_safe_overload == pytest.approx(2.0 / 3.0)
    assert answer.recommendation.capacity_n == pytest.approx(1000.0 * KGF)


@pytest.mark.parametrize(
    ("high", "output", "expected"),
    [
        (1600.0, 2.0, {"overload"}),
        (1000.0, 2.0, {"cell_may_part"}),  # x 3 is its ultimate
        (1250.0, 3.0, {"clips"}),
        (3100.0, 2.0, {"clips", "overload", "cell_may_part"}),
    ],
)
def test_what_fails_the_plan(high: float, output: float, expected: set[str]) -> None:
    """Overload, clip at the expected load (with the plate 10 % out), or a surprise that parts the cell: status no."""
    answer = plan(high=high, output=output, surprise=3.0 if high == 1000.0 else 1.0)

    assert not answer.ok
    assert codes(answer, "no") == expected


def test_a_big_cell_is_named_and_a_smaller_one_offered() -> None:
    """300 kgf on 10 tf: the cell's own 0.1 % is 3 % of the load; with a sheet of 0.02 % it is not."""
    without, stated = plan(capacity=10_000.0), Plate(10_000.0 * KGF, 2.0, nonlinearity=0.0002)

    assert "cell_too_big" in codes(without)
    assert without.recommendation.capacity_n == pytest.approx(1000.0 * KGF)
    assert "cell_too_big" not in codes(plan_range(replace(without.question, plate=stated)))


def test_a_jerk_is_not_measurable() -> None:
    """The warning says that the answer can only be "at least"; a slow pull has no such warning."""
    jerk = plan(loading=LOADINGS["jerk"])
    text = next(finding.text for finding in jerk.findings if finding.code == "jerk")

    assert "not measurable" in text
    assert "at least" in text
    assert "jerk" not in codes(plan(seconds_to_peak=(10.0, 10.0)))


def test_a_slow_pull_has_no_doubt_about_speed() -> None:
    """3.75 s from slack to peak at 80/s: the largest sample is low by 1 % at most, order 4."""
    assert not codes(plan(seconds_to_peak=(3.76, 3.76))) & {"fast_loading", "short_event", "jerk"}
    assert "fast_loading" in codes(plan(seconds_to_peak=(3.7, 3.7)))
    assert "short_event" in codes(plan(seconds_to_peak=(1.0, 1.0)))


@given(
    ramp=st.floats(0.02, 1.0),
    phase=st.floats(0.001, 0.999),
    order=st.sampled_from(events.FILTER_ORDERS),
)
def test_the_miss_of_a_simulated_converter_stays_within_the_bound(
    ramp: float, phase: float, order: int
) -> None:
    """Filter a ramp with a sudden break, time counted in conversions of 1/80 s: the largest output is low by no
    more than the bound, whatever the phase; the simulated filter shares no code with the plan."""
    period = 1.0 / 80.0
    rise_s = 100.0 * period / ramp  # a load of 100 ramps up at `ramp` per conversion
    knots, loads = [0.0, rise_s, rise_s + 1e-6, rise_s + 1.0], [0.0, 100.0, 0.0, 0.0]
    number = int(rise_s / period) + 20
    seen = filtered(knots, loads, first_s=phase * period, period_s=period, number=number, order=order)
    bound = events.largest_miss(ramp / period, 80.0, order)

    assert 100.0 - seen.max() <= bound + 1e-6


@pytest.mark.parametrize("order", events.FILTER_ORDERS)
def test_the_bound_is_not_far_too_wide(order: int) -> None:
    """For a slow ramp (order / 2 + 1) conversions bound the loss and at the worst phase most of it is lost: it is
    not a bound without meaning."""
    period, ramp = 1.0 / 80.0, 0.001
    rise_s = 100.0 * period
    misses = [
        100.0
        - filtered(
            [0.0, rise_s, rise_s + 1e-9, rise_s + 1.0],
            [100.0 - 100.0 * ramp, 100.0, 0.0, 0.0],
            first_s=phase * period,
            period_s=period,
            number=110,
            order=order,
        ).max()
        for phase in np.linspace(0.01, 1.0, 100)
    ]

    assert 0.7 < max(misses) / events.largest_miss(ramp / period, 80.0, order) <= 1.0


@given(forces, st.floats(1.0, 5.0), forces, outputs, st.sampled_from(sorted(FORCE_UNITS)))
def test_the_unit_changes_sentences_only(
    low: float, spread: float, capacity: float, output: float, unit: str
) -> None:
    """The same question shown in another unit gives the same numbers and the same findings."""
    asked = RangeQuestion(low, low * spread, Plate(capacity, output))
    newtons, other = plan_range(asked), plan_range(asked, unit=unit)

    assert replace(newtons, findings=()) == replace(other, findings=())
    assert [(f.code, f.level) for f in newtons.findings] == [(f.code, f.level) for f in other.findings]


@given(forces, st.floats(1.0, 5.0), forces, outputs, st.floats(0.01, 100.0))
def test_shares_do_not_change_when_all_loads_are_scaled(
    low: float, spread: float, capacity: float, output: float, scale: float
) -> None:
    """Everything twice as large: the same shares, limits and steps twice as large."""
    one = plan_range(RangeQuestion(low, low * spread, Plate(capacity, output)))
    big = plan_range(RangeQuestion(scale * low, scale * low * spread, Plate(scale * capacity, output)))

    assert big.at_expected.of_capacity == pytest.approx(one.at_expected.of_capacity)
    assert big.at_surprise.of_converter == pytest.approx(one.at_surprise.of_converter)
    assert big.limit("clip").load_n == pytest.approx(scale * one.limit("clip").load_n)
    assert big.step_n == pytest.approx(scale * one.step_n)
    assert big.noise_n == pytest.approx(scale * one.noise_n)


@given(forces, forces, forces, outputs)
def test_more_load_never_helps(low: float, first: float, second: float, output: float) -> None:
    """A higher expected load uses no less of anything, and a plan that failed does not pass with more."""
    small, large = sorted((low + first, low + first + second))
    one, two = (plan_range(RangeQuestion(low, high, Plate(20_000.0, output))) for high in (small, large))

    assert two.at_expected.of_converter >= one.at_expected.of_converter
    assert two.at_expected.counts >= one.at_expected.counts
    assert two.at_expected.counts <= RAIL
    assert one.ok or not two.ok


@given(forces, outputs, st.integers(1, 4), st.floats(0.1, 10.0))
def test_cells_and_ratio_act_like_one_larger_cell(
    load: float, output: float, cells: int, ratio: float
) -> None:
    """n equal cells in parallel behind a ratio are one cell of n x capacity / ratio (circuit theory)."""
    many = plan_range(RangeQuestion(load, load, Plate(5000.0, output), cells=cells, ratio=ratio))
    one = plan_range(RangeQuestion(load, load, Plate(5000.0 * cells / ratio, output)))

    assert many.limit("clip").load_n == pytest.approx(one.limit("clip").load_n)
    assert many.step_n == pytest.approx(one.step_n)
    assert many.noise_n == pytest.approx(one.noise_n)
    assert many.at_expected.cell_n == pytest.approx(load * ratio / cells)


@given(st.floats(1.0, 200.0), st.floats(1.0, 200.0))
def test_a_faster_rate_sees_shorter_events_and_allows_faster_loading(one: float, other: float) -> None:
    """Monotone in the rate, both ways."""
    slow, fast = sorted((one, other))

    assert events.shortest_event_s(fast) <= events.shortest_event_s(slow)
    assert events.fastest_ramp_n_per_s(1000.0, fast) >= events.fastest_ramp_n_per_s(1000.0, slow)
    assert plan(rate_hz=fast).noise_n >= plan(rate_hz=slow).noise_n


@given(forces, st.floats(1.0, 20.0), outputs, st.floats(1.0, 5.0))
def test_the_recommended_cell_fits(low: float, spread: float, output: float, surprise: float) -> None:
    """Planned again with the recommended cell and gain: nothing fails, the cell is neither small nor too big."""
    first = plan_range(RangeQuestion(low, low * spread, Plate(1e4, output), surprise=surprise))
    advice = first.recommendation
    assume(advice.capacity_n is not None)
    assert advice.capacity_n is not None
    again = plan_range(
        RangeQuestion(
            low, low * spread, Plate(advice.capacity_n, output), gain=advice.gain, surprise=surprise
        )
    )

    assert again.ok
    assert not codes(again) & {"cell_small", "cell_too_big", "above_capacity", "clip_before_overload"}


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"gain": 100}, "gain 100"),
        ({"cells": 0}, "0 cells"),
        ({"ratio": 0.0}, "ratio"),
        ({"surprise": 0.5}, "surprise"),
        ({"rate_hz": 0.0}, "rate"),
        ({"supply_v": 0.0}, "excitation"),
        ({"seconds_to_peak": (2.0, 1.0)}, "time from slack"),
        ({"safe_overload": 4.0}, "safe overload"),
    ],
)
def test_impossible_questions_get_one_line(more: dict[str, object], words: str) -> None:
    """Each names what is wrong."""
    with pytest.raises(UsageError, match=words) as caught:
        plan(**more)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)


def test_a_plate_without_output_asks_for_it() -> None:
    """The mV/V cannot be guessed: 2 and 3 are both common."""
    with pytest.raises(UsageError, match="mV/V"):
        RangeQuestion(1.0, 2.0, Plate(1000.0))


def test_json_has_units_in_its_names_and_is_json() -> None:
    """Forces end in _n, times in _s; no number is infinite."""
    document = plan().to_json()
    text = json.dumps(document, allow_nan=False)

    assert document["schema"] == "breakyard.range/1"
    assert json.loads(text)["first"]["name"] == "safe overload"
    assert json.loads(text)["fastest_loading"]["order_4_n_per_s"] == pytest.approx(80.0 * KGF)
