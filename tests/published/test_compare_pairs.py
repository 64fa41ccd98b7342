"""Tests between groups against published results; the source stands beside each."""

import itertools
import math
from collections.abc import Mapping, Sequence

import numpy as np
import pytest

from breakyard.comparison import Comparison, Observation, compare
from breakyard.comparison.anova import one_way, welch_f
from breakyard.comparison.pairwise import welch
from breakyard.comparison.studentized import interval_factor, range_tail
from breakyard.comparison.survival import kaplan_meier, log_rank

S355 = {
    # Direction: (upper-yield force kN, peak force kN). Open data set of ISO 6892-1 tests of S355 steel by a national
    # materials laboratory (materialdigital/tensile-test-ontology, S355_data.csv; Zenodo record 6778336).
    "along": ((45.842, 62.007), (45.648, 60.704), (45.63, 60.68), (46.566, 62.288)),
    "across": ((48.151, 61.305), (48.163, 61.2), (49.23, 60.935), (49.077, 61.98)),
    "diagonal": ((48.165, 62.168), (47.8, 61.681)),
}
PAIN = {
    # McClave and Dietrich 1991, pain threshold by hair colour.
    "LB": (62, 60, 71, 55, 48),
    "DB": (63, 57, 52, 41, 43),
    "LBr": (42, 50, 41, 37),
    "DBr": (32, 39, 51, 30, 35),
}


def observations(groups: Mapping[str, Sequence[float]]) -> list[Observation]:
    """One observation per value."""
    return [
        Observation(name, f"{name} {i}", float(value))
        for name, values in groups.items()
        for i, value in enumerate(values)
    ]


def s355(which: int) -> Comparison:
    """The steel's forces in newtons, compared by direction."""
    return compare(observations({name: [1000.0 * row[which] for row in rows] for name, rows in S355.items()}))


def test_yield_differs_by_direction() -> None:
    """S355: along yields below across and diagonal; those two are not told apart."""
    verdicts = {(pair.first, pair.second): pair.verdict for pair in s355(0).pairs}

    assert verdicts == {
        ("along", "across"): "second_more",
        ("along", "diagonal"): "second_more",
        ("across", "diagonal"): "no_difference_shown",
    }


def test_peak_does_not_differ_by_direction() -> None:
    """S355: no direction's peak force differs, and a difference of 10 % is ruled out for every pair."""
    assert {pair.verdict for pair in s355(1).pairs} == {"no_difference_shown"}


def test_s355_welch() -> None:
    """Along against across on the published columns: t = -7.519, df 5.601 (yield); t = 0.135, df 4.53 (peak).

    The columns are published; these figures were computed from them with scipy, so they pin, and prove little.
    """
    for which, t, df in ((0, -7.519, 5.601), (1, 0.135, 4.53)):
        found = welch(*([1000.0 * row[which] for row in S355[name]] for name in ("along", "across")))
        assert found is not None
        assert found.t == pytest.approx(t, abs=6e-4)
        assert found.degrees_of_freedom == pytest.approx(df, abs=6e-3)


def test_nist_sirstv() -> None:
    """NIST StRD SiRstv, certified to 15 digits; three leading digits are common to all values."""
    data = (
        (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
        (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
        (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
        (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
        (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
    )
    found = one_way(data)

    assert found.between_ss == pytest.approx(5.11462616000000e-02, rel=1e-11)
    assert found.within_ss == pytest.approx(2.16636560000000e-01, rel=1e-11)
    assert (found.between_df, found.within_df) == (4, 20)
    assert found.f == pytest.approx(1.18046237440255, rel=1e-11)
    assert found.pooled_sd == pytest.approx(1.04076068334656e-01, rel=1e-11)


def test_hardwood_tensile_strength() -> None:
    """Montgomery and Runger, chapter 13, tensile strength by hardwood share: F = 19.61, pooled SD 2.551, SS 382.79."""
    data = (
        (7, 8, 15, 11, 9, 10),
        (12, 17, 13, 18, 19, 15),
        (14, 18, 19, 17, 16, 18),
        (19, 25, 22, 23, 18, 20),
    )
    found = one_way(data)

    assert found.f == pytest.approx(19.61, abs=0.006)
    assert found.pooled_sd == pytest.approx(2.551, abs=6e-4)
    assert found.between_ss == pytest.approx(382.79, abs=0.006)
    assert found.within_ss == pytest.approx(130.17, abs=0.006)


def test_tukey_intervals_of_the_hardwood_data() -> None:
    """Montgomery and Runger, table S13-2: half-width with the critical value 3.96, and the six printed intervals.

    The critical value is printed with three digits: exact 3.95829, half-width 4.1226 against 4.1243 from 3.96.
    """
    means, mean_square, per_group = (10.0, 94 / 6, 17.0, 127 / 6), 130.0 + 1 / 6, 6
    factor = interval_factor(4, 20.0, 0.95)
    half = factor * math.sqrt(2.0 * mean_square / 20 / per_group)
    printed = [
        (1.542, 9.791),
        (2.876, 11.124),
        (7.042, 15.291),
        (-2.791, 5.458),
        (1.376, 9.624),
        (0.042, 8.291),
    ]

    assert math.sqrt(2.0) * factor == pytest.approx(3.96, abs=0.003)
    for (first, second), (low, high) in zip(itertools.combinations(means, 2), printed, strict=True):
        assert second - first - half == pytest.approx(low, abs=0.003)
        assert second - first + half == pytest.approx(high, abs=0.003)


def test_nist_one_way() -> None:
    """NIST e-Handbook 7.4.3: sums of squares 27.897 and 17.452, F = 9.59."""
    found = one_way(((6.9, 5.4, 5.8, 4.6, 4.0), (8.3, 6.8, 7.8, 9.2, 6.5), (8.0, 10.5, 8.1, 6.9, 9.3)))

    assert found.between_ss == pytest.approx(27.897, abs=6e-4)
    assert found.within_ss == pytest.approx(17.452, abs=6e-4)
    assert found.f == pytest.approx(9.59, abs=0.006)


def test_welch_f_of_pain_threshold() -> None:
    """McClave and Dietrich 1991, as JASP prints it: F 5.8901, df 3 and 8.3298, p 0.0188."""
    found = welch_f(list(PAIN.values()))

    assert found is not None
    assert found.f == pytest.approx(5.8901, abs=6e-5)
    assert (found.between_df, found.within_df) == (3, pytest.approx(8.3298, abs=6e-5))
    assert found.p == pytest.approx(0.0188, abs=6e-5)


@pytest.mark.parametrize(
    ("first", "second", "p", "t", "df"),
    # McClave and Dietrich 1991, Games-Howell as JASP prints it.
    [
        ("DB", "DBr", 0.1401, 2.47, 7.91),
        ("DB", "LB", 0.5228, 1.42, 7.94),
        ("DB", "LBr", 0.3715, 1.75, 6.56),
        ("DBr", "LB", 0.0148, 4.09, 8.00),
        ("DBr", "LBr", 0.6980, 1.11, 6.82),
        ("LB", "LBr", 0.0378, 3.56, 6.77),
    ],
)
def test_games_howell_of_pain_threshold(first: str, second: str, p: float, t: float, df: float) -> None:
    """Every pair of hair colours has the published t, degrees of freedom and probability."""
    found = welch(PAIN[first], PAIN[second], groups=4)

    assert found is not None
    assert abs(found.t) == pytest.approx(t, abs=0.006)
    assert found.degrees_of_freedom == pytest.approx(df, abs=0.006)
    assert found.p == pytest.approx(p, abs=6e-5)


SPSS_GROUPS = ((30, 23, 51), (-81, 71, -27, 63), (42, 11, 29, 19, 50), (23, 22, 20, 18, 9))


@pytest.mark.parametrize(
    ("i", "j", "difference", "low", "high", "p"),
    # SPSS ONEWAY with post hoc Games-Howell, output quoted in scipy's tests.
    [
        (0, 1, 28.16666667, -141.985416377670, 198.318749711003, 0.8727542747886180),
        (0, 2, 4.466666667, -37.2830676783904, 46.2164010117237, 0.9752628408671710),
        (0, 3, 16.26666667, -35.0933112382470, 67.6266445715803, 0.4262506151302880),
        (1, 2, -23.70000000, -195.315617201249, 147.915617201249, 0.9148950609000590),
        (1, 3, -11.90000000, -188.105478728519, 164.305478728519, 0.9861432250093960),
        (2, 3, 11.80000000, -16.2894857524254, 39.8894857524254, 0.4755344436335670),
    ],
)
def test_games_howell_of_spss(i: int, j: int, difference: float, low: float, high: float, p: float) -> None:
    """Unequal sizes and very unequal scatter: difference, interval and probability as SPSS prints them."""
    found = welch(SPSS_GROUPS[i], SPSS_GROUPS[j], groups=4)

    assert found is not None
    assert found.difference == pytest.approx(difference, abs=1e-7)
    assert found.low == pytest.approx(low, abs=1e-4)
    assert found.high == pytest.approx(high, abs=1e-4)
    assert found.p == pytest.approx(p, abs=1e-7)


def with_moments(n: int, mean: float, sd: float) -> list[float]:
    """A group that has exactly this mean and standard deviation."""
    shape = np.linspace(-1.0, 1.0, n)
    values = mean + sd * shape / np.std(shape, ddof=1)
    return [float(value) for value in values]


def test_welch_of_car_mileage() -> None:
    """NIST e-Handbook 1.3.5.3, AUTO83B: unequal variances t = -12.94627, df 136.8750 (these two from memory)."""
    found = welch(with_moments(249, 20.14458, 6.41470), with_moments(79, 30.48101, 6.10771))

    assert found is not None
    assert found.t == pytest.approx(-12.94627, abs=2e-5)
    assert found.degrees_of_freedom == pytest.approx(136.8750, abs=6e-4)


def test_welch_of_assembly_times() -> None:
    """NIST e-Handbook 7.3.1 (from memory): t = 2.2694 with 15.5 degrees of freedom."""
    found = welch((32, 37, 35, 28, 41, 44, 35, 31, 34, 38, 42), (36, 31, 30, 31, 34, 36, 29, 32, 31))

    assert found is not None
    assert found.t == pytest.approx(2.2694, abs=6e-5)
    assert found.degrees_of_freedom == pytest.approx(15.5, abs=0.06)


@pytest.mark.parametrize(
    ("groups", "freedom", "q"),
    # Studentized range, 5 %: NIST e-Handbook 7.4.7.1 prints q(4; 16) = 4.05; Montgomery and Runger q(4; 20) = 3.96.
    [(4, 16, 4.05), (4, 20, 3.96)],
)
def test_studentized_range(groups: int, freedom: int, q: float) -> None:
    """At the printed q the probability is 5 %, as far as its digits go."""
    assert range_tail(q, groups, freedom) == pytest.approx(0.05, abs=5e-4)
    assert interval_factor(groups, freedom, 0.95) * 2**0.5 == pytest.approx(q, abs=6e-3)


@pytest.mark.parametrize(
    ("first", "first_held", "second", "second_held", "chi2"),
    [
        # Boston University, School of Public Health, survival analysis module: 6.915 (digits: R survival's survdiff).
        ((8, 12, 26, 14, 21, 27), (8, 32, 20, 40), (33, 28, 41), (48, 48, 25, 37, 48, 25, 43), 6.91598157449),
        # The same module, second example.
        ((19, 6, 5, 4), (20, 19, 17, 14), (16, 21, 7), (21, 15, 18, 18, 5), 0.835004855038),
        # Bland and Altman, The logrank test, BMJ 328 (2004) 1073: 7.5 in print.
        (
            (6, 13, 21, 30, 37, 38, 49, 50, 63, 79, 86, 98, 202, 219),
            (31, 47, 80, 82, 82, 149),
            (
                *(10, 10, 12, 13, 14, 15, 16, 17, 18, 20, 24, 24, 25, 28, 30, 33, 35, 37, 40, 40, 46, 48),
                *(76, 81, 82, 91, 112, 181),
            ),
            (34, 40, 70),
            7.49659416854,
        ),
    ],
    ids=["BUMC 1", "BUMC 2", "Bland and Altman"],
)
def test_log_rank(
    first: tuple[int, ...],
    first_held: tuple[int, ...],
    second: tuple[int, ...],
    second_held: tuple[int, ...],
    chi2: float,
) -> None:
    """The log-rank chi-squared is the published one."""
    found = log_rank(
        [*first, *first_held],
        [False] * len(first) + [True] * len(first_held),
        [*second, *second_held],
        [False] * len(second) + [True] * len(second_held),
    )

    assert found.chi2 == pytest.approx(chi2, abs=1e-9)


def test_kaplan_meier_of_freireich() -> None:
    """Freireich and others 1963, 6-MP group: the curve of every textbook (from memory): 0.857 at 6 ... 0.448 at 23."""
    broke = (6, 6, 6, 7, 10, 13, 16, 22, 23)
    held = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)
    steps = kaplan_meier([*broke, *held], [False] * len(broke) + [True] * len(held))

    assert [step.load_n for step in steps] == [6, 7, 10, 13, 16, 22, 23]
    shares = [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448]
    assert [step.share for step in steps] == pytest.approx(shares, abs=6e-4)
    assert [step.at_risk for step in steps] == [21, 17, 15, 12, 11, 7, 6]
