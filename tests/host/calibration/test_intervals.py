"""Budgets of a calibration: correlation, extrapolation, and agreement with drawing."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.calibration import (
    Air,
    Calibration,
    Plate,
    Point,
    Term,
    calibrate,
    combine,
    copy_for_device,
    coverage_factor,
    gravity_at,
    interval_band,
    monte_carlo,
    parse_load,
    parse_loads,
    reference_load,
    standard_gravity,
    stated_gravity,
    transfer_points,
)
from breakyard.calibration.loops import loops
from breakyard.calibration.model import group_of
from breakyard.calibration.plateaus import CalibrationPlateau
from breakyard.errors import CalibrationError, UsageError
from breakyard.simulate.cell import Cell
from breakyard.simulate.converter import counts_per_mv_v

KGF = 9.80665
CAPACITY = 2000 * KGF
PLATE = Plate(CAPACITY, 2.0, nonlinearity=0.0003, hysteresis=0.0002)
SLOPE = 2.0 * counts_per_mv_v(128) / CAPACITY  # counts per newton
HERE = stated_gravity(9.81, 0.0)
STILL_AIR = Air(1.2, 0.0, "stated")
MASSES = "0, 20 kg +- 0.02 kg, 40 kg +- 0.04 kg, 60 kg +- 0.06 kg, 40 kg +- 0.04 kg, 20 kg +- 0.02 kg, 0"
WOBBLE = (5.0, -8.0, 3.0, 6.0, -7.0, 2.0, -4.0)


def points(
    text: str = MASSES, wobble: tuple[float, ...] = WOBBLE, standard: float | None = 3.0
) -> list[Point]:
    return [
        Point(load, 1000.0 + SLOPE * load.force(HERE, STILL_AIR).newtons + off, standard)
        for load, off in zip(parse_loads(text), wobble, strict=True)
    ]


def make(text: str = MASSES, **more: object) -> Calibration:
    return calibrate(points(text), **{"plate": PLATE, "gravity": HERE, "air": STILL_AIR, **more})  # type: ignore[arg-type]


def size_of(made: Calibration, source: str, load_n: float) -> float:
    return next((term.standard_n for term in made.budget(load_n) if term.source == source), 0.0)


def test_welch_satterthwaite_published() -> None:
    """JCGM 100:2008 H.1 (end gauge; from memory): terms 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50, 2 degrees
    combine to 32 nm with 16 effective degrees, t99 = 2.92."""
    terms = [Term("a", 25.0, 18.0), Term("b", 9.7, 25.6), Term("c", 2.9, 50.0), Term("d", 16.6, 2.0)]
    both = combine(terms)

    assert both.standard_n == pytest.approx(32.0, abs=0.5)
    assert both.degrees_of_freedom == pytest.approx(16.0, abs=1.0)
    assert coverage_factor(16.0, 0.99) == pytest.approx(2.92, abs=0.005)


@pytest.mark.parametrize(
    ("degrees", "factor"), [(1, 12.706), (2, 4.303), (5, 2.571), (10, 2.228), (30, 2.042), (math.inf, 1.960)]
)
def test_coverage_factors(degrees: float, factor: float) -> None:
    """Student's t at 95 %, as in every printed table."""
    assert coverage_factor(degrees) == pytest.approx(factor, abs=5e-4)


@pytest.mark.parametrize("coverage", [0.0, 1.0, 95.0, -1.0])
def test_impossible_coverage_is_refused(coverage: float) -> None:
    """95 is not 0.95."""
    with pytest.raises(UsageError, match=r"0\.95"):
        coverage_factor(5.0, coverage)


def test_nothing_combines_to_nothing() -> None:
    """No terms: zero newtons, known for sure."""
    assert combine([]).half_width_n() == 0.0


def test_gravity_err_scales_with_the_load_anywhere() -> None:
    """A gravity off by one part in a thousand shifts every load by one part in a thousand."""
    made = make(gravity=stated_gravity(9.81, 0.00981))
    for load in (60.0 * KGF, 1200.0 * KGF):
        assert size_of(made, "gravity", load) == pytest.approx(0.001 * load, rel=2e-3)


def test_one_piece_used_everywhere_scales_the_slope() -> None:
    """All points from one mass doubt: the load's doubt is the mass's, in proportion."""
    loads = [parse_load(text) for text in ("0", "20 kg +- 0.1 kg", "20 kg +- 0.1 kg", "0")]
    listed = [
        Point(load, SLOPE * load.force(HERE, STILL_AIR).newtons + off, None)
        for load, off in zip(loads, (0.0, 1.0, -1.0, 0.0), strict=True)
    ]
    made = calibrate(listed, plate=PLATE, gravity=HERE, air=STILL_AIR)

    assert size_of(made, "known masses", 12000.0) == pytest.approx(
        12000.0 * 0.1 / math.sqrt(3) / 20, rel=1e-3
    )


def test_separate_pieces_average() -> None:
    """Independent masses of equal relative doubt leave less doubt than one mass used for all."""
    apart = make()
    common = make(MASSES.replace(" +- 0.02 kg", "").replace(" +- 0.04 kg", "").replace(" +- 0.06 kg", ""))
    assumed = 0.03 / math.sqrt(3)

    assert size_of(common, "known masses", 12000.0) == pytest.approx(12000.0 * assumed, rel=1e-3)
    assert 0.5 < size_of(apart, "known masses", 12000.0) / (12000.0 * 0.001 / math.sqrt(3)) < 1.0


def test_masses_are_one_line_of_the_budget() -> None:
    """However many pieces there are; other sources keep their names."""
    assert group_of("mass 20 kg no. 1") == group_of("water 20 L no. 1") == "known masses"
    assert group_of("gravity") == "gravity"
    assert group_of("reference cell yard: 500 N") == "reference cell yard"


def test_doubt_grows_beyond_the_known() -> None:
    """The half-width grows with the load, faster than it up to mid range, and its reason is named."""
    made = make()
    band = interval_band(made, up_to_n=CAPACITY)
    relative = np.interp([100 * KGF, 500 * KGF, 1000 * KGF], band.load_n, band.half_width_n) / [
        1.0,
        5.0,
        10.0,
    ]

    assert (np.diff(band.half_width_n) > 0.0).all()
    assert (np.diff(relative) > 0.0).all()
    assert size_of(made, "extrapolation", 1200 * KGF) > size_of(made, "calibration fit", 1200 * KGF)
    assert size_of(made, "extrapolation", 30 * KGF) == 0.0
    assert size_of(made, "non-linearity", 30 * KGF) > 0.0
    assert band.calibrated_n == made.highest_known_n


@pytest.mark.parametrize("shape", [(1.0, 0.0), (-0.7, 0.0), (0.5, 0.5), (0.0, 0.4)])
def test_extrapolation_contains_bent_cells(shape: tuple[float, float]) -> None:
    """A cell bent within its rating, calibrated exactly with 60 kg: its error at any load is inside.

    The bound itself as a pure S-curve (slope at zero 10 times the rating) is beyond 95 %.
    """
    cell = Cell(CAPACITY, 2.0, nonlinearity=0.0003, quadratic=0.0003 * shape[0], cubic=0.0003 * shape[1])
    per = counts_per_mv_v(128)
    exact = [
        Point(load, per * float(cell.static_mv_v(load.force(HERE, STILL_AIR).newtons)), 1.0)
        for load in parse_loads(
            "0, 20 kg +- 0 kg, 40 kg +- 0 kg, 60 kg +- 0 kg, 40 kg +- 0 kg, 20 kg +- 0 kg, 0"
        )
    ]
    made = calibrate(exact, plate=PLATE, gravity=HERE, air=STILL_AIR)
    zero = per * float(cell.static_mv_v(0.0))
    for kgf in (60, 300, 600, 1200, 2000):
        shown = made.interval(per * float(cell.static_mv_v(kgf * KGF)), zero)
        assert shown.low_n <= kgf * KGF <= shown.high_n


def test_the_known_bend_is_taken_off() -> None:
    """Points over the whole range leave next to nothing of the non-linearity, a quadratic less than a line."""
    text = "0; " + "; ".join(f"{kg} kg +- 0 kg" for kg in range(200, 2001, 200))
    wide = points(text, (0.0, *[1.0, -1.0] * 5))
    line, curve = (calibrate(wide, plate=PLATE, gravity=HERE, air=STILL_AIR, degree=d) for d in (1, 2))
    narrow = make()

    asked = 1200 * KGF
    assert size_of(line, "non-linearity", asked) < 0.2 * size_of(narrow, "extrapolation", asked)
    assert size_of(curve, "non-linearity", asked) < size_of(line, "non-linearity", asked)


@pytest.mark.parametrize(
    ("degree", "kgf"), [(1, 30.0), (1, 60.0), (1, 1200.0), (2, 30.0), (2, 60.0), (2, 88.0)]
)
def test_drawing_agrees_with_the_budget(degree: int, kgf: float) -> None:
    """JCGM 101: standard deviation and interval of 20 000 draws within 6 % of the linear budget (the
    uncertainty of the scatter itself, 4 or 5 degrees of freedom, widens the drawn one), centre within 5 %
    of the half-width."""
    made = make(degree=degree, gravity=gravity_at(54.0))
    zero = made.zero_counts
    counts = made.counts_at(kgf * KGF, zero)
    linear, drawn = made.interval(counts, zero), monte_carlo(made, counts, zero)
    half = (linear.high_n - linear.low_n) / 2.0

    assert (drawn.high_n - drawn.low_n) / 2.0 == pytest.approx(half, rel=0.06)
    assert drawn.load_n == pytest.approx(linear.load_n, abs=0.05 * half)
    assert monte_carlo(made, counts, zero) == drawn


def test_silence_about_the_capacity_makes_no_parabola() -> None:
    """Plates truly 20.3, 19.8 and 20.1 kg, a straight cell, no plate stated: a line, whose 500 kgf are within 1 % of
    the truth (a parabola through the three showed 531.7)."""
    true = np.array([0.0, 20.3, 40.1, 60.2, 40.1, 20.3, 0.0])
    listed = [
        Point(load, 1000.0 + SLOPE * 9.81 * mass, 3.0)
        for load, mass in zip(parse_loads("0, 20 kg, 40 kg, 60 kg, 40 kg, 20 kg, 0"), true, strict=True)
    ]
    made = calibrate(listed, gravity=HERE, air=STILL_AIR)
    shown = made.interval(1000.0 + SLOPE * 500.0 * KGF, 1000.0)

    assert made.degree == 1
    assert shown.load_n == pytest.approx(500.0 * KGF, rel=0.01)
    assert shown.low_n < 500.0 * KGF < shown.high_n


def test_a_parabola_is_not_read_far_beyond_its_last_load() -> None:
    """1.5 times its highest known load is read, 1.6 times refused, with what to do instead; a line is read anywhere."""
    curve = make(degree=2)
    last = curve.highest_known_n

    assert curve.budget(1.49 * last)
    with pytest.raises(CalibrationError, match=r"curve of degree 2.*--degree 1"):
        curve.budget(1.6 * last)
    assert [b["load_n"] for b in curve.to_json()["derived"]["budgets"]] == [last]
    assert np.isnan(interval_band(curve, up_to_n=2.0 * last).half_width_n[-1])
    assert make().budget(30.0 * last)


FORCES = [kgf * KGF for kgf in (0, 200, 400, 600, 800, 1000, 800, 600, 400, 200, 0)]


def against_a_certificate(cell: Cell, **more: object) -> Calibration:
    """Eleven forces up to half the capacity, up and down, from a certified cell of 0.05 %, read to 2 counts."""
    per = counts_per_mv_v(128)
    counts = per * cell.output_mv_v(np.arange(11.0), np.array(FORCES))
    listed = [
        Point(reference_load(force, 0.0, shared=0.0005), float(count), 2.0)
        for force, count in zip(FORCES, counts, strict=True)
    ]
    return calibrate(listed, **{"plate": PLATE, "gravity": HERE, "air": STILL_AIR, **more})  # type: ignore[arg-type]


BENT = Cell(CAPACITY, 2.0, nonlinearity=0.0003, quadratic=0.00018, cubic=-0.00009, hysteresis=0.0002)


def test_points_tell_how_bent_the_cell_is() -> None:
    """Eleven points to half the capacity find 0.6 bow and -0.3 S-curve of the rated limit; 60 kg tell nothing."""
    made = against_a_certificate(BENT, degree=1)
    seen, unseen = (m.bends(CAPACITY, 0.0003 * CAPACITY) for m in (made, make()))

    assert float(seen.weights @ seen.bow) == pytest.approx(0.6, abs=0.1)
    assert float(seen.weights @ seen.s_curve) == pytest.approx(-0.3, abs=0.05)
    assert float(unseen.weights @ unseen.bow**2) == pytest.approx(1.0 / 6.0, rel=0.1)
    assert size_of(made, "non-linearity", 700 * KGF) < 0.35 * 0.0003 * CAPACITY


def test_a_line_through_a_bent_cell_has_a_lopsided_interval() -> None:
    """The points show on which side the truth lies; with the degree left to them, it is less so."""
    line, free = against_a_certificate(BENT, degree=1), against_a_certificate(BENT)
    per, asked = counts_per_mv_v(128), 200 * KGF
    zero, counts = (per * float(BENT.static_mv_v(load)) for load in (0.0, asked))
    one, two = line.interval(counts, zero), free.interval(counts, zero)

    assert one.low_n <= asked <= one.high_n
    assert two.low_n <= asked <= two.high_n
    lopsided, less = ((i.high_n + i.low_n - 2.0 * i.load_n) / (i.high_n - i.low_n) for i in (one, two))
    assert abs(lopsided) > 0.3
    assert abs(less) < abs(lopsided)
    assert abs(two.load_n - asked) < abs(one.load_n - asked)


def test_beyond_the_points_the_cell_may_bend_anew() -> None:
    """Up to the highest known load its points bind; beyond, a bend may begin that they cannot show."""
    made = against_a_certificate(BENT, degree=1)
    within, beyond, far = (
        size_of(made, "non-linearity", 990 * KGF),
        *(size_of(made, "extrapolation", kgf * KGF) for kgf in (1200, 1900)),
    )

    assert within < beyond < far
    assert far > 0.3 * 0.0003 * CAPACITY / math.sqrt(3.0)


@pytest.mark.parametrize("times", [2.0, 10.0])
@pytest.mark.parametrize("kgf", [200.0, 500.0, 950.0])
def test_more_bend_than_rated_is_still_read(times: float, kgf: float) -> None:
    """A cell 2 or 10 times as bent as its plate says: within the points the truth is in the interval."""
    worse = replace(BENT, nonlinearity=0.0003 * times, quadratic=0.0003 * times, cubic=0.0)
    made = against_a_certificate(worse)
    per = counts_per_mv_v(128)
    zero, counts = (per * float(worse.static_mv_v(load)) for load in (0.0, kgf * KGF))
    shown = made.interval(counts, zero)

    assert shown.low_n <= kgf * KGF <= shown.high_n


def test_a_rising_pull_shares_the_rising_branch() -> None:
    """Hysteresis of 0.02 % in the falling points moves a rising load by less than a twentieth of it, and what is left
    is in the budget; without a rating they pull the line with them."""
    straight = replace(BENT, quadratic=0.0, cubic=0.0)
    rated = against_a_certificate(straight)
    unrated = against_a_certificate(straight, plate=replace(PLATE, hysteresis=None))
    per, asked = counts_per_mv_v(128), 800 * KGF
    zero, counts = (per * float(straight.static_mv_v(load)) for load in (0.0, asked))
    off, off_unrated = (abs(float(m.load_n(counts, zero)) - asked) for m in (rated, unrated))

    assert off < 0.05 * 0.0002 * 1000 * KGF
    assert off < off_unrated
    assert size_of(rated, "hysteresis", asked) > 0.0
    assert (
        size_of(
            against_a_certificate(straight, plate=Plate(CAPACITY, 2.0, nonlinearity=0.0003)),
            "hysteresis",
            asked,
        )
        == 0.0
    )


def test_an_empty_cell_begins_a_new_loop() -> None:
    """Of two rises only what follows a higher load is off the rising branch; the empty cell has the zero return."""
    plate = replace(PLATE, zero_return=0.0004)
    found = loops(np.array([0.0, 200.0, 400.0, 200.0, 0.0, 200.0, 400.0]), plate)

    assert found["hysteresis"] * math.sqrt(3.0) == pytest.approx([0, 0, 0, 0.0002 * 400, 0, 0, 0])
    assert found["zero return"] * math.sqrt(3.0) == pytest.approx([0, 0, 0, 0, 0.0004 * 400, 0, 0])


def test_limits_of_masses_are_rectangles() -> None:
    """One mass doubt of +- 3 % that dominates: 95 % within 0.95 of it, not 1.13 (JCGM 100, 4.3.7)."""
    assumed = make(
        "; ".join(["0", "20 kg", "40 kg", "60 kg", "40 kg", "20 kg", "0"]),
        plate=replace(PLATE, nonlinearity=0.0),
    )
    shown = assumed.interval(assumed.counts_at(600.0, assumed.zero_counts), assumed.zero_counts)

    assert (shown.high_n - shown.low_n) / 2.0 == pytest.approx(0.95 * 0.03 * 600.0, rel=0.02)


def test_calibrations_from_before_keep_their_hash() -> None:
    """What is new in the document is left out where it says nothing."""
    document = against_a_certificate(BENT).to_json()
    warm = against_a_certificate(BENT, temperature_c=21.0)

    assert "temperature_c" not in document
    assert Calibration.from_json(warm.to_json()).temperature_c == 21.0
    assert Calibration.from_json(json.dumps(make().to_json())) == make()
    assert "limited" not in json.dumps(document)
    assert '"each"' not in json.dumps(document)
    assert "told_apart" not in document


def test_more_terms_widen_the_interval() -> None:
    """Noise and the pull's own zero join the budget."""
    made = make()
    bare = made.interval(100_000.0, 1000.0)
    more = made.interval(100_000.0, 1000.0, also=[Term("noise", 3.0)])

    assert more.standard_n == pytest.approx(math.hypot(bare.standard_n, 3.0))
    assert more.load_n == bare.load_n
    assert more.terms[-1].source == "noise"


def test_a_known_line_is_recovered_in_95_percent_of_draws() -> None:
    """Masses, readings and gravity drawn within what was stated: covered at least 94 % at every load."""
    rng = np.random.default_rng(3)
    number, hits = 600, {60.0: 0, 1200.0: 0}
    stated = parse_loads(MASSES)
    for _ in range(number):
        off = {name: rng.standard_normal() for load in stated for name in load.force(HERE, STILL_AIR).sources}
        drawn = []
        for load in stated:
            force = load.force(HERE, STILL_AIR)
            true = force.newtons + sum(size * off[name] for name, size in force.sources.items())
            drawn.append(Point(load, 1000.0 + SLOPE * true + rng.normal(0.0, 8.0), 3.0))
        made = calibrate(drawn, plate=Plate(CAPACITY, 2.0, nonlinearity=0.0), gravity=HERE, air=STILL_AIR)
        for kgf in hits:
            shown = made.interval(1000.0 + SLOPE * kgf * KGF, 1000.0)
            hits[kgf] += shown.low_n <= kgf * KGF <= shown.high_n

    assert all(hit >= 0.94 * number for hit in hits.values()), hits


@given(st.permutations(range(7)), st.floats(-5e6, 5e6))
def test_order_and_zero_do_not_matter(order: list[int], moved: float) -> None:
    """Points in another order, or a cell with another zero: the same load and the same doubt, where no hysteresis
    is rated (which makes falling points weigh less)."""
    plate = replace(PLATE, hysteresis=None)
    plain, listed = make(plate=plate), points()
    other = calibrate(
        [Point(listed[i].load, listed[i].counts + moved, 3.0) for i in order],
        plate=plate,
        gravity=HERE,
        air=STILL_AIR,
    )
    one, two = plain.interval(500_000.0, 1000.0), other.interval(500_000.0 + moved, 1000.0 + moved)

    assert two.load_n == pytest.approx(one.load_n, rel=1e-9)
    assert two.standard_n == pytest.approx(one.standard_n, rel=1e-5)


def test_without_a_plate_a_default_is_stated() -> None:
    """0.1 % of the load asked for as non-linearity, flagged and said."""
    made = make(plate=None)

    assert "no_plate" in made.flags
    assert any("0.1 %" in sentence for sentence in made.sentences)
    assert size_of(made, "extrapolation", 1200 * KGF) > 0.003 * 1200 * KGF


def test_a_sheet_that_nothing_confirms_is_not_believed_to_be_better_than_none() -> None:
    """0.03 % without the plate's rated output counts as 0.1 % of the capacity, flagged and said; 0.2 % as 0.2 %."""
    confirmed, alone = make(), make(plate=replace(PLATE, rated_output_mv_v=None))
    worse = make(plate=replace(PLATE, rated_output_mv_v=None, nonlinearity=0.002))
    asked = 1200 * KGF

    assert size_of(alone, "extrapolation", asked) == pytest.approx(
        size_of(confirmed, "extrapolation", asked) / 0.3, rel=0.05
    )
    assert size_of(worse, "extrapolation", asked) > 1.8 * size_of(alone, "extrapolation", asked)
    assert "plate_unconfirmed" in alone.flags
    assert any("--rated-output" in said for said in alone.sentences)
    assert "plate_unconfirmed" not in confirmed.flags + worse.flags


def test_flags_say_what_was_assumed() -> None:
    """Standard gravity, unstated masses and levers are flagged and said."""
    assumed = [
        Point(load, SLOPE * load.force(HERE, STILL_AIR).newtons, 1.0)
        for load in map(parse_load, ("0", "10 kg via 3:1", "20 kg via 3:1"))
    ]
    made = calibrate(assumed, plate=PLATE)

    assert {"standard_gravity", "mass_uncertainty_assumed", "ratio_uncertainty_assumed"} <= set(made.flags)
    assert made.gravity == standard_gravity()
    assert "not an accredited" in made.sentences[0]


def test_two_points_assume_a_scatter() -> None:
    """With nothing to see the scatter by, 0.1 % of the load is assumed instead of none."""
    two = [
        Point(load, SLOPE * load.force(HERE, STILL_AIR).newtons) for load in parse_loads("0, 60 kg +- 0 kg")
    ]
    made = calibrate(two, plate=PLATE, gravity=HERE, air=STILL_AIR)

    assert size_of(made, "calibration fit", 60 * 9.81) == pytest.approx(
        math.sqrt(2) * 0.001 * 60 * 9.81, rel=0.01
    )


def test_a_suspect_is_named_and_left_in() -> None:
    """The sentence names the point and its load; the number of points stays."""
    made = calibrate(points(wobble=(5.0, -8.0, 800.0, 6.0, -7.0, 2.0, -4.0)), plate=PLATE, gravity=HERE)

    assert "bad_point" in made.flags
    assert made.suspects[0].points == (2,)
    assert any('Point 3, "40 kg +- 0.04 kg"' in sentence for sentence in made.sentences)
    assert len(made.points) == 7
    assert Calibration.from_json(json.dumps(made.to_json())) == made


def test_every_budget_is_in_the_document() -> None:
    """The JSON repeats slope, budgets at the highest mass and at capacity, and the quality."""
    derived = json.loads(json.dumps(make().to_json()))["derived"]

    assert [round(budget["load_n"]) for budget in derived["budgets"]] == [589, 19613]
    assert derived["slope_n_per_count"] == pytest.approx(1.0 / SLOPE, rel=1e-3)
    assert derived["quality"]["iso_376"] in ("00", "0.5", "1", "2", None)
    assert "no accredited calibration" in " ".join(derived["quality"]["sentences"])


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_counts_at_is_the_inverse(degree: int) -> None:
    """counts_at(load_n(counts)) gives the counts back, zero or not."""
    made = make(degree=degree)
    for counts in (1000.0, 50_000.0, 130_000.0):
        assert made.counts_at(float(made.load_n(counts, 1000.0)), 1000.0) == pytest.approx(counts, abs=1e-3)
    assert float(made.slope_n_per_count(60_000.0)) == pytest.approx(
        float(made.load_n(60_001.0, 59_999.0)) / 2.0, rel=1e-6
    )


@pytest.mark.parametrize("degree", [1, 2])
def test_the_device_copy_shows_the_same_load(degree: int) -> None:
    """Single precision and whole counts cost less than a part in a million of the range."""
    made = make(degree=degree)
    copy = copy_for_device(made)

    def shown(counts: float) -> float:
        z = np.float32((counts - copy.centre) / copy.scale)
        return float(sum(np.float32(c) * z**k for k, c in enumerate(copy.coefficients_n)))

    for counts in (1000.0, 60_000.0, 130_000.0):
        assert shown(counts) - shown(1000.0) == pytest.approx(float(made.load_n(counts, 1000.0)), abs=6e-4)
    assert copy.content_hash == made.content_hash


def plateau(counts: float, standard: float = 2.0) -> CalibrationPlateau:
    return CalibrationPlateau(0.0, 10.0, counts, standard, 800, 3.0, 0.0, 39.0)


def test_a_transfer_carries_the_references_doubt() -> None:
    """Against a certified cell up to 1000 kgf: loads agree, its certificate stays as one common source."""
    forces = [kgf * KGF for kgf in (0.0, 250.0, 500.0, 750.0, 1000.0)]
    certificate = [
        Point(reference_load(f, 0.5, shared=0.0005, name="certificate"), SLOPE * f, 2.0) for f in forces
    ]
    reference = calibrate(certificate, plate=PLATE, name="proven")
    seen = [plateau(SLOPE * f + 77.0) for f in forces]
    own = [plateau(-300.0 + 0.7 * SLOPE * f) for f in forces]
    made = calibrate(transfer_points(reference, seen, own), plate=PLATE)

    shown = made.interval(-300.0 + 0.7 * SLOPE * 800 * KGF, -300.0)
    assert shown.load_n == pytest.approx(800 * KGF, rel=1e-6)
    carried = size_of(made, "reference cell proven", 800 * KGF)
    assert carried > 0.0005 * 800 * KGF
    assert carried == pytest.approx(combine(reference.budget(800 * KGF)).standard_n, rel=0.25)
    assert made.highest_known_n == pytest.approx(1000 * KGF, rel=1e-6)


def test_a_transfer_of_unequal_recordings_is_refused() -> None:
    """Both numbers of plateaus are told."""
    made = make()

    with pytest.raises(CalibrationError, match="3 plateaus, the other cell 2"):
        transfer_points(made, [plateau(0.0)] * 3, [plateau(0.0)] * 2)
    with pytest.raises(CalibrationError, match="at least one load"):
        transfer_points(made, [plateau(0.0)], [plateau(0.0)])


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: gravity_at(91.0), "latitude"),
        (lambda: gravity_at(45.0, 30_000.0), "feet"),
        (lambda: stated_gravity(32.17), "nowhere on Earth"),
        (lambda: monte_carlo(make(), 5.0, 0.0, draws=10), "1000 or more"),
        (lambda: Plate(0.0), "capacity"),
        (lambda: Plate(1000.0, 350.0), "mV/V"),
        (lambda: Plate(1000.0, 2.0, nonlinearity=0.3), "0.0003"),
        (lambda: make(degree=4), "degree 4"),
        (lambda: make(degree=0), "degree 0"),
        (lambda: Point(parse_load("0"), math.nan), "must be a number"),
    ],
)
def test_impossible_facts_are_refused_in_one_line(call: object, said: str) -> None:
    """What cannot be is told, with what was expected."""
    with pytest.raises((CalibrationError, UsageError), match=said) as caught:
        call()  # type: ignore[operator]

    assert "\n" not in str(caught.value)
