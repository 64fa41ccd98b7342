"""Specimens per group against published sample sizes."""

import pytest

from breakyard.plan.specimens import power, specimens_per_group


@pytest.mark.parametrize(
    ("effect", "n"),
    # Cohen, Statistical Power Analysis for the Behavioral Sciences, table 2.4: two-sided 5 %, power 0.80 (from memory).
    [(0.50, 64), (0.80, 26), (1.00, 17)],
)
def test_cohens_sample_sizes(effect: float, n: int) -> None:
    """A difference of so many standard deviations takes as many specimens per group as Cohen's table says."""
    assert specimens_per_group(effect * 0.1, 0.1) == n


def test_power_t_test_of_r() -> None:
    """R, power.t.test(delta = 0.75, sd = 2.25, power = 0.9): n = 190.0991, so 191 (UVA StatLab, PASS in R, 1.1.1)."""
    assert specimens_per_group(0.75 / 2.25 * 0.3, 0.3, power_wanted=0.9) == 191
    assert power(190, 0.1, 0.3) < 0.9 < power(191, 0.1, 0.3)
