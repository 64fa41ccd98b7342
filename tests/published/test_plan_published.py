"""The range plan and the rig check against data sheets, laws and published rules; the source beside each."""

import math

import pytest

from breakyard.calibration.plate import Plate
from breakyard.plan import events, rules
from breakyard.plan.elements import KINDS, Element, check_element, leg_strength, turned_load
from breakyard.plan.energy import LineStretch, speed_m_per_s, stored_energy
from breakyard.plan.ranges import RangeQuestion, counts_per_mv_v, noise_nv, plan_range, rail_mv_v
from breakyard.plan.standoff import stand_off
from breakyard.units import to_newtons

KGF = 9.80665


def question(capacity_kgf: float = 2000.0, output: float = 2.0, **more: object) -> RangeQuestion:
    return RangeQuestion(500.0 * KGF, 1000.0 * KGF, Plate(capacity_kgf * KGF, output), **more)  # type: ignore[arg-type]


def test_counts_per_mv_v_follow_from_the_data_sheet() -> None:
    """HX711 data sheet: full scale +-0.5 AVDD / gain over 24 bits, so 2 147 483.648 counts per mV/V at gain 128."""
    assert counts_per_mv_v(128) == pytest.approx(2_147_483.648, rel=1e-12)
    assert counts_per_mv_v(64) == pytest.approx(2_147_483.648 / 2.0, rel=1e-12)


@pytest.mark.parametrize(("gain", "mv_v"), [(128, 3.90625), (64, 7.8125), (32, 15.625)])
def test_rails_in_mv_v(gain: int, mv_v: float) -> None:
    """HX711 data sheet, full scale +-0.5 / gain; the upper rail is one count below."""
    assert rail_mv_v(gain) == pytest.approx(mv_v, rel=2e-7)


@pytest.mark.parametrize(("output", "percent"), [(1.0, 391), (2.0, 195), (3.0, 130)])
def test_where_the_converter_clips_in_percent_of_the_capacity(output: float, percent: int) -> None:
    """From the data sheet's full scale: (0.5 / 128) / mV/V; a 2 mV/V cell clips at 195 %, a 3 mV/V cell at 130 %."""
    plan = plan_range(question(output=output))

    assert round(100.0 * plan.limit("clip").load_n / (2000.0 * KGF)) == percent


def test_a_2_mv_v_cell_is_overloaded_before_it_clips_and_a_3_mv_v_cell_clips_first() -> None:
    """OIML R 60:2021, Annex C, sample data sheet: safe load limit 150 %, ultimate load 300 %."""
    two, three = plan_range(question(output=2.0)), plan_range(question(output=3.0))

    assert two.first.name == "safe overload"
    assert two.first.load_n == pytest.approx(1.5 * 2000.0 * KGF)
    assert two.limit("ultimate").load_n == pytest.approx(3.0 * 2000.0 * KGF)
    assert three.first.name == "clip"
    assert [finding.code for finding in three.findings].count("clip_before_overload") == 1
    assert (two.recommendation.gain, three.recommendation.gain) == (128, 64)


@pytest.mark.parametrize(("rate", "nanovolts", "counts"), [(10.0, 50.0, 21.5), (80.0, 90.0, 38.7)])
def test_noise_of_the_data_sheet_in_counts(rate: float, nanovolts: float, counts: float) -> None:
    """HX711 data sheet: 50 nV rms at 10/s, 90 nV rms at 80/s; at 5 V one count is 2.3283 nV."""
    assert noise_nv(rate, 128) == pytest.approx(nanovolts)
    assert noise_nv(rate, 128) / 2.3283 == pytest.approx(counts, abs=0.05)


@pytest.mark.parametrize(
    ("rate", "supply", "grams"),
    [(80.0, 5.0, 18), (80.0, 3.3, 27), (80.0, 2.77, 33), (10.0, 5.0, 10), (10.0, 3.3, 15), (10.0, 2.77, 18)],
)
def test_noise_on_a_cell_of_2000_kgf(rate: float, supply: float, grams: int) -> None:
    """By hand from the data sheet: noise / (mV/V x excitation) x capacity, 2 mV/V, in gram-force."""
    plan = plan_range(question(rate_hz=rate, supply_v=supply))

    # 32.5 g at 2.77 V: the hand figure was rounded up.
    assert plan.noise_n / KGF * 1000.0 == pytest.approx(grams, abs=0.51)


@pytest.mark.parametrize(("rate", "seconds"), [(80.0, 1.125), (93.7, 0.96)])
def test_shortest_event_for_one_percent(rate: float, seconds: float) -> None:
    """ASTM STP19268S: bandwidth 3/T, data rate 30 times that, so T = 90 / rate."""
    assert events.shortest_event_s(rate) == pytest.approx(seconds, abs=0.001)


def test_loading_rate_of_iso_6892() -> None:
    """ISO 6892-1 Annex A (from memory): 30 MPa/s and 355 MPa need 8.45 Hz for 1 %, 16.9 Hz for 0.5 %."""
    assert events.fastest_sampled_n_per_s(355.0, 8.45) == pytest.approx(30.0, abs=0.01)
    assert events.fastest_sampled_n_per_s(355.0, 16.9, share=0.005) == pytest.approx(30.0, abs=0.01)


@pytest.mark.parametrize(
    ("ramp", "rate", "miss"), [(100.0, 80.0, 4), (500.0, 80.0, 19), (1000.0, 80.0, 38), (100.0, 10.0, 30)]
)
def test_largest_miss_of_a_ramp_that_breaks(ramp: float, rate: float, miss: int) -> None:
    """By hand: two conversions of delay (the data sheet settles in four) and up to one more, 37.5 ms at 80/s."""
    assert round(events.largest_miss(ramp, rate)) == miss


@pytest.mark.parametrize(
    ("kind", "coefficient"), [("wire rope", 5.0), ("chain", 4.0), ("webbing sling", 7.0)]
)
def test_working_coefficients_of_the_law(kind: str, coefficient: float) -> None:
    """Directive 2006/42/EC, Annex I, 4.1.2.5: wire rope 5, welded chain 4, textile 7."""
    check = check_element(Element("one", kind, breaking_n=70_000.0), 1000.0)

    assert check.wll_n == pytest.approx(70_000.0 / coefficient)
    assert "2006/42/EC" in next(rule for rule in check.rules if rule is KINDS[kind].rule).source


def test_metal_parts_of_slings() -> None:
    """Directive 2006/42/EC, Annex I, 4.1.2.5: 4; a WLL is turned into a breaking strength by no more than that."""
    assert check_element(Element("s", "shackle", wll_n=1000.0), 100.0).breaking_low_n == pytest.approx(4000.0)


def test_safe_working_load_of_the_training_page() -> None:
    """A rigging training page: SWL = MBS / design factor, 20 000 lb / 5 = 4 000 lb."""
    rope = Element("winch rope", "wire rope", breaking_n=to_newtons(20_000.0, "lbf"))

    assert check_element(rope, 1000.0).wll_n == pytest.approx(to_newtons(4_000.0, "lbf"))


@pytest.mark.parametrize(
    ("degrees", "strength"), [(0.0, 2.0), (30.0, math.sqrt(3.0)), (45.0, math.sqrt(2.0)), (60.0, 1.0)]
)
def test_two_legs_by_statics(degrees: float, strength: float) -> None:
    """Statics: each of two legs carries load / (2 cos angle), so at 60 degrees a bridle bears what one leg bears."""
    assert leg_strength(2, degrees) == pytest.approx(strength)


@pytest.mark.parametrize(("degrees", "load"), [(180.0, 2.0), (90.0, math.sqrt(2.0)), (60.0, 1.0)])
def test_load_on_a_block_by_statics(degrees: float, load: float) -> None:
    """Statics: a line that goes there and back puts twice its load on the block; by a right angle 1.41 times."""
    assert turned_load(degrees) == pytest.approx(load)


@pytest.mark.parametrize(
    ("degrees", "cut"), [(0.0, 1.0), (5.0, 1.0), (6.0, 0.7), (45.0, 0.7), (46.0, 0.5), (90.0, 0.5)]
)
def test_side_load_of_a_shackle(degrees: float, cut: float) -> None:
    """WAC 296-155-33905: none to 5 degrees, from 6 to 45 a cut, beyond a larger one; sizes ASME B30.26, from memory."""
    check = check_element(Element("s", "shackle", wll_n=1000.0, side_load_deg=degrees), 100.0)

    assert check.wll_n == pytest.approx(1000.0 * cut)


@pytest.mark.parametrize(
    ("load_kgf", "stretch", "kilojoules"),
    [
        (1000.0, 0.30, 14.7),
        (1000.0, 0.15, 7.4),
        (1000.0, 0.02, 1.0),
        (1000.0, 0.01, 0.5),
        (2000.0, 0.30, 29.4),
        (2000.0, 0.15, 14.7),
    ],
)
def test_energy_in_ten_metres_of_line(load_kgf: float, stretch: float, kilojoules: float) -> None:
    """Mechanics: half of load times stretch, 10 m of nylon (30 %), polyester (15 %), HMPE (2 %), steel (1 %)."""
    energy = stored_energy([LineStretch(10.0, stretch=(stretch, stretch))], load_kgf * KGF)

    assert energy is not None
    assert energy.high_j / 1000.0 == pytest.approx(kilojoules, abs=0.06)
    assert energy.low_j == pytest.approx(energy.high_j * 2.0 / 3.0)


def test_a_shorter_line_stores_less() -> None:
    """Mechanics: 3 m of line in place of 10 m leave 30 % of the energy."""
    ten, three = (stored_energy([LineStretch(length, "nylon")], 9806.65) for length in (10.0, 3.0))

    assert ten is not None
    assert three is not None
    assert three.high_j / ten.high_j == pytest.approx(0.3)


def test_speed_of_a_piece() -> None:
    """Mechanics: 1.5 kJ in 1 kg are 55 m/s."""
    assert round(speed_m_per_s(1500.0, 1.0)) == 55


def test_stretch_at_break_as_published() -> None:
    """Rope makers' tables and UK MAIB (Zarga): nylon 25 to 35 %, polyester 15 to 25 %, HMPE about 2 %."""
    for material, low, high in (
        ("nylon", 0.25, 0.35),
        ("polyester", 0.15, 0.25),
        ("polypropylene", 0.20, 0.25),
    ):
        energy = stored_energy([LineStretch(10.0, material)], 1000.0)
        assert energy is not None
        assert (energy.stretch_low_m, energy.stretch_high_m) == pytest.approx((10.0 * low, 10.0 * high))
    hmpe = stored_energy([LineStretch(10.0, "hmpe")], 1000.0)
    assert hmpe is not None
    assert hmpe.stretch_low_m <= 0.2 <= hmpe.stretch_high_m


def test_distances() -> None:
    """A fleet safety guide: 1.5 x the unstretched strap; US Army FM 4-30.31: 2 x the paid-out cable."""
    distances = stand_off(20.0)

    assert distances.minimum_m == pytest.approx(30.0)
    assert distances.bystanders_m == pytest.approx(40.0)
    assert stand_off(8.0, paid_out_m=25.0).bystanders_m == pytest.approx(50.0)


def test_rules_of_thumb_are_marked() -> None:
    """A rule without law, standard or publication behind it says so, and every other one names its source."""
    every = [value for value in vars(rules).values() if isinstance(value, rules.Rule)]

    assert {rule.name for rule in every if rule.is_rule_of_thumb} >= {"margin", "dynamic factor", "friction"}
    for rule in every:
        assert rule.mark == "rule of thumb" or rule.source in rule.mark
        assert rule.source or rule.is_rule_of_thumb
