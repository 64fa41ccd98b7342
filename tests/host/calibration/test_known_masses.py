"""How well masses are known: what nobody said, what is common to them, what each errs by for itself."""

import math
from itertools import pairwise

import numpy as np
import pytest

from breakyard.calibration import (
    Air,
    Calibration,
    Plate,
    Point,
    calibrate,
    mass_point,
    parse_load,
    parse_loads,
    stated_gravity,
)
from breakyard.calibration.known_loads import UNSTATED_LIMITS, Basis, larger_only
from breakyard.calibration.make import told_apart
from breakyard.simulate.cell import Cell
from breakyard.simulate.converter import counts_per_mv_v

KGF = 9.80665
CAPACITY = 1000 * KGF
HERE, AIR = stated_gravity(9.81, 0.0), Air(1.2, 0.0, "stated")
STACK = "0, 20 kg [A], 20 kg [A] + 20 kg [B], 20 kg [A] + 20 kg [B] + 20 kg [C], 20 kg [A] + 20 kg [B], 20 kg [A], 0"
HUNG = ("", "A", "AB", "ABC", "AB", "A", "")
PER = counts_per_mv_v(128)


def hang(
    off: dict[str, float], cell: Cell, rng: np.random.Generator, text: str = STACK, **known: object
) -> Calibration:
    """Three plates of 20 kg that are off by these parts, read to 3 counts; the user states `text` and `known`."""
    points = []
    for load, names in zip(parse_loads(text, **known), HUNG, strict=True):  # type: ignore[arg-type]
        true = sum(20.0 * (1.0 + off[name]) for name in names) * 9.81 * (1.0 - 1.2 / 8000.0)
        counts = PER * float(cell.static_mv_v(true)) + rng.normal(0.0, 3.0)
        points.append(Point(load, counts, 3.0))
    return calibrate(points, plate=Plate(CAPACITY, 2.0, nonlinearity=0.0003), gravity=HERE, air=AIR)


def covered(
    number: int, kgf: float, error: float, *, alike: bool, straight: bool = False, **known: object
) -> int:
    """How many of so many calibrations hold the truth at this load: plates off within +- error, all alike or each."""
    rng, hits = np.random.default_rng([7, number, int(kgf)]), 0
    for _ in range(number):
        common, own = rng.uniform(-error, error), rng.uniform(-error, error, 3)
        off = dict(zip("ABC", np.full(3, common) if alike else own, strict=True))
        a, b = (0.0, 0.0) if straight else rng.uniform(-0.0003, 0.0003, 2) / 2.0
        cell = Cell(CAPACITY, 2.0, nonlinearity=0.0003, quadratic=float(a + b), cubic=float(a - b))
        made = hang(off, cell, rng, **known)
        zero, counts = (PER * float(cell.static_mv_v(load)) for load in (0.0, kgf * KGF))
        shown = made.interval(counts, zero)
        hits += shown.low_n <= kgf * KGF <= shown.high_n
    return hits


@pytest.mark.parametrize("alike", [True, False])
def test_marked_plates_keep_their_promise(alike: bool) -> None:
    """Plates of a gym, truly within +- 2 %, about which nothing is said: 500 kgf are covered in 95 % or more."""
    assert covered(150, 500.0, 0.02, alike=alike) >= 0.95 * 150


@pytest.mark.parametrize("alike", [True, False])
@pytest.mark.parametrize("kgf", [60.0, 500.0])
def test_one_limit_for_all_covers_masses_that_err_for_themselves(alike: bool, kgf: float) -> None:
    """0.05 % stated for all, errors of 0.05 % common or each for itself: 93 % or more of 300 (0.80 when all were
    taken to err together)."""
    assert covered(300, kgf, 0.0005, alike=alike, mass_limit=0.0005) >= 0.93 * 300


def test_errors_of_masses_are_not_taken_for_a_bend() -> None:
    """A straight cell and plates that err for themselves within their limit: the estimate lies well inside its
    interval (it touched an end: 500.04 to 502.3), whichever way they err."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        off = dict(zip("ABC", rng.choice([-0.0005, 0.0005], 3), strict=True))
        made = hang(off, Cell(CAPACITY, 2.0), rng, mass_limit=0.0005)
        shown = made.interval(made.counts_at(500.0 * KGF, made.zero_counts), made.zero_counts)
        below, above = shown.load_n - shown.low_n, shown.high_n - shown.load_n

        assert 0.5 < below / above < 2.0


def test_the_larger_of_common_and_own_counts_never_both() -> None:
    """For any correlation the variance of the sum lies between those of the two ends (it is linear in it)."""
    sizes = {"mass (x)": 3.0, "mass (x) / a": 1.0, "mass (x) / b": 2.0, "gravity": 5.0}

    assert larger_only(sizes) == {"mass (x)": 3.0, "gravity": 5.0}
    assert larger_only(sizes | {"mass (x)": 2.0}) == {
        "mass (x) / a": 1.0,
        "mass (x) / b": 2.0,
        "gravity": 5.0,
    }
    force = parse_load("3 x 20 kg").force(HERE, AIR)
    assert force.standard_n == pytest.approx(force.newtons * 0.03 / math.sqrt(3.0), rel=1e-9)


def test_residuals_tell_how_far_masses_differ() -> None:
    """Plates that agree to 0.01 % are not taken to differ by 3 %; one plate alone shows nothing."""
    rng = np.random.default_rng(3)
    same = hang({"A": 0.02, "B": 0.02, "C": 0.02}, Cell(CAPACITY, 2.0), rng)
    apart = hang({"A": 0.02, "B": -0.02, "C": 0.01}, Cell(CAPACITY, 2.0), rng)
    one = calibrate([mass_point(0.0, 0.0), mass_point(20.0, 85_000.0), mass_point(20.0, 85_010.0)])

    assert same.told_apart < 0.05
    assert apart.told_apart > 0.5
    assert one.told_apart == 1.0
    assert Calibration.from_json(same.to_json()) == same
    line = np.array([0.0, 1.0, 2.0, 3.0])
    assert told_apart({"mass (x)": line}, line, line) == 1.0


def size(text: str, known: Basis | None = None, limit: float | None = None) -> tuple[float, set[str], bool]:
    """Relative limit of the first piece, the sources of a load, and whether it was assumed."""
    load = parse_load(text, mass_limit=limit, known=known)
    piece = load.pieces[0]
    names = {name for name in load.force(HERE, AIR).sources if name.startswith("mass")}
    return math.sqrt(3.0) * piece.standard_kg / piece.kilograms, names, piece.assumed


def test_how_masses_are_known_decides_what_is_taken() -> None:
    """Silence counts as marked; a certificate as the widest class of OIML R 111-1 (10 g on 20 kg)."""
    assert size("20 kg")[0] == size("20 kg", "marked")[0] == pytest.approx(0.03)
    assert size("20 kg", "weighed")[0] == pytest.approx(0.01)
    assert size("20 kg", "certificate")[0] == pytest.approx(0.010 / 20.0)
    assert all(size("20 kg", basis)[2] for basis in UNSTATED_LIMITS)
    assert not size("20 kg", "weighed", 0.001)[2]
    ordered = [UNSTATED_LIMITS[basis] for basis in ("certificate", "weighed", "marked")]
    assert all(a < b for a, b in pairwise(ordered))


def test_one_scale_is_common_to_all_that_it_weighed() -> None:
    """ "+-" on each of two plates: independent by certificate, possibly common from one scale."""
    text = "20 kg +- 0.02 kg [A] + 20 kg +- 0.02 kg [B]"
    _, by_certificate, _ = size(text, "certificate")
    _, by_scale, _ = size(text, "weighed")
    one = parse_load(text, known="certificate").force(HERE, AIR).standard_n
    other = parse_load(text, known="weighed").force(HERE, AIR).standard_n

    assert by_certificate == {"mass [A]", "mass [B]"}
    assert len(by_scale) == 3
    assert other == pytest.approx(math.sqrt(2.0) * one)
