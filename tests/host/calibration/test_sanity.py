"""Each usual mistake, made on purpose, is named with what to check."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from breakyard.calibration import (
    Calibration,
    CalibrationFinding,
    Plate,
    Point,
    calibrate,
    check_sanity,
    gravity_at,
    parse_load,
)
from breakyard.calibration.sanity import noise_counts_at
from breakyard.simulate.cell import Cell
from breakyard.simulate.converter import counts_per_mv_v

KGF = 9.80665
HERE = gravity_at(45.0)
CAPACITY = 2000 * KGF
PLATE = Plate(CAPACITY, 2.0, nonlinearity=0.0003)
UP_AND_DOWN = (0, 20, 40, 60, 40, 20, 0)


def make(
    *,
    really: float = 1.0,
    stated: str = "{:g} kg",
    gain: int = 128,
    told_gain: int = 128,
    output: float = 2.0,
    left_n: float = 0.0,
    plate: Plate | None = PLATE,
    zero_mv_v: float = 0.02,
) -> Calibration:
    """Masses of `really` times the nominal kilograms hang; `stated` is what the user types."""
    cell = Cell(CAPACITY, output, zero_mv_v=zero_mv_v)
    made = []
    for i, kilograms in enumerate(UP_AND_DOWN):
        force = kilograms * really * HERE.value + (left_n if i == len(UP_AND_DOWN) - 1 else 0.0)
        counts = float(cell.static_mv_v(force)) * counts_per_mv_v(gain)
        made.append(Point(parse_load(stated.format(kilograms)), counts, 2.0))
    return calibrate(made, plate=plate, gain=told_gain, gravity=HERE)


def codes(findings: tuple[CalibrationFinding, ...]) -> list[str]:
    return [finding.code for finding in findings]


def test_a_sound_calibration_has_no_findings() -> None:
    """Nothing is said when nothing is wrong, also 8 % off the plate's nominal output."""
    assert check_sanity(make(), noise_counts=40.0, rate_hz=92.0) == ()
    assert check_sanity(make(output=2.16)) == ()


@pytest.mark.parametrize(
    ("change", "code", "word"),
    [
        ({"really": 0.45359237}, "pounds_as_kilograms", "pounds"),
        ({"stated": "{:g} lb"}, "kilograms_as_pounds", "pounds"),
        ({"told_gain": 64}, "double", "gain"),
        ({"gain": 64}, "half", "gain"),
        ({"output": 1.0}, "half", "two cells"),
        ({"told_gain": 32}, "fourfold", "channel"),
        ({"gain": 32}, "quarter", "channel"),
        ({"really": 1 / 9.80665}, "newtons_as_kilograms", "newtons"),
        ({"really": 9.80665}, "kilograms_as_newtons", "newtons"),
        ({"really": 0.001}, "grams_as_kilograms", "grams"),
        ({"stated": "{:g} g"}, "kilograms_as_grams", "grams"),
    ],
)
def test_a_telling_factor_is_named_first(change: dict[str, object], code: str, word: str) -> None:
    """The mistake made stands first among the serious findings, and its message says what to check."""
    findings = [f for f in check_sanity(make(**change)) if f.serious]  # type: ignore[arg-type]

    assert findings[0].code == code
    assert word in findings[0].message
    assert "check" in findings[0].message


def test_swapped_wires() -> None:
    """A falling slope is told but does not forbid the calibration: the load still comes out right."""
    made = make(output=-2.0)
    findings = check_sanity(made)

    assert codes(findings) == ["swapped_wires"]
    assert not findings[0].serious
    assert float(made.load_n(made.counts_at(500.0, made.zero_counts), made.zero_counts)) == pytest.approx(
        500.0
    )


def test_a_slope_that_fits_nothing() -> None:
    """30 % off the plate belongs to no known mistake: plate, loads, gain and wiring are to be checked."""
    findings = check_sanity(make(output=2.6))

    assert codes(findings) == ["slope_off_plate"]
    assert "2.6 mV/V" in findings[0].message


@pytest.mark.parametrize(
    ("left_kgf", "found"),
    [(0.1, []), (1.0, ["zero_not_returning"]), (5.0, ["zero_not_returning", "poor_fit"])],
)
def test_a_zero_that_stays_away(left_kgf: float, found: list[str]) -> None:
    """1 % of the highest mass, or 0.1 % of the capacity, is a word worth."""
    findings = check_sanity(make(left_n=left_kgf * KGF))

    assert codes(findings) == found
    assert all(finding.serious == (left_kgf > 4.0) for finding in findings)


def test_noise_far_from_the_data_sheet() -> None:
    """Ten times too noisy, and far too quiet to be raw counts."""
    made = make()

    assert codes(check_sanity(made, noise_counts=400.0, rate_hz=92.0)) == ["noisy"]
    assert codes(check_sanity(made, noise_counts=0.5, rate_hz=92.0)) == ["too_quiet"]


def test_noise_is_held_against_the_supply_it_is_wired_with() -> None:
    """HX711 data sheet: 90 nV at 80/s, gain 128. Full scale is +-0.5 AVDD / gain over 24 bits, so at 3.3 V that is 59
    counts, at 5 V 39; 400 counts at 3.3 V are 615 nV."""
    assert noise_counts_at(90.0) == pytest.approx(58.6, abs=0.05)
    assert noise_counts_at(90.0, 5.0) == pytest.approx(38.7, abs=0.05)
    assert check_sanity(make(), noise_counts=200.0, rate_hz=92.0) == ()
    assert "about 59" in check_sanity(make(), noise_counts=400.0, rate_hz=92.0)[0].message
    assert "615 nV at 3.3 V" in check_sanity(make(), noise_counts=400.0, rate_hz=92.0)[0].message


def test_rails() -> None:
    """A 3 mV/V cell with an unlucky zero clips below twice its capacity; a point on the rail is told."""
    clips = check_sanity(make(output=3.0, zero_mv_v=1.2, plate=replace(PLATE, rated_output_mv_v=3.0)))
    near = check_sanity(make(zero_mv_v=3.85))

    assert codes(clips) == ["clips_below_capacity"]
    assert "clip at 17690 N" in clips[0].message
    assert "near_rail" in codes(near)


def test_a_slope_that_moved() -> None:
    """1 % since last time is told against 0.1 % masses, and the last calibration is named."""
    exact = "{0:g} kg +- 0.1 %"
    before = replace(make(stated=exact), name="spring", created="2026-04-01")
    findings = check_sanity(make(stated=exact, output=2.02), previous=before)

    assert codes(findings) == ["slope_moved"]
    assert "spring of 2026-04-01" in findings[0].message
    assert "-0.99%" in findings[0].message
    assert check_sanity(make(stated=exact, output=2.002), previous=before) == ()


def test_without_a_plate_only_the_sign_is_judged() -> None:
    """Nothing is claimed about the factor when nothing was promised."""
    assert check_sanity(make(really=0.45359237, plate=None)) == ()
    assert codes(check_sanity(make(output=-2.0, plate=None))) == ["swapped_wires"]


def points_of(counts_at: Callable[[float, bool], float]) -> Calibration:
    """Ten loads up to half of the capacity, up and down, from what the cell gives of its load rising or falling."""
    kilograms = [*range(0, 1001, 100), *range(900, -1, -100)]
    told = [
        Point(parse_load(f"{kg} kg +- 0.01 kg"), counts_at(kg, i <= 10), 2.0)
        for i, kg in enumerate(kilograms)
    ]
    return calibrate(told, plate=PLATE, gain=128, gravity=HERE)


PER_KG = 2.0 / 2000.0 * counts_per_mv_v(128)


def test_a_bend_that_no_cell_has_is_named() -> None:
    """Something else bears a twentieth of the highest load; the cell of the plate bends by 0.03 %."""
    made = points_of(lambda kg, _: PER_KG * kg * (1.0 - 0.05 * kg / 1000.0) * 1.03)

    assert made.degree > 1
    assert "bent" in codes(check_sanity(made))


def test_friction_is_named_as_a_loop() -> None:
    """Falling readings 0.6 % of the highest load above the rising ones, and an empty cell that comes back."""
    made = points_of(lambda kg, up: PER_KG * (kg + (0.0 if up or not kg else 6.0)))

    assert codes(check_sanity(made)) == ["loop"]


def test_a_cell_within_its_sheet_is_neither_bent_nor_loops() -> None:
    """Bends and hysteresis of 0.03 % of the capacity."""
    made = points_of(
        lambda kg, up: PER_KG * (kg + 0.6 * (kg / 1000.0) ** 2 + (0.0 if up else 0.3 * (kg > 0)))
    )

    assert check_sanity(made) == ()


def test_points_that_miss_their_line_are_told_what_would_mend_them() -> None:
    """Two masses written in each other's place."""
    counts = [0.0, 20.0, 40.0, 60.0, 0.0]
    written = [0.0, 40.0, 20.0, 60.0, 0.0]
    told = [Point(parse_load(f"{kg:g} kg"), PER_KG * c, 2.0) for kg, c in zip(written, counts, strict=True)]
    findings = check_sanity(calibrate(told, plate=PLATE, gain=128, gravity=HERE))

    assert any("2 and 3 was written in each other's place" in finding.message for finding in findings)
