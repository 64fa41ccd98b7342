"""The rig check: is the specimen the weakest, does everything hold, where may people be."""

import json
import math
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from breakyard.errors import UsageError
from breakyard.plan.anchors import Anchor, check_anchor, holding_n
from breakyard.plan.elements import ENDS, KINDS, Element, check_element, leg_strength, turned_load
from breakyard.plan.energy import (
    MATERIALS,
    LineStretch,
    as_fall,
    stored_energy,
)
from breakyard.plan.rig import CAUTIONS, Rig, RigCheck, check_rig
from breakyard.plan.rules import LOADINGS
from breakyard.plan.standoff import stand_off
from breakyard.units import FORCE_UNITS

G = 9.80665
forces = st.floats(10.0, 1e6)

SHACKLE = Element("bow shackle", "shackle", wll_n=20_000.0)
CELL = Element("S cell", "cell", wll_n=10_000.0)
ROPE = Element("pull line", "rope", breaking_n=90_000.0, ends="splice")
BLOCK = Anchor("block", "block", 5000.0, (0.4, 0.6))
LINE = LineStretch(6.0, "hmpe", breaking_n=90_000.0)
GOOD = Rig(3000.0, 5000.0, (SHACKLE, CELL, ROPE), (LINE,), (BLOCK,), dynamic=(1.0, 1.2))


def codes(check: RigCheck, level: str | None = None) -> list[str]:
    return [finding.code for finding in check.findings if level is None or finding.level == level]


def text_of(check: RigCheck, code: str) -> str:
    return next(finding.text for finding in check.findings if finding.code == code)


def test_a_sound_rig_passes_and_still_carries_every_caution() -> None:
    """Nothing speaks against it; local codes, line of fire, cover, slack, protection and people are always there."""
    check = check_rig(GOOD, unit="kN")

    assert check.ok
    assert check.specimen_is_weakest
    assert check.to_json()["cautions"] == list(CAUTIONS)
    everything = " ".join(CAUTIONS).lower()
    for words in (
        "local codes",
        "qualified people",
        "line of fire",
        "cover or damp",
        "slack first",
        "eye protection",
    ):
        assert words in everything
    assert "may lift or hold people" in everything
    assert {"snap_back", "fragments"} <= set(codes(check, "caution"))


def test_the_peak_is_the_upper_expected_load_times_the_upper_dynamic_factor() -> None:
    """5000 N x 1.2."""
    assert check_rig(GOOD).rig.peak_n == pytest.approx(6000.0)
    assert replace(GOOD, dynamic=None, loading=LOADINGS["jerk"]).peak_n == pytest.approx(15_000.0)


def test_the_weakest_part_is_found() -> None:
    """By its breaking strength as rigged, not by its rating: the cell's ultimate is 30 kN, the rope's 63 kN."""
    check = check_rig(GOOD)

    assert check.weakest is not None
    assert check.weakest.element is CELL
    assert check.weakest.margin == pytest.approx(30_000.0 / 6000.0)


def test_a_part_too_near_the_specimen_fails_the_check() -> None:
    """A ring that may part at 11.9 kN under 6 kN is not twice as strong; at 12 kN it is."""
    near, enough = (Element("ring", "ring", breaking_n=n, design_factor=1.0) for n in (11_900.0, 12_001.0))

    check = check_rig(replace(GOOD, elements=(SHACKLE, near)))
    assert not check.ok
    assert check.specimen_is_weakest is False
    assert "not_weakest" in codes(check, "no")
    assert '"ring"' in text_of(check, "not_weakest")
    assert "rule of thumb" in text_of(check, "not_weakest")
    assert check_rig(replace(GOOD, elements=(SHACKLE, enough))).ok


def test_a_part_without_rating_cannot_be_shown_to_hold() -> None:
    """No rating: the check says so and fails, and claims nothing about the specimen."""
    check = check_rig(replace(GOOD, elements=(SHACKLE, Element("old hook", "hook"))))

    assert not check.ok
    assert check.specimen_is_weakest is None
    assert '"old hook"' in text_of(check, "unrated")
    assert check.elements[1].margin is None


def test_no_parts_at_all_show_nothing() -> None:
    """An empty description is no proof."""
    check = check_rig(replace(GOOD, elements=()))

    assert not check.ok
    assert check.specimen_is_weakest is None


def test_above_the_working_load_limit() -> None:
    """A shackle of 5 kN under 6 kN has its breaking strength far away and still fails."""
    check = check_rig(replace(GOOD, elements=(Element("small", "shackle", wll_n=5000.0),)))

    assert check.specimen_is_weakest
    assert codes(check, "no") == ["above_wll"]


def test_a_cell_may_pass_its_capacity_but_not_its_safe_overload() -> None:
    """5 kN cell under 6 kN: a caution; 3.9 kN cell (safe overload 5.85 kN): a no."""
    over, damaged = (
        check_rig(replace(GOOD, elements=(Element("c", "cell", wll_n=n),))) for n in (5000.0, 3900.0)
    )

    assert "cell_above_capacity" in codes(over, "caution")
    assert "cell_overload" not in codes(over)
    assert "cell_overload" in codes(damaged, "no")


def test_an_anchor_that_may_slide_fails_the_check() -> None:
    """Its lower friction decides; whether it surely slides is said by the upper one."""
    may, will = replace(BLOCK, mass_kg=1400.0), replace(BLOCK, mass_kg=500.0)

    assert [check_rig(replace(GOOD, anchors=(one,))).anchors[0].verdict for one in (BLOCK, may, will)] == [
        "holds",
        "may slide",
        "slides",
    ]
    assert codes(check_rig(replace(GOOD, anchors=(may,))), "no") == ["anchor_slides"]


def test_a_block_attached_high_tips_before_it_slides() -> None:
    """Statics: 5000 kg on a base of 1 m, pulled at 5 m: tips at m g b / 2 h = 4903 N, below 6000 N."""
    check = check_rig(replace(GOOD, anchors=(replace(BLOCK, attach_height_m=5.0, base_m=1.0),)))

    assert check.anchors[0].tips_n == pytest.approx(5000.0 * G / 10.0)
    assert codes(check, "no") == ["anchor_tips"]


def test_holding_by_statics() -> None:
    """Level ground: mu m g. On a slope of atan(mu) towards the pull nothing is held; a line that falls presses down."""
    assert holding_n(1000.0, 0.5) == pytest.approx(0.5 * 1000.0 * G)
    assert holding_n(1000.0, 0.5, slope_deg=math.degrees(math.atan(0.5))) == pytest.approx(0.0, abs=1e-6)
    assert holding_n(1000.0, 0.5, braked_share=0.5) == pytest.approx(0.25 * 1000.0 * G)
    # Rise: forces along and across the ground must balance: P cos = mu (m g - P sin).
    pull = holding_n(1000.0, 0.5, rise_deg=20.0)
    assert pull * math.cos(math.radians(20.0)) == pytest.approx(
        0.5 * (1000.0 * G - pull * math.sin(math.radians(20.0)))
    )
    assert holding_n(1000.0, 0.8, rise_deg=-60.0) == math.inf


@given(st.floats(100.0, 1e5), st.floats(0.05, 1.0), st.floats(0.0, 20.0), st.floats(0.0, 30.0))
def test_more_mass_and_grip_hold_more_and_slope_and_lift_less(
    mass: float, friction: float, slope: float, rise: float
) -> None:
    """Monotone in each of them."""
    held = holding_n(mass, friction, slope_deg=slope, rise_deg=rise)

    assert holding_n(2.0 * mass, friction, slope_deg=slope, rise_deg=rise) >= held
    assert holding_n(mass, friction + 0.1, slope_deg=slope, rise_deg=rise) >= held
    assert holding_n(mass, friction, slope_deg=slope + 5.0, rise_deg=rise) <= held * (1.0 + 1e-9)
    assert holding_n(mass, 1.0, slope_deg=0.0, rise_deg=rise) <= holding_n(mass, 1.0) * math.sqrt(2.0)


@given(st.floats(0.0, 80.0), st.floats(0.0, 80.0))
def test_wider_legs_bear_less(one: float, other: float) -> None:
    """Monotone in the angle; more than two legs are never counted."""
    narrow, wide = sorted((one, other))

    assert leg_strength(2, wide) <= leg_strength(2, narrow) <= 2.0
    assert leg_strength(4, narrow) == leg_strength(2, narrow)


@given(st.floats(1.0, 180.0))
def test_a_block_carries_the_vector_sum_of_its_two_lines(turn: float) -> None:
    """Two unit pulls whose directions differ by the turn: the length of their difference vector."""
    x = 1.0 - math.cos(math.radians(turn))
    y = -math.sin(math.radians(turn))

    assert turned_load(turn) == pytest.approx(math.hypot(x, y))


@given(st.sampled_from([kind for kind in KINDS if KINDS[kind].factor]), forces, forces)
def test_a_part_never_looks_stronger_for_less_known(kind: str, rating: float, peak: float) -> None:
    """From a WLL the breaking strength is taken with the low factor, from a breaking strength the WLL with the high."""
    low, high = KINDS[kind].factor or (0.0, 0.0)
    from_wll = check_element(Element("one", kind, wll_n=rating, ends="sewn"), peak)
    from_breaking = check_element(Element("one", kind, breaking_n=rating, ends="sewn"), peak)

    assert from_wll.breaking_low_n == pytest.approx(rating * low)
    assert from_breaking.wll_n == pytest.approx(rating / high)
    assert from_wll.wll_use == pytest.approx(peak / rating)
    assert (from_wll.design_factor, from_breaking.design_factor) == (low, high)


@given(st.sampled_from(sorted(ENDS)), st.floats(0.0, 90.0), st.sampled_from(["straight", "choker"]), forces)
def test_nothing_done_to_a_part_makes_it_stronger(ends: str, side: float, hitch: str, peak: float) -> None:
    """Knots, side loads and hitches only take away."""
    plain = check_element(Element("one", "rope", breaking_n=1e5, ends="sewn"), peak)
    rigged = check_element(
        Element("one", "rope", breaking_n=1e5, ends=ends, side_load_deg=side, hitch=hitch),  # type: ignore[arg-type]
        peak,
    )

    assert rigged.margin is not None
    assert plain.margin is not None
    assert rigged.margin <= plain.margin
    assert 0.0 < rigged.efficiency[0] <= rigged.efficiency[1] <= 1.0


def test_a_rope_whose_ends_are_not_stated_is_taken_as_knotted() -> None:
    """50 to 90 %, and the finding says that it was assumed."""
    check = check_rig(replace(GOOD, elements=(Element("rope", "rope", breaking_n=90_000.0),)))

    assert check.elements[0].efficiency == (0.5, 0.9)
    assert "not stated" in text_of(check, "knot")


@given(forces, forces, st.sampled_from(sorted(MATERIALS)), st.floats(0.5, 200.0), st.floats(1.0, 50.0))
def test_energy_is_a_range_and_grows_with_load_and_length(
    load: float, more: float, material: str, length: float, strength: float
) -> None:
    """Low is below high; more load or more line stores no less; a stronger line of the same stuff no more."""
    energy = stored_energy([LineStretch(length, material, breaking_n=load * strength)], load)
    loaded = stored_energy([LineStretch(length, material, breaking_n=load * strength)], load + more)
    longer = stored_energy([LineStretch(2.0 * length, material, breaking_n=load * strength)], load)
    stronger = stored_energy([LineStretch(length, material, breaking_n=2.0 * load * strength)], load)
    assert energy is not None
    assert loaded is not None
    assert longer is not None
    assert stronger is not None

    assert 0.0 < energy.low_j <= energy.high_j
    assert loaded.high_j >= energy.high_j
    assert loaded.low_j >= energy.low_j
    assert longer.high_j == pytest.approx(2.0 * energy.high_j)
    assert stronger.high_j <= energy.high_j


@given(st.floats(1.0, 2.0), st.floats(0.05, 1.0))
def test_the_energy_range_holds_every_stiffening_in_between(power: float, used: float) -> None:
    """Stretch growing as load^(1/power), power 1 to 2: integrate the load over the stretch; it lies in the range."""
    length, strength = 10.0, 50_000.0
    load = used * strength
    stretch = 0.3 * length * used ** (1.0 / power)
    exact = load * stretch / (power + 1.0)  # the integral of load over stretch of this law
    energy = stored_energy([LineStretch(length, "nylon", breaking_n=strength)], load)
    assert energy is not None

    assert energy.low_j <= exact <= energy.high_j


def test_stiffness_gives_one_figure() -> None:
    """Mechanics: F squared / 2 k."""
    energy = stored_energy([LineStretch(6.0, stiffness_n_per_m=20_000.0)], 6000.0)
    assert energy is not None

    assert energy.low_j == energy.high_j == pytest.approx(6000.0**2 / 40_000.0)


def test_an_unknown_line_says_so() -> None:
    """From steel to nylon, with a caution; no line at all: no distances, with a caution."""
    unknown, none = check_rig(replace(GOOD, lines=(LineStretch(6.0),))), check_rig(replace(GOOD, lines=()))

    assert "stretch_unknown" in codes(unknown, "caution")
    assert unknown.energy is not None
    assert unknown.energy.high_j > 50.0 * unknown.energy.low_j
    assert none.distances is None
    assert "no_line" in codes(none, "caution")


@given(st.floats(0.1, 1000.0), st.floats(0.0, 1000.0))
def test_distances_grow_with_the_line_and_never_fall_below_the_floor(line: float, paid_out: float) -> None:
    """Bystanders stand no nearer than those who must be there; 10 m at least; paid-out cable counts."""
    distances = stand_off(line, paid_out)

    assert 10.0 <= distances.minimum_m <= distances.bystanders_m
    assert distances.minimum_m >= 1.5 * line
    assert distances.bystanders_m >= 2.0 * max(line, paid_out)
    assert stand_off(min(line * 2.0, 2000.0), paid_out).minimum_m >= distances.minimum_m


def test_a_run_up_fails_the_check() -> None:
    """A jerk has no upper limit: nothing can be shown to hold."""
    check = check_rig(replace(GOOD, dynamic=None, loading=LOADINGS["jerk"], expected_high_n=3000.0))

    assert not check.ok
    assert "jerk" in codes(check, "no")


@pytest.mark.parametrize(
    ("angle", "kept"),
    # Rigging suppliers' tables: 100 % in line, 30 % at 45 degrees, 25 % at 90 degrees, for eye bolts with a shoulder.
    [(0.0, 1.0), (5.0, 1.0), (45.0, 0.30), (90.0, 0.25)],
)
def test_an_eye_bolt_off_its_line_keeps_little(angle: float, kept: float) -> None:
    """With a shoulder it keeps 30 and 25 %."""
    bolt = Element("eye bolt", "eyebolt", wll_n=100_000.0, side_load_deg=angle, has_shoulder=True)
    check = check_rig(replace(GOOD, elements=(CELL, bolt)))

    assert check.elements[1].wll_n == pytest.approx(kept * 100_000.0)
    assert check.ok
    assert ("eyebolt_off_line" in codes(check, "caution")) == (angle > 5.0)


@pytest.mark.parametrize(
    ("kind", "code"), [("eyebolt", "eyebolt_off_line"), ("swivel", "off_line"), ("turnbuckle", "off_line")]
)
def test_what_bears_in_line_only_fails_off_its_line(kind: str, code: str) -> None:
    """Plain eye bolts, swivels and turnbuckles, however strong they are."""
    strong = Element("strong", kind, wll_n=1e6, side_load_deg=10.0)
    check = check_rig(replace(GOOD, elements=(CELL, strong)))

    assert codes(check, "no") == [code]
    assert check_rig(replace(GOOD, elements=(CELL, replace(strong, side_load_deg=5.0)))).ok


def test_the_stop_load_is_where_the_first_rating_is_met() -> None:
    """The cell's safe overload is 15 kN, the shackle's WLL 20 kN, the rope's 90 kN x 0.7 / 7 = 9 kN: that one."""
    stop = check_rig(GOOD).stop

    assert stop is not None
    assert (stop.by, stop.stated) == ("pull line", False)
    assert stop.load_n == pytest.approx(9000.0)
    alone = check_rig(replace(GOOD, elements=(CELL,))).stop
    assert alone is not None
    assert alone.load_n == pytest.approx(15_000.0)


WINCH = Element("winch", "winch", wll_n=20_000.0)


def test_a_puller_that_can_pass_the_weakest_rating_needs_a_stop_load() -> None:
    """A winch of 20 kN on a line whose rope is good for 9 kN: no, unless a stop load is stated and low enough."""
    bare, stated, high = (
        check_rig(replace(GOOD, elements=(*GOOD.elements, WINCH), stop_n=stop), unit="kN")
        for stop in (None, 9000.0, 9500.0)
    )

    assert "no_stop_load" in codes(bare, "no")
    assert not bare.ok
    assert 'stop = "9 kN"' in text_of(bare, "no_stop_load")
    assert stated.ok
    assert codes(high, "no") == ["stop_too_high"]


def test_a_vehicle_pulls_as_hard_as_its_tyres_hold() -> None:
    """By its upper friction; a light one cannot pass the rating, and then no stop load is asked for."""
    heavy, light = (
        check_rig(replace(GOOD, anchors=(BLOCK, Anchor("van", "vehicle", kg, (0.6, 0.8), role="pull"))))
        for kg in (2600.0, 1100.0)
    )

    assert heavy.strongest_pull_n == pytest.approx(0.8 * 2600.0 * G)
    assert "no_stop_load" in codes(heavy, "no")
    assert "no_stop_load" not in codes(light)
    assert "puller_unknown" in codes(check_rig(GOOD), "caution")


def test_a_stop_load_below_the_expected_peak_is_said() -> None:
    """Such a pull may end as "at least"."""
    check = check_rig(replace(GOOD, stop_n=4000.0))

    assert check.ok
    assert "stop_below_expected" in codes(check, "note")


@pytest.mark.parametrize(
    ("energy_j", "words"),
    # m g h with g = 9.80665: 10 kg x 2 m = 196.1 J; 50 kg x 2.9 m = 1421.96 J.
    [
        (196.133, "like 10 kg falling from 2 m"),
        (1421.96, "like 50 kg falling from 2.9 m"),
        (98.0665, "like 10 kg falling from 1 m"),
    ],
)
def test_energy_is_said_as_a_fall(energy_j: float, words: str) -> None:
    """A mass that anyone has lifted, and a height."""
    assert as_fall(energy_j) == words


def test_much_energy_is_a_caution_with_a_number() -> None:
    """A nylon line of 20 m stores kilojoules: a caution; 6 m of low stretch: a note. No throw in metres beside them."""
    much = check_rig(replace(GOOD, lines=(LineStretch(20.0, "nylon", breaking_n=90_000.0),)))
    little = check_rig(replace(GOOD, lines=(LineStretch(6.0, stretch=(0.001, 0.001)),)))

    assert "energy" in codes(much, "caution")
    assert "falling from" in text_of(much, "energy")
    assert "energy" in codes(little, "note")
    assert "throw" not in " ".join(finding.text for finding in much.findings)
    assert codes(much).count("fragments") == 1


@given(forces, st.floats(1.0, 3.0), st.sampled_from(sorted(FORCE_UNITS)))
def test_the_unit_changes_sentences_only(low: float, spread: float, unit: str) -> None:
    """Same numbers and same findings in every unit."""
    rig = replace(GOOD, expected_low_n=low, expected_high_n=low * spread)
    one, other = check_rig(rig), check_rig(rig, unit=unit)

    assert replace(one, findings=()) == replace(other, findings=())
    assert [(f.code, f.level) for f in one.findings] == [(f.code, f.level) for f in other.findings]


@given(forces, st.floats(1.0, 10.0))
def test_more_load_never_helps(load: float, factor: float) -> None:
    """A rig that failed does not pass with a larger load."""
    assume(load * factor < 1e9)
    small = check_rig(replace(GOOD, expected_low_n=load, expected_high_n=load))
    large = check_rig(replace(GOOD, expected_low_n=load, expected_high_n=load * factor))

    assert small.ok or not large.ok


def test_a_turned_line_warns_of_its_inside() -> None:
    """A block that turns the line by 90 degrees carries 1.41 times the pull, and the bight is named."""
    block = Element("snatch block", "block", wll_n=50_000.0, turn_deg=90.0)
    check = check_rig(replace(GOOD, elements=(block,)))

    assert check.elements[0].load_n == pytest.approx(6000.0 * math.sqrt(2.0))
    assert "bight" in codes(check, "caution")


def test_rules_are_listed_once_with_their_sources() -> None:
    """Every factor in the answer can be traced."""
    document = json.loads(json.dumps(check_rig(GOOD).to_json(), allow_nan=False))
    names = [rule["name"] for rule in document["rules"]]

    assert document["schema"] == "breakyard.rig/1"
    assert len(names) == len(set(names))
    used = {name for part in document["elements"] + document["anchors"] for name in part["rules"]}
    assert used <= set(names)


def test_an_anchor_that_holds_nothing_is_still_json() -> None:
    """A block that would slide by itself: its use is unbounded, null in JSON."""
    check = check_rig(replace(GOOD, anchors=(replace(BLOCK, friction=(0.0, 0.1), slope_deg=10.0),)))

    assert json.loads(json.dumps(check.to_json(), allow_nan=False))["anchors"][0]["use"] is None
    assert check_anchor(check.rig.anchors[0], 100.0).verdict == "slides"


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Element("x", "string"), "unknown kind"),
        (lambda: Element("x", "rope", ends="glue"), "unknown ends"),
        (lambda: Element("x", "hook", wll_n=-1.0), "more than zero"),
        (lambda: Element("x", "hook", wll_n=2.0, breaking_n=1.0), "above its breaking"),
        (lambda: Element("x", "chain", wll_n=1.0, legs=2, leg_angle_deg=90.0), "0 to 85"),
        (lambda: Element("x", "chain", wll_n=1.0, leg_angle_deg=30.0), "legs = 2"),
        (lambda: Element("x", "rope", efficiency=(0.9, 0.5)), "efficiency"),
        (lambda: Anchor("x", "tree", 1.0, (0.1, 0.2)), "vehicle or block"),  # type: ignore[arg-type]
        (lambda: Anchor("x", "block", 0.0, (0.1, 0.2)), "mass"),
        (lambda: LineStretch(0.0), "length"),
        (lambda: LineStretch(1.0, "string"), "unknown material"),
        (lambda: LineStretch(1.0, stretch=(0.3, 30.0)), "3 % is 0.03"),
        (lambda: replace(GOOD, margin=0.5), "margin"),
        (lambda: replace(GOOD, dynamic=(0.5, 1.0)), "dynamic factor"),
    ],
)
def test_impossible_descriptions_get_one_line(make: object, words: str) -> None:
    """Each names what is wrong and what to give."""
    with pytest.raises(UsageError, match=words) as caught:
        make()  # type: ignore[operator]
    assert "\n" not in str(caught.value)
