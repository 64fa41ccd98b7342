"""Rows for people: each doubtful row says why, and says it in a sentence."""

from collections.abc import Callable

import pytest

from breakyard.pull.results import BudgetLine, Summary
from breakyard.report.words.narrowing import narrowing
from breakyard.report.words.table import make_row, make_table
from breakyard.report.words.wording import SERIOUS, SHORT, doubts, is_doubtful, manner_text, short_doubts


def test_a_row_in_the_unit_of_the_reader(make_summary: Callable[..., Summary]) -> None:
    row = make_row(make_summary(), unit="kgf", specimen="B1", group="bonded")

    assert (row.specimen, row.group, row.name) == ("B1", "bonded", "run 7")
    assert row.peak == row.strength == "407.9 (405.6 to 410.3)"
    assert row.settled == "387.5"
    assert row.rate == "76"
    assert row.manner == "ductile: gave way before it broke"
    assert row.doubts == ()
    assert not row.doubtful


@pytest.mark.parametrize("flag", sorted(SHORT))
def test_every_flag_has_a_sentence(flag: str, make_summary: Callable[..., Summary]) -> None:
    (sentence,) = doubts(make_summary(flags=(flag,)), "kN")

    assert sentence[0].isupper()
    assert sentence.endswith(".")
    assert "Flag:" not in sentence
    assert is_doubtful(make_summary(flags=(flag,))) == (flag in SERIOUS)


def test_the_flags_of_the_design_are_known() -> None:
    """The names that every summary may carry."""
    named = {"clipped", "shock", "glitch", "gap", "zero_shift", "no_break", "ended_early", "extrapolated"}

    assert named <= set(SHORT)


def test_serious_doubts_come_first_and_unknown_ones_are_named(make_summary: Callable[..., Summary]) -> None:
    summary = make_summary(flags=("no_break", "new_thing", "clipped", "clipped"))

    assert short_doubts(summary) == ("off scale", "did not break", "new thing")
    assert doubts(summary, "N")[2] == "Flag: new thing."


def test_bounds_are_doubtful(make_summary: Callable[..., Summary]) -> None:
    assert is_doubtful(make_summary(peak={"bound": "lower", "high_n": None}))
    assert is_doubtful(make_summary(strength={"at_least": True, "high_n": None}))


def test_what_holds_for_all_rows_is_said_once(make_summary: Callable[..., Summary]) -> None:
    summaries = [make_summary(flags=("extrapolated",)), make_summary(flags=("clipped", "extrapolated"))]

    table = make_table(summaries, specimens=["B1", "B2"], groups=["bonded", "bonded"])

    assert [len(row.doubts) for row in table.rows] == [0, 1]
    assert table.rows[1].doubts[0].startswith("The load went off")
    assert len(table.shared) == 1
    assert len(make_table(summaries[:1]).rows[0].doubts) == 1


def test_how_far_pulls_are_extrapolated_is_said_once(make_summary: Callable[..., Summary]) -> None:
    """Twelve lines of a day said it, one for each pull. Alone it stands with its pull; the cure is said once, too."""
    near, far = (make_summary(flags=("extrapolated",), extrapolation=times) for times in (2.0, 7.4))

    table = make_table([near, far])

    within = make_summary()
    some = make_table([near, within, far])

    assert [row.doubts for row in (*table.rows, *some.rows)] == [()] * 5
    assert [line.partition(": beyond")[0] for line in table.shared] == ["All: Extrapolated x 2.0 to x 7.4"]
    assert [line.partition(": beyond")[0] for line in some.shared] == ["2 of 3: Extrapolated x 2.0 to x 7.4"]
    assert make_table([near, within]).rows[0].doubts[0].startswith("Extrapolated x 2.0: beyond")
    assert any("better than 0.57 % a second, certified cell" in line for line in table.advice)
    assert not any("second, certified cell" in line for line in make_table([near]).advice)


def test_the_two_largest_doubts_that_one_can_act_on_are_named(make_summary: Callable[..., Summary]) -> None:
    """Known masses and the angle, with their shares; what is small, or nobody's to change, is not."""
    budget = tuple(
        BudgetLine(source, size)
        for source, size in (("known masses", 8.0), ("misalignment", 3.0), ("bending", 4.0), ("gravity", 1.0))
    )
    (sentence,) = narrowing([make_summary(budget=budget)])

    assert "weigh each mass on a good scale" in sentence
    assert sentence.index("71 %") < sentence.index("sight along the line") < sentence.index("28 %")
    assert "latitude" not in sentence
    assert narrowing([]) == narrowing([make_summary(budget=())]) == ()


def test_a_serious_doubt_of_all_rows_stays_in_each(make_summary: Callable[..., Summary]) -> None:
    table = make_table([make_summary(flags=("clipped",))] * 2)

    assert table.shared == ()
    assert all(row.doubts for row in table.rows)


def test_headings_name_unit_and_coverage(make_summary: Callable[..., Summary]) -> None:
    table = make_table([make_summary(peak={"coverage": 0.99})], unit="LBF")

    assert "Peak [lbf] (99 %)" in table.headings
    assert len(table.cells(table.rows[0])) == len(table.headings)
    assert table.cells(table.rows[0])[0] == "run 7"
    assert make_table([]).rows == ()


def test_an_unsure_manner_says_so(make_summary: Callable[..., Summary]) -> None:
    unsure = make_summary(failure={"manner": "brittle", "sure": False})

    assert manner_text(unsure) == "probably brittle: all at once"
    assert manner_text(make_summary(failure={"manner": "none", "sure": False})) == "did not break"
