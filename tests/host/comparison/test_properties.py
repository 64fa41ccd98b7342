"""What must hold for any groups: units, order, and never a false certainty."""

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breakyard.comparison import Comparison, Observation, compare
from breakyard.comparison.instrument import SharedTerm

LOADS = st.floats(min_value=100.0, max_value=1e5, allow_nan=False)
PULLS = st.lists(st.tuples(LOADS, st.booleans()), min_size=1, max_size=5)
GROUPS = st.lists(PULLS, min_size=2, max_size=3)
FEW = settings(max_examples=25)


def made(groups: list[list[tuple[float, bool]]], factor: float = 1.0) -> list[Observation]:
    """Observations of groups called a, b, c."""
    return [
        Observation("abc"[g], f"{'abc'[g]}{i}", factor * load, held, own_n=factor * 3.0)
        for g, pulls in enumerate(groups)
        for i, (load, held) in enumerate(pulls)
    ]


def verdicts(comparison: Comparison) -> dict[tuple[str, str], str]:
    """Winner of each pair, whatever the order of its names."""
    found = {}
    for pair in comparison.pairs:
        name = {"first_more": pair.first, "second_more": pair.second}.get(pair.verdict, pair.verdict)
        first, second = sorted((pair.first, pair.second))
        found[first, second] = name
    return found


@FEW
@given(GROUPS)
def test_any_groups_give_an_answer_that_json_can_carry(groups: list[list[tuple[float, bool]]]) -> None:
    """Ties, single specimens, bounds only, no scatter: always a document, never a crash, nothing infinite in it."""
    document = compare(made(groups)).to_json()

    text = json.dumps(document, allow_nan=False)
    assert json.loads(text)["schema"] == "breakyard.comparison/2"
    assert all(pair["sentence"] for pair in document["pairs"])


@FEW
@given(GROUPS, st.sampled_from([1e-3, 0.4535924, 9.80665, 1e3]))
def test_verdicts_hold_in_any_unit(groups: list[list[tuple[float, bool]]], factor: float) -> None:
    """Loads in another unit: the same verdicts and sentences, and every load and bound scaled with it."""
    here, there = compare(made(groups)), compare(made(groups, factor))

    assert [pair.verdict for pair in here.pairs] == [pair.verdict for pair in there.pairs]
    for a, b in zip(here.groups, there.groups, strict=True):
        for one, other in zip(a.bounds, b.bounds, strict=True):
            assert (one.value_n is None) == (other.value_n is None)
            if one.value_n is not None:
                assert other.value_n == pytest.approx(factor * one.value_n, rel=1e-5)
        if a.interval is not None:
            assert b.interval is not None
            assert b.interval.low_n == pytest.approx(factor * a.interval.low_n, rel=1e-5, abs=1e-9)


@FEW
@given(GROUPS, st.randoms(use_true_random=False))
def test_order_of_pulls_changes_nothing(groups: list[list[tuple[float, bool]]], random: object) -> None:
    """The same specimens in any order: the same verdict for every pair, the same numbers for every group."""
    pulls = made(groups)
    shuffled = list(pulls)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    here, there = compare(pulls), compare(shuffled)

    assert verdicts(here) == verdicts(there)
    for group in here.groups:
        other = there.group(group.name)
        assert (other.n, other.at_least, other.min_n) == (group.n, group.at_least, group.min_n)
        if group.mean_n is not None:
            assert other.mean_n == pytest.approx(group.mean_n)


@FEW
@given(st.lists(st.tuples(LOADS, st.booleans()), min_size=1, max_size=1), PULLS)
def test_one_specimen_never_ranks(one: list[tuple[float, bool]], other: list[tuple[float, bool]]) -> None:
    """A group of one is never called stronger or weaker, however far it lies off, and never called alike."""
    pair = compare(made([one, other])).pairs[0]

    assert pair.verdict == "too_few"
    assert pair.single is not None


@FEW
@given(st.lists(LOADS, min_size=1, max_size=5), st.lists(LOADS, min_size=1, max_size=5))
def test_bounds_alone_never_rank(a: list[float], b: list[float]) -> None:
    """Where nothing broke in either group, nothing can be ranked."""
    comparison = compare(made([[(load, True) for load in a], [(load, True) for load in b]]))

    assert comparison.pairs[0].verdict == "too_few"
    for group in comparison.groups:
        assert group.survived is not None
        assert group.survived.load_n == group.min_n
        assert all(bound.value_n is None for bound in group.bounds)


@FEW
@given(st.lists(LOADS, min_size=2, max_size=6))
def test_a_group_against_itself_shows_no_difference(loads: list[float]) -> None:
    """The same loads under two names are never called different."""
    pulls = [(load, False) for load in loads]
    pair = compare(made([pulls, pulls])).pairs[0]

    assert pair.verdict in ("no_difference_shown", "too_few")
    if pair.ratio is not None:
        assert pair.ratio == pytest.approx(1.0)
    if pair.beats is not None:
        assert pair.beats.probability == pytest.approx(0.5, abs=0.02)


@FEW
@given(GROUPS)
def test_an_instrument_error_never_sharpens_a_claim(groups: list[list[tuple[float, bool]]]) -> None:
    """A shared error makes absolute intervals no shorter and bounds no higher, and leaves the ratios alone."""
    plain = made(groups)
    doubted = [replace(p, shared=(SharedTerm("c", "gravity", 0.02 * p.value_n),)) for p in plain]
    here, there = compare(plain), compare(doubted)

    assert [pair.verdict for pair in here.pairs] == [pair.verdict for pair in there.pairs]
    for a, b in zip(here.groups, there.groups, strict=True):
        assert b.shared_relative == pytest.approx(0.02)
        if a.interval is not None:
            assert b.interval is not None
            assert b.interval.low_n <= a.interval.low_n * (1.0 + 1e-12)
            if a.interval.high_n is not None and b.interval.high_n is not None:
                assert b.interval.high_n >= a.interval.high_n * (1.0 - 1e-12)
        for one, other in zip(a.bounds, b.bounds, strict=True):
            if one.value_n is not None and other.value_n is not None:
                assert other.value_n <= one.value_n * (1.0 + 1e-12)


@FEW
@given(st.lists(LOADS, min_size=2, max_size=5), st.lists(LOADS, min_size=2, max_size=5))
def test_separate_calibrations_never_sharpen_a_comparison(a: list[float], b: list[float]) -> None:
    """Errors that do not cancel make no probability smaller and no interval of the ratio shorter."""
    plain = made([[(load, False) for load in loads] for loads in (a, b)])
    doubted = [replace(p, shared=(SharedTerm(p.group, "gravity", 0.02 * p.value_n),)) for p in plain]
    here, there = compare(plain).pairs[0], compare(doubted).pairs[0]
    assert (here.p is None) == (there.p is None)
    if here.p is None or there.p is None:
        return

    assert there.p >= here.p - 1e-9
    assert (there.ratio_low or 0.0) <= (here.ratio_low or 0.0) * (1.0 + 1e-6)
    assert (there.ratio_high or math.inf) >= (here.ratio_high or math.inf) * (1.0 - 1e-6)


@FEW
@given(GROUPS)
def test_a_verdict_its_interval_and_its_probability_agree(groups: list[list[tuple[float, bool]]]) -> None:
    """It is "more" exactly where the interval of the ratio leaves out 1, and the probability is below 5 %."""
    for pair in compare(made(groups)).pairs:
        above = pair.ratio_low is not None and pair.ratio_low > 1.0
        below = pair.ratio_high is not None and pair.ratio_high < 1.0
        assert (pair.verdict == "first_more") == above
        assert (pair.verdict == "second_more") == below
        if pair.p is not None and abs(pair.p - 0.05) > 1e-4:
            assert (above or below) == (pair.p < 0.05)
        if pair.ratio is not None:
            assert (pair.ratio_low or 0.0) <= pair.ratio * (1.0 + 1e-9)
            assert (pair.ratio_high or math.inf) >= pair.ratio * (1.0 - 1e-9)
