"""Few specimens, some only "at least": what all groups together tell of their scatter, and what a verdict rests on."""

import numpy as np
import pytest
from scipy import optimize, stats

from breakyard.comparison import Comparison, Observation, compare
from breakyard.comparison.common_scatter import Model
from breakyard.comparison.many_pairs import ManyPairs
from breakyard.comparison.pairwise import own_scatter
from breakyard.comparison.reference import contrast_factor


def group(name: str, *loads: float, held: tuple[float, ...] = ()) -> list[Observation]:
    """Breaks, then bounds."""
    return [Observation(name, f"{name}{i}", load) for i, load in enumerate(loads)] + [
        Observation(name, f"{name}-held{i}", load, at_least=True) for i, load in enumerate(held)
    ]


SCREWED = group("screwed", 383.0, 409.0, held=(342.0,))
BONDED = group("bonded", 447.0, 468.0, held=(456.0,))
BOLTED = group("through-bolted", 934.0, 981.0, held=(1286.0,))


def verdicts(comparison: Comparison) -> dict[tuple[str, str], str]:
    """By the names of the pair."""
    return {(pair.first, pair.second): pair.verdict for pair in comparison.pairs}


def test_three_of_each_with_one_at_least_are_told_apart() -> None:
    """Groups a factor of two apart no longer end in "can't tell"; the two that are near each other still do."""
    comparison = compare([*SCREWED, *BONDED, *BOLTED])

    assert verdicts(comparison) == {
        ("screwed", "bonded"): "too_few",
        ("screwed", "through-bolted"): "second_more",
        ("bonded", "through-bolted"): "second_more",
    }
    sentence = comparison.pairs[1].sentence
    assert sentence.startswith("through-bolted carries about 1.3")
    assert "times what screwed carries" in sentence
    assert "all groups to scatter alike" in sentence


def height(logs: np.ndarray, broke: np.ndarray, groups: np.ndarray, ties: dict[int, int]) -> float:
    """Log likelihood of Weibull loads with one shape by a general optimiser; tied groups share their scale."""
    level = np.array([ties.get(int(g), int(g)) for g in groups])
    names = np.unique(level)

    def cost(x: np.ndarray) -> float:
        z = (logs - x[np.searchsorted(names, level)]) * np.exp(x[-1])
        return -float((stats.gumbel_l.logpdf(z[broke]) + x[-1]).sum() + stats.gumbel_l.logsf(z[~broke]).sum())

    start = np.array([*(logs[level == name].mean() for name in names), 2.0])
    options = {"maxiter": 20_000, "maxfev": 20_000, "xatol": 1e-9, "fatol": 1e-11}
    return -float(optimize.minimize(cost, start, method="Nelder-Mead", options=options).fun)


@pytest.mark.parametrize(("first", "second"), [(0, 2), (1, 2), (0, 1)])
def test_likelihood_ratios_are_those_of_a_general_optimiser(first: int, second: int) -> None:
    """One Weibull shape for all, one scale each, against two groups with the same scale."""
    pulls = [SCREWED, BONDED, BOLTED]
    logs = np.log([p.value_n for group in pulls for p in group])
    broke = np.array([not p.at_least for group in pulls for p in group])
    groups = np.repeat([0, 1, 2], 3)
    expected = 2.0 * (height(logs, broke, groups, {}) - height(logs, broke, groups, {second: first}))
    found = Model(pulls).contrasts(first, second, among=ManyPairs(3, 3))
    ratio = next(one.statistic for one in found if one.family == "weibull")

    assert ratio == pytest.approx(expected, abs=1e-5)


def test_a_verdict_counts_all_pairs_that_are_looked_at() -> None:
    """The same two groups: more doubtful with a third beside them, by what Sidak's formula gives or a little less."""
    third = group("c", 700.0, 730.0, held=(690.0,))
    pulls = [group("a", 383.0, 409.0, held=(342.0,)), group("b", 470.0, 490.0, held=(466.0,)), third]
    model = Model(pulls)
    for alone, among in zip(
        model.contrasts(0, 1, among=ManyPairs(3, 1)),
        model.contrasts(0, 1, among=ManyPairs(3, 3)),
        strict=True,
    ):
        assert alone.p < among.p <= 1.0 - (1.0 - alone.p) ** 3 + 1e-12
        assert among.ratio_low is not None
        assert alone.ratio_low is not None
        assert among.ratio_low < alone.ratio_low
    assert compare([p for one in pulls for p in one]).pairs[0].p == pytest.approx(
        max(one.p for one in model.contrasts(0, 1, among=ManyPairs(3, 3)))
    )


@pytest.mark.parametrize(
    ("pairs", "p", "together"), [(1, 0.02, 0.02), (3, 0.01, 0.029701), (6, 0.05, 0.264908)]
)
def test_sidak(pairs: int, p: float, together: float) -> None:
    """1 - (1 - p)^pairs, and the coverage of one pair that belongs to it."""
    many = ManyPairs(4, pairs)

    assert many.probability(p) == pytest.approx(together, abs=1e-6)
    assert many.of_one**pairs == pytest.approx(0.95)
    assert many.probability(1.0 - many.of_one) == pytest.approx(0.05)


def test_pairs_that_share_a_scatter_use_the_studentized_range() -> None:
    """NIST e-Handbook 7.4.7.1: q(4; 16) = 4.05 at 5 %, so |t| = 4.05 / sqrt 2; p and limit belong together."""
    many = ManyPairs(4, 6)

    assert many.limit_of_t(16) * 2**0.5 == pytest.approx(4.05, abs=0.006)
    assert many.probability_of_t(many.limit_of_t(16), 16) == pytest.approx(0.05, abs=1e-6)
    assert ManyPairs(4, 1).limit_of_t(16) == pytest.approx(
        2.1199, abs=1e-4
    )  # Student's table, 16 degrees of freedom


def test_two_that_happen_to_agree_are_no_proof_against_twenty() -> None:
    """2 against 20: Welch's test trusts the two's own scatter and is sure; the scatter of all 22 is not."""
    rng = np.random.default_rng(5)
    many = group("b", *(100.0 + 5.0 * stats.norm.ppf((np.arange(20) + 0.5) / 20) + 0.001 * rng.random(20)))
    few = group("a", 106.0, 106.1)
    welch = own_scatter(few, many)
    pair = compare([*few, *many]).pairs[0]

    assert welch is not None
    assert welch.p < 0.001
    assert pair.verdict == "too_few"
    assert pair.p is not None
    assert pair.p > 0.05


def test_groups_that_scatter_differently_keep_their_own_scatter() -> None:
    """Scatter of 1 % beside 40 %: the common scatter is refused and said to be; the tight groups are told apart."""
    comparison = compare(
        [
            *group("a", 100.0, 101.0, 102.0, 100.5),
            *group("b", 100.0, 150.0, 70.0, 60.0, 180.0),
            *group("c", 108.0, 109.0, 107.0, 108.5),
        ]
    )

    assert comparison.scatter is not None
    assert not comparison.scatter.alike
    assert any("do not scatter alike" in note for note in comparison.notes)
    assert verdicts(comparison)["a", "c"] == "second_more"
    assert verdicts(comparison)["a", "b"] == "too_few"


def test_the_assumption_is_said() -> None:
    """Where the groups may well scatter alike it is a note, with its probability, and a warning if few show it."""
    (note,) = (line for line in compare([*SCREWED, *BONDED, *BOLTED]).notes if "one scatter" in line)

    assert "nothing against it (p = " in note
    assert "only a large difference" in note


def test_a_group_in_which_nothing_broke_can_carry_more() -> None:
    """Two broke at 400 and 410 N, three held 800 N and more: at least so many times, with an open end."""
    pair = compare([*group("a", 400.0, 410.0, 405.0), *group("b", held=(800.0, 900.0, 850.0))]).pairs[0]

    assert (pair.verdict, pair.method) == ("second_more", "survivors")
    assert pair.ratio_low is None
    assert pair.ratio_high is not None
    assert pair.sentence.startswith("b carries at least 1.9")
    assert "nothing of b broke" in pair.sentence


def test_bounds_near_the_others_breaks_show_nothing() -> None:
    """Three that held 405 N beside breaks at 400 to 410 N: no verdict."""
    pair = compare([*group("a", 400.0, 410.0, 405.0), *group("b", held=(405.0, 404.0, 406.0))]).pairs[0]

    assert pair.verdict == "too_few"


def test_surviving_equals_are_seldom_called_stronger() -> None:
    """Three that held, against three that broke, all of one kind: the weakest of six to break is rarely so far up."""
    rng = np.random.default_rng(12)
    wrong = 0
    for _ in range(300):
        loads = 1000.0 * rng.weibull(8.0, 6)
        held = group("b", held=tuple(loads[3:] * (1.0 - 1e-9)))
        found = Model([group("a", *loads[:3]), held]).contrasts(0, 1, among=ManyPairs())
        wrong += max(one.p for one in found) <= 0.05

    assert wrong / 300 <= 0.05 + 3.0 * (0.05 * 0.95 / 300) ** 0.5


def test_the_factor_is_one_for_complete_log_normal_groups() -> None:
    """There T is the square of Student's t; elsewhere it is near, and deterministic."""
    assert contrast_factor("log-normal", (0, 0, 0), (0, 0, 0), 2) == 1.0
    factor = contrast_factor("weibull", (0, 0, 0), (0, 0, 0), 2)

    assert 1.05 < factor < 1.30
    assert contrast_factor("weibull", (0, 0, 0), (0, 0, 0), 2) == factor


def test_complete_groups_agree_with_students_t() -> None:
    """Log-normal, nothing censored, one pair: probability and interval of the pooled t test on logarithms."""
    a, b = (310.0, 330.0, 325.0, 318.0), (400.0, 370.0, 390.0)
    found = Model([group("a", *a), group("b", *b)]).contrasts(0, 1, among=ManyPairs())
    one = next(one for one in found if one.family == "log-normal")
    expected = stats.ttest_ind(np.log(a), np.log(b))
    low, high = np.exp(expected.confidence_interval())

    assert one.p == pytest.approx(expected.pvalue, rel=1e-6)
    assert (one.ratio_low, one.ratio_high) == pytest.approx((low, high), rel=1e-6)


def test_an_error_left_on_the_ratio_widens_it() -> None:
    """It makes the interval wider and the probability larger, and moves no estimate."""
    model = Model([group("a", 310.0, 330.0, 325.0, held=(340.0,)), group("b", 400.0, 410.0, 430.0)])
    for plain, doubted in zip(
        model.contrasts(0, 1, among=ManyPairs()),
        model.contrasts(0, 1, among=ManyPairs(), instrument=0.05),
        strict=True,
    ):
        assert doubted.ratio == plain.ratio
        assert doubted.ratio_low is not None
        assert plain.ratio_low is not None
        assert doubted.ratio_low < plain.ratio_low
        assert doubted.p >= plain.p


def test_equal_groups_of_four_with_the_strongest_off_scale() -> None:
    """100 pairs: called different in about 5 % or fewer."""
    rng = np.random.default_rng(21)
    refused = 0
    for _ in range(100):
        a, b = (np.sort(1000.0 * rng.weibull(8.0, 4)) for _ in range(2))
        found = Model([group("a", *a[:3], held=(a[2],)), group("b", *b[:3], held=(b[2],))]).contrasts(
            0, 1, among=ManyPairs()
        )
        refused += max(one.p for one in found) <= 0.05

    assert refused / 100 <= 0.05 + 3.0 * (0.05 * 0.95 / 100) ** 0.5
