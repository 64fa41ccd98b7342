"""The log-linear model against R: lm with type II tests, and survreg with "at least" values.

The loads are invented; the numbers are R's. R 4.2.2, survival 3.5-3, car 3.1-1, with the columns below as data frame d
(wood's levels in the order oak, ash, elm; direction's along, across; day a factor):

    m <- lm(log(load) ~ day + wood + direction + t, d); coef(summary(m)); sigma(m); car::Anova(m, type = 2)
    anova(m, lm(log(load) ~ day + wood * direction + t, d))
    s <- survreg(Surv(pmin(load, 1150), load < 1150) ~ day + wood + direction + t, d, dist = "weibull" or "lognormal")
"""

import math

import numpy as np
import pytest

from breakyard.comparison.factors.law import Campaign
from breakyard.comparison.factors.terms import Cause, Design, PulledSpecimen
from breakyard.comparison.log_linear import Family, standard_errors
from breakyard.comparison.observations import Observation

LOADS = (
    (1063, "oak", "along", "1", 12.5), (1099, "oak", "along", "1", 9.0), (660, "oak", "across", "1", 15.5),
    (681, "oak", "across", "1", 15.1), (1291, "ash", "along", "1", 8.5), (1326, "ash", "along", "1", 9.3),
    (877, "ash", "across", "1", 13.9), (851, "ash", "across", "1", 11.1), (921, "elm", "along", "1", 16.8),
    (844, "elm", "along", "1", 13.6), (629, "elm", "across", "1", 21.7), (604, "elm", "across", "1", 12.1),
    (1114, "oak", "along", "2", 10.0), (1069, "oak", "along", "2", 19.4), (666, "oak", "across", "2", 10.5),
    (681, "oak", "across", "2", 13.2), (1372, "ash", "along", "2", 15.7), (1383, "ash", "along", "2", 10.9),
    (855, "ash", "across", "2", 17.5), (921, "ash", "across", "2", 16.2), (878, "elm", "along", "2", 14.3),
    (990, "elm", "along", "2", 17.8), (576, "elm", "across", "2", 11.4), (575, "elm", "across", "2", 20.3),
)  # fmt: skip
TERMS = (
    Cause("day", "block"),
    Cause("wood", "factor"),
    Cause("direction", "factor"),
    Cause("t", "condition"),
)
TOGETHER = Cause("wood and direction", "together", ("wood", "direction"))
CONTRASTS = (
    {("day", "2"): 1.0, ("day", "1"): -1.0},
    {("wood", "ash"): 1.0, ("wood", "oak"): -1.0},
    {("wood", "elm"): 1.0, ("wood", "oak"): -1.0},
    {("direction", "across"): 1.0, ("direction", "along"): -1.0},
    {("t",): 1.0},
)


def rows(cut: float = math.inf) -> list[PulledSpecimen]:
    return [
        PulledSpecimen(
            Observation("g", str(n), float(min(load, cut)), at_least=load >= cut),
            {"wood": wood, "direction": direction, "day": day},
            {"t": t},
        )
        for n, (load, wood, direction, day, t) in enumerate(LOADS)
    ]


def fitted(
    family: Family, cut: float = math.inf, terms: tuple[Cause, ...] = TERMS
) -> tuple[Design, Campaign]:
    made = rows(cut)
    design = Design(made, terms)
    logs = np.log([row.pull.value_n for row in made])
    return design, Campaign(design.matrix, logs, np.array([not row.pull.at_least for row in made]), family)


def sums(design: Design) -> np.ndarray:
    found = [design.sum_of(shares) for shares in CONTRASTS]
    assert all(one is not None for one in found)
    return np.array(found)


def test_complete_loads_agree_with_least_squares() -> None:
    design, campaign = fitted("log-normal")
    estimates, errors = campaign.estimates(sums(design))
    assert estimates == pytest.approx(
        [0.00848326498948, 0.23917916022958, -0.15964664045400, -0.44806394685616, 0.00317844584464], rel=1e-9
    )
    assert errors == pytest.approx(
        [0.0170892754150, 0.0203517795516, 0.0217183820292, 0.0172349782973, 0.0026718577504], rel=1e-9
    )
    assert campaign.scale == pytest.approx(0.0406793815753, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "f", "p"),
    [
        ("day", 0.24642, 0.62561),
        ("wood", 170.99994, 1.9531e-12),
        ("direction", 675.86276, 9.9861e-16),
        ("t", 1.41515, 0.24966),
    ],
)
def test_each_cause_after_all_others_is_the_type_ii_analysis_of_variance(
    name: str, f: float, p: float
) -> None:
    term = next(one for one in TERMS if one.name == name)
    others = tuple(one for one in TERMS if one is not term)
    design, campaign = fitted("log-normal", terms=(*others, term))
    columns = [n for n, column in enumerate(design.kept) if design.owner[column] == len(others)]
    assert campaign.test(columns) == pytest.approx((f, p), rel=1e-4)


def test_two_factors_together_are_tested_as_by_two_nested_models() -> None:
    design, campaign = fitted("log-normal", terms=(*TERMS, TOGETHER))
    columns = [n for n, column in enumerate(design.kept) if design.owner[column] == len(TERMS)]
    assert campaign.test(columns) == pytest.approx((1.205, 0.32548), rel=1e-4)


SURVREG: dict[Family, tuple[list[float], float, list[float], float]] = {
    "weibull": (
        [0.00387699367369, 0.25920705363415, -0.13749673060469, -0.46879073403282, 0.00296848784277],
        0.032021480143,
        [0.01572192932617, 0.02440467397289, 0.02165093503668, 0.01851536349510, 0.00236860004505],
        64.8099509107,
    ),
    "log-normal": (
        [0.00317692430046, 0.24674457273824, -0.15813212973342, -0.45228387393315, 0.00264703857526],
        0.037348719379,
        [0.01688267057942, 0.02488073456842, 0.02013646090978, 0.01879304287746, 0.00264314064094],
        62.6738696739,
    ),
}
"""Coefficients, scale, standard errors (asymptotic), and the likelihood ratio of wood."""


@pytest.mark.parametrize("family", ["weibull", "log-normal"])
def test_loads_with_bounds_agree_with_survreg(family: Family) -> None:
    expected, scale, errors, ratio = SURVREG[family]
    design, campaign = fitted(family, cut=1150.0)
    assert campaign.breaks == 20
    asked = sums(design)
    found, _ = campaign.estimates(asked)
    assert found == pytest.approx(expected, rel=1e-5, abs=1e-9)
    assert float(campaign.fit.scale[0]) == pytest.approx(scale, rel=1e-6)
    own = standard_errors(campaign.covariances, asked)[0]
    # Ours have the degrees of freedom that the columns leave; survreg's are asymptotic.
    asymptotic = own * math.sqrt(campaign.freedom / campaign.breaks)
    assert asymptotic == pytest.approx(errors, rel=1e-5)
    without = fitted(family, 1150.0, tuple(one for one in TERMS if one.name != "wood"))[1]
    height = 2.0 * float(campaign.fit.height[0] - without.fit.height[0])
    assert height == pytest.approx(ratio, rel=1e-6)


def test_many_ratios_together_reach_as_far_as_tukey_says() -> None:
    """Balanced one-way, all pairs: the law is the studentized range (qtukey(0.95, 3, 9) / sqrt(2) = 2.7920, R)."""
    from breakyard.comparison.factors.law import Together

    made = [
        PulledSpecimen(Observation("g", f"{level}{n}", 100.0 + 10.0 * place + n), {"f": level}, {})
        for place, level in enumerate("abc")
        for n in range(4)
    ]
    design = Design(made, [Cause("f", "factor")])
    campaign = Campaign(
        design.matrix, np.log([row.pull.value_n for row in made]), np.ones(12, dtype=bool), "log-normal"
    )
    pairs = [design.sum_of({("f", a): 1.0, ("f", b): -1.0}) for a, b in ("ab", "ac", "bc")]
    law = campaign.law(np.array([one for one in pairs if one is not None]))
    assert Together.of(law, campaign).limit(0.95) == pytest.approx(2.7920, rel=0.01)
