"""The measured step response against simulated cuts; truth and analysis share no code."""

import json
import math

import numpy as np
import pytest
from step_cuts import cuts_of

from breakyard.converter import StepResponse, find_cuts, measure
from breakyard.errors import DataError
from breakyard.simulate.converter import Conversions, Faults


def read(conversions: Conversions, sign: float = 1.0) -> StepResponse:
    cuts = find_cuts(conversions.time_s, sign * conversions.counts.astype(float), "cuts")
    return measure(cuts, logger="ab", created="2026-05-03T08:00:00Z", gain=128, sources=())


def left_after(order: int, conversions: float) -> float:
    """1 - Irwin-Hall distribution: what `order` box averages leave of a step (textbook formula)."""
    terms = (
        (-1) ** k * math.comb(order, k) * max(conversions - k, 0.0) ** order / math.factorial(order)
        for k in range(order + 1)
    )
    return 1.0 - sum(terms)


@pytest.mark.parametrize("order", [3, 4])
@pytest.mark.parametrize(
    "session",
    [
        {},
        {"fall_s": (0.0005, 0.005)},
        {"ring": 0.03},
        {"noise_nv": 450.0},
        {"faults": Faults(missed_fraction=0.01)},
    ],
    ids=["clean", "slower cuts", "ringing", "noise", "missing"],
)
def test_the_order_is_found_or_nothing_is_claimed(order: int, session: dict[str, object]) -> None:
    """Clean and middling sessions of 12 cuts: the right order, or "unsure"; mostly the order."""
    found = [read(cuts_of(100 * order + seed, order, **session)) for seed in range(2)]  # type: ignore[arg-type]

    assert {one.order for one in found if one.verdict == "order"} == {order}
    assert "neither" not in {one.verdict for one in found}
    assert sum(one.verdict == "order" for one in found) >= 1


@pytest.mark.parametrize("order", [3, 4])
def test_the_shape_is_that_of_repeated_averages(order: int) -> None:
    """Finer than one conversion: at quarters of one the shares left are the B-spline's, to half a percent of the mass.

    Halfway between two conversions they are 98, 50, 2 % and 99.7, 80, 20, 0.3 %, as the notes on hardware print.
    """
    found = read(cuts_of(7, order))

    for at, left, standard in zip(found.at, found.left, found.standard, strict=True):
        if 0.0 <= at <= order:
            assert left == pytest.approx(left_after(order, at), abs=max(0.005, 4 * standard))
    halves = [found.left[found.at.index(k + 0.5)] for k in range(order)]
    printed = {3: [0.98, 0.50, 0.02], 4: [0.997, 0.80, 0.20, 0.003]}[order]
    assert halves == pytest.approx(printed, abs=0.008)


@pytest.mark.parametrize("order", [1, 2, 5])
def test_another_order_is_called_neither(order: int) -> None:
    """Not forced into 3 or 4."""
    found = read(cuts_of(40 + order, order))

    assert found.verdict == "neither"
    assert set(found.weights()) == {2, 3, 4, 5}


@pytest.mark.parametrize(
    ("session", "word"),
    [
        ({"fall_s": (0.006, 0.02)}, "let go at once"),
        ({"ring": 0.2}, "inging"),
        ({"number": 5}, "too few"),
        ({"faults": Faults(missed_fraction=0.12)}, "missing"),
        ({"mass_kg": 1.0, "noise_nv": 100.0}, "larger mass"),
    ],
)
def test_bad_data_are_called_unsure_and_why(session: dict[str, object], word: str) -> None:
    """Slow cuts, ringing, few cuts, missing conversions, noise: the sentence says what to do better."""
    found = read(cuts_of(3, 4, **session))  # type: ignore[arg-type]

    assert found.verdict == "unsure"
    assert not found.usable
    assert any(word in sentence for sentence in found.sentences), found.sentences


@pytest.mark.parametrize("fade_s", [0.003, 0.006])
def test_a_slow_filter_in_front_is_no_sinc(fade_s: float) -> None:
    """An exponential tail is never passed off as order 3 or 4."""
    for order in (3, 4):
        assert read(cuts_of(5, order, fade_s=fade_s)).verdict != "order"


def test_cuts_are_found_whichever_way_the_counts_go() -> None:
    """Swapped wires make counts fall under load; hanging the mass is no cut."""
    conversions = cuts_of(9, 4, number=6)
    plain = find_cuts(conversions.time_s, conversions.counts.astype(float), "a")
    swapped = find_cuts(conversions.time_s, -conversions.counts.astype(float), "a")

    assert len(plain) == len(swapped) == 6
    assert [cut.time_s for cut in plain] == pytest.approx([cut.time_s for cut in swapped])
    assert all(cut.size_counts > 0 for cut in plain)


def test_nothing_is_found_where_nothing_was_cut() -> None:
    """Quiet, and a step too small for its noise."""
    time = np.arange(2000) / 80.0
    noise = np.random.default_rng(1).normal(0.0, 40.0, time.size)

    assert find_cuts(time, noise, "quiet") == ()
    assert find_cuts(time, noise + 500.0 * (time < 12.0), "small") == ()
    with pytest.raises(DataError, match="no cut found"):
        measure([], logger="", created="", gain=None, sources=())


def test_the_document_comes_back_and_tells_when_it_was_changed() -> None:
    """Written and read alike; a changed digit is refused."""
    found = read(cuts_of(11, 3, number=8))
    text = json.dumps(found.to_json())

    assert StepResponse.from_json(text) == found
    with pytest.raises(DataError, match="changed"):
        StepResponse.from_json(text.replace('"order": 3', '"order": 4'))
    for wrong in ("{}", "[1]", "nonsense", '{"schema": "breakyard.step/1"}'):
        with pytest.raises(DataError):
            StepResponse.from_json(wrong)
