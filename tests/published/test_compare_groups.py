"""One group's statistics against published tables and worked examples; the source stands beside each."""

import pytest

from breakyard.comparison import Observation
from breakyard.comparison.goodness import Curve, fits
from breakyard.comparison.groups import describe
from breakyard.comparison.tolerance import BoundKind, normed_residual, one_sided_factor, two_sided_factor
from breakyard.comparison.weibull import fit_weibull, sample_of
from breakyard.comparison.weibull_intervals import quantile_lower_bound

STAT17 = (
    *(137.4438, 139.5395, 150.89, 141.4474, 141.8203, 151.8821, 143.9245, 132.9732, 136.6419),
    *(138.1723, 148.7668, 143.283, 143.5429, 141.7023, 137.4732, 152.338, 144.1589, 128.5218),
)
"""Strengths of the validation example of the R package cmstatr (its vignette quotes the results of CMH-17's STAT17)."""

SKEWED = (
    *(
        79.9109621761937,
        77.9447436346388,
        79.717168019752,
        87.3547460860547,
        76.2404769192413,
        75.7026911300246,
    ),
    *(
        79.5952709280298,
        76.7833784980155,
        77.5791472067831,
        78.4164523339268,
        79.2819398818745,
        77.6346481930964,
    ),
    *(
        81.2182937743241,
        81.1826431730731,
        86.0561762593461,
        82.1837784884495,
        80.7564920650884,
        79.3614980225488,
    ),
)
"""Strengths of another example of cmstatr's tests."""

BALL_BEARINGS = (
    *(17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80),
    *(68.64, 68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40),
)
"""Lieblein and Zelen 1956, with 48.48 as in the original (later copies also have 48.40 and 48.80)."""


@pytest.mark.parametrize(
    ("n", "b_basis", "tolerance_95", "a_basis"),
    # Montgomery and Runger, Applied Statistics and Probability for Engineers, Table XII; CMH-17-1G for n = 3 ... 30.
    [
        (3, 6.155, 7.656, 10.553),
        (4, 4.162, 5.144, 7.042),
        (5, 3.407, 4.203, 5.741),
        (6, 3.006, 3.708, 5.062),
        (8, 2.582, 3.187, 4.354),
        (10, 2.355, 2.911, 3.981),
        (15, 2.068, 2.566, 3.520),
        (20, 1.926, 2.396, 3.295),
        (25, 1.838, 2.292, 3.158),
        (30, 1.777, 2.220, 3.064),
        (50, 1.646, 2.065, 2.862),
        (100, 1.527, 1.927, 2.684),
    ],
)
def test_one_sided_factors(n: int, b_basis: float, tolerance_95: float, a_basis: float) -> None:
    """The exact factors are the table's, to its last digit."""
    assert one_sided_factor(n, 0.90, 0.95) == pytest.approx(b_basis, abs=0.00051)
    assert one_sided_factor(n, 0.95, 0.95) == pytest.approx(tolerance_95, abs=0.00051)
    assert one_sided_factor(n, 0.99, 0.95) == pytest.approx(a_basis, abs=0.00051)


@pytest.mark.parametrize(
    ("n", "factor"),
    # EN 14358:2016, Table 1, k_s for the 5 % fractile at 75 % confidence, as a public calculation quotes it.
    [
        (3, 3.15),
        (5, 2.46),
        (10, 2.10),
        (15, 1.99),
        (20, 1.93),
        (30, 1.87),
        (50, 1.81),
        (100, 1.76),
        (500, 1.69),
    ],
)
def test_characteristic_factor(n: int, factor: float) -> None:
    """The factor of the characteristic value is the timber standard's, to its last digit.

    Its simplified formula (10), (6.5 n + 6) / (3.7 n - 3), lies within 5 % of the table.
    """
    assert one_sided_factor(n, 0.95, 0.75) == pytest.approx(factor, abs=0.0051)
    assert (6.5 * n + 6.0) / (3.7 * n - 3.0) == pytest.approx(factor, rel=0.05)


@pytest.mark.parametrize(
    ("content", "confidence", "n", "factor"),
    # ISO 16269-6:2014, Annex F, m = 1; the standard rounds up in the fourth decimal.
    [
        (0.95, 0.95, 5, 5.0769),
        (0.95, 0.95, 10, 3.3935),
        (0.95, 0.95, 26, 2.6188),
        (0.95, 0.95, 90, 2.2519),
        (0.95, 0.95, 200, 2.1430),
        (0.90, 0.90, 8, 2.7542),
        (0.90, 0.90, 35, 1.9906),
        (0.99, 0.95, 9, 4.6329),
        (0.90, 0.95, 16, 2.4486),
        (0.95, 0.99, 9, 4.5810),
        (0.95, 0.95, 1000, 2.0362),
    ],
)
def test_two_sided_factors(content: float, confidence: float, n: int, factor: float) -> None:
    """The integral gives the standard's factors, allowing for its rounding up."""
    assert factor - 1.1e-4 <= two_sided_factor(n, content, confidence) <= factor + 1e-6


def test_nist_wafers() -> None:
    """NIST e-Handbook 7.2.6.3, 43 wafers, mean 97.07, s 0.0268, 90 % at 99 %: its approximations lie near the exact.

    Natrella's one-sided 1.8752 gives 97.1203 and 97.0197, Howe's two-sided 2.2173 gives 97.0106 and 97.1294. (Older
    copies of the page print 97.07 + 1.8752 x 2.68 = 102.096, a slip: s is 0.0268.)
    """
    one, two = one_sided_factor(43, 0.90, 0.99), two_sided_factor(43, 0.90, 0.99)

    assert one == pytest.approx(1.8752, rel=1e-3)
    assert two == pytest.approx(2.2173, rel=3e-3)
    assert 97.07 + one * 0.0268 == pytest.approx(97.1203, abs=1e-4)
    assert 97.07 - two * 0.0268 == pytest.approx(97.0106, abs=2e-4)


def test_stat17_normal_basis_values() -> None:
    """STAT17 (quoted in cmstatr's validation): normal A-basis 120.336, B-basis 129.287; it rounds its factors."""
    group = describe("g", [Observation("g", str(i), value) for i, value in enumerate(STAT17)])
    shown = next(bound for bound in group.bounds if bound.name == "90/95")
    by_curve = {one.curve: one.value_n for one in shown.curves}

    assert by_curve["normal"] == pytest.approx(129.287, rel=2e-4)
    # The lowest of the curves that fit is shown: here Weibull's, 125.441 in STAT17.
    assert (shown.method, shown.value_n) == ("weibull", pytest.approx(125.441, rel=3e-3))
    assert group.mean_n is not None
    assert group.sd_n is not None
    assert group.mean_n - one_sided_factor(18, 0.99, 0.95) * group.sd_n == pytest.approx(120.336, rel=2e-4)


def test_stat17_weibull_basis_values() -> None:
    """STAT17: Weibull A-basis 109.150, B-basis 125.441, by another method; the profile bound is within 0.5 %."""
    fit = fit_weibull(STAT17)
    assert fit is not None
    sample = sample_of(STAT17, [False] * len(STAT17))

    assert quantile_lower_bound(sample, fit, 0.10, 0.95) == pytest.approx(125.441, rel=3e-3)
    assert quantile_lower_bound(sample, fit, 0.01, 0.95) == pytest.approx(109.150, rel=5e-3)


@pytest.mark.parametrize(
    ("curve", "level"),
    # STAT17, as cmstatr's tests quote it: normal 0.465, log-normal 0.480, Weibull 0.179 (the last two from memory).
    [("normal", 0.465), ("log-normal", 0.480), ("weibull", 0.179)],
)
def test_stat17_goodness_of_fit(curve: Curve, level: float) -> None:
    """Anderson and Darling's observed significance levels of the handbook's program."""
    assert fits(curve, STAT17) == pytest.approx(level, abs=6e-4)


def test_stat17_refuses_a_curve() -> None:
    """Another example of cmstatr's tests, whose STAT17 level for the normal curve is 0.0840."""
    found = fits("normal", SKEWED)

    assert found == pytest.approx(0.0840, abs=6e-5)


def test_outlier_of_the_handbook() -> None:
    """CMH-17-1G 8.3.11.1.1(a), ETW batch 3: maximum normed residual 2.119, critical 2.020, so one outlier."""
    batch = (107.676986, 108.960241, 116.122640, 80.2334815, 106.145570, 104.667866, 104.234953)
    index, statistic, critical = normed_residual(batch)

    assert batch[index] == 80.2334815
    assert statistic == pytest.approx(2.119, abs=6e-4)
    assert critical == pytest.approx(2.020, abs=6e-4)


@pytest.mark.parametrize(
    ("n", "critical"),
    # CMH-17-1G 8.3.11.1.1(a): ETW batch 3 has 7 values, batch 2 has 8.
    [(7, 2.020), (8, 2.127)],
)
def test_outlier_limits(n: int, critical: float) -> None:
    """The critical distance is the handbook's."""
    assert normed_residual([float(i) for i in range(n)])[2] == pytest.approx(critical, abs=6e-4)


@pytest.mark.parametrize(
    ("degrees", "t"),
    # Student's table, 0.975 quantile, as printed in any textbook.
    [(1, 12.706), (2, 4.303), (4, 2.776), (5, 2.571), (9, 2.262), (10, 2.228), (20, 2.086), (30, 2.042)],
)
def test_interval_of_the_mean_is_students(degrees: int, t: float) -> None:
    """With no instrument error the interval of the mean is mean +- t SD / sqrt n, with t from the table."""
    n = degrees + 1
    values = [100.0 + (i % 3) + 0.1 * i for i in range(n)]
    group = describe("g", [Observation("g", str(i), value) for i, value in enumerate(values)])
    assert group.interval is not None
    assert group.interval.high_n is not None
    assert group.sd_n is not None

    half = (group.interval.high_n - group.interval.low_n) / 2.0
    assert half / (group.sd_n / n**0.5) == pytest.approx(t, abs=6e-4)


@pytest.mark.parametrize(
    ("broke", "held", "shape", "scale", "digits"),
    [
        # Lieblein and Zelen 1956; Lawless; Meeker and Escobar: 2.102 and 81.88.
        (BALL_BEARINGS, (), 2.102, 81.88, 1e-4),
        # NIST e-Handbook 8.4.1.3: ten failures, ten units stopped at 500 h: 1.7208 and 606.5280.
        ((54, 187, 216, 240, 244, 335, 361, 373, 375, 386), (500,) * 10, 1.7208, 606.5280, 2e-5),
        # J. Quality Technology 1997, doi 10.1080/00224065.1997.11979730, multiply censored: 2.7540 and 67.9188.
        (
            (45, 46, 34, 45, 32, 24, 58, 79, 56, 63, 34, 50),
            (23, 24, 57, 78, 76, 85, 51, 59),
            2.7540,
            67.9188,
            2e-5,
        ),
        # The New Weibull Handbook, C.5: 2.257 and 4900.1.
        ((1500, 2250, 4000, 4300, 7000), (1750, 5000), 2.257, 4900.1, 1e-4),
    ],
    ids=["ball bearings", "NIST apr413", "JQT 1997", "New Weibull Handbook"],
)
def test_weibull_by_maximum_likelihood(
    broke: tuple[float, ...], held: tuple[float, ...], shape: float, scale: float, digits: float
) -> None:
    """Shape and scale of complete and of right-censored data sets are the published ones."""
    fit = fit_weibull([*broke, *held], [False] * len(broke) + [True] * len(held))

    assert fit is not None
    assert fit.shape == pytest.approx(shape, rel=3 * digits)
    assert fit.scale_n == pytest.approx(scale, rel=digits)


def test_bound_kinds_are_what_their_names_say() -> None:
    """90/95 is what CMH-17's B-basis holds, without the name; the characteristic value is 5 % at 75 % (EN 14358)."""
    group = describe("g", [Observation("g", str(i), value) for i, value in enumerate(STAT17)])

    kinds = {bound.name: BoundKind(bound.name, bound.content, bound.confidence) for bound in group.bounds}
    assert kinds["90/95"] == BoundKind("90/95", 0.90, 0.95)
    assert kinds["characteristic"] == BoundKind("characteristic", 0.95, 0.75)
    assert kinds["95/95"] == BoundKind("95/95", 0.95, 0.95)
