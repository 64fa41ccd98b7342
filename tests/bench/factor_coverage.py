"""Do ratios by factors hold what they promise? Run: python tests/bench/factor_coverage.py --campaigns 1000

Simulated campaigns of two factors (3 and 2 levels) over two days, two specimens of each combination a day, from Weibull
and log-normal strengths; complete, and with the strongest cut off at a fixed load ("at least"). Counts, with binomial
standard errors: how often any ratio between equal levels is called different (promised: 5 % of campaigns), how often
all ratios of a campaign hold the truth together (95 %), how often a day's shift does (95 %), and how often factors that
act independently are said to act together (5 %).
"""

import argparse
import math

import numpy as np

from breakyard.comparison.factors import FactorComparison, PulledSpecimen, compare_factors
from breakyard.comparison.observations import Observation

MATERIALS = {"a": 0.0, "b": math.log(1.316), "c": math.log(0.9)}
DIRECTIONS = {"flat": 0.0, "edge": -0.2}
DAYS = {"1": 0.0, "2": 0.04}
NAMES = {"material": MATERIALS, "direction": DIRECTIONS, "day": DAYS}


def campaign(
    rng: np.random.Generator, curve: str, cv: float, cut: float | None, *, alike: bool
) -> FactorComparison:
    """One campaign, compared. cut: share of a typical specimens' strengths beyond which a scale ends."""
    rows = []
    for day, shift in DAYS.items():
        for material, of_material in MATERIALS.items():
            for direction, of_direction in DIRECTIONS.items():
                for number in range(2):
                    level = shift + (0.0 if alike else of_material + of_direction)
                    noise = (
                        cv * rng.standard_normal()
                        if curve == "log-normal"
                        else cv * math.sqrt(6.0) / math.pi * math.log(rng.exponential())
                    )
                    load = math.exp(level + noise)
                    end = math.inf if cut is None else cut
                    rows.append(
                        PulledSpecimen(
                            Observation(
                                f"{material} {direction}",
                                f"{material}{direction}{day}{number}",
                                1000.0 * min(load, end),
                                at_least=load > end,
                            ),
                            {"material": material, "direction": direction, "day": day},
                            {},
                        )
                    )
    return compare_factors(rows, factors=["material", "direction"], block="day")


def main() -> None:
    """Print one line for each kind of campaign."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--campaigns", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    print(f"{asked.campaigns} campaigns of 24 specimens each, seed {asked.seed}")
    for curve, cv in (("weibull", 0.08), ("log-normal", 0.08), ("weibull", 0.25)):
        for cut in (None, 1.12):
            for alike in (True, False):
                line(asked.campaigns, asked.seed, curve, cv, cut, alike=alike)


def line(campaigns: int, seed: int, curve: str, cv: float, cut: float | None, *, alike: bool) -> None:
    """Count over campaigns of one kind, and print."""
    rng = np.random.default_rng([seed, round(100 * cv), int(cut is not None), int(alike), len(curve)])
    called, held, together, shifts, dropped, bounds = [], [], [], [], 0, 0
    for _ in range(campaigns):
        found = campaign(rng, curve, cv, cut, alike=alike)
        bounds += found.specimens - found.breaks
        dropped += bool(found.left_out)
        together += [one.shown for one in found.together]
        called.append(any(one.verdict in ("first_more", "second_more") for one in found.ratios))
        truths = []
        for one in found.ratios:
            of = NAMES[one.factor]
            true = 1.0 if alike else math.exp(of[one.first] - of[one.second])
            truths.append(one.ratio_low <= true <= one.ratio_high)
        held.append(all(truths))
        true_shift = math.exp(DAYS["2"] - DAYS["1"])
        shifts += [one.ratio_low <= true_shift <= one.ratio_high for one in found.shifts]
    share = float(np.mean(held))
    error = math.sqrt(max(share * (1.0 - share), 1e-6) / campaigns)
    parts = [
        f"{curve:10s} CV {cv:4.2f}",
        f"cut at {cut}" if cut else "complete   ",
        "alike    " if alike else "different",
        f'"at least" {bounds / campaigns / 24:5.3f}',
        f"called different {np.mean(called):5.3f}" if alike else "",
        f"all ratios hold {share:6.4f} +- {error:.4f}",
        f"shift holds {np.mean(shifts):6.4f}",
        f"said to act together {np.mean(together):5.3f}",
        f"levels left out {dropped / campaigns:5.3f}" if dropped else "",
    ]
    print("  ".join(part for part in parts if part), flush=True)


if __name__ == "__main__":
    main()
