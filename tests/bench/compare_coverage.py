"""Do the intervals of a comparison hold what they promise? Run: python tests/bench/compare_coverage.py

Simulated groups of n = 2, 3, 5, 10 specimens, from normal and Weibull strengths of known mean, fractiles and shape;
complete, with the strongest cut off (a clipped scale: "at least"), and with some let go at random. Counts how often
each interval holds the truth, with the binomial standard error; theory promises the figure in the first column where
the row says "exact", and only approximately elsewhere. Also: how often no difference at all is called one, how often
the instrument's shared error is covered, and how the time grows with the number of pulls.
"""

import argparse
import math
import time
from collections.abc import Callable, Iterator

import numpy as np

from breakyard.comparison import Observation, compare
from breakyard.comparison.common_scatter import Model
from breakyard.comparison.groups import Group, describe
from breakyard.comparison.instrument import SharedTerm
from breakyard.comparison.many_pairs import ManyPairs
from breakyard.comparison.tolerance import BOUNDS
from breakyard.comparison.verdict import pair_of, weigh
from breakyard.comparison.weibull import fit_weibull, sample_of
from breakyard.comparison.weibull_intervals import quantile_lower_bound

SIZES = (2, 3, 5, 10)
MEAN_N, CV, SHAPE = 5000.0, 0.10, 12.0
SCALE_N = MEAN_N / math.gamma(1.0 + 1.0 / SHAPE)
FEWEST_SURE = 200


def weibull_fractile(share: float) -> float:
    """Load below which this share breaks."""
    return float(SCALE_N * (-math.log1p(-share)) ** (1.0 / SHAPE))


def normal_group(rng: np.random.Generator, n: int) -> Group:
    """Complete, normal."""
    return describe(
        "g", [Observation("g", str(i), float(x)) for i, x in enumerate(rng.normal(MEAN_N, CV * MEAN_N, n))]
    )


def weibull_group(rng: np.random.Generator, n: int, cut: str) -> Group:
    """Weibull; cut: none, weakest (all but the weakest r run off scale), level (a fixed rail), let_go (random)."""
    loads = SCALE_N * rng.weibull(SHAPE, n)
    limit = np.full(n, np.inf)
    if cut == "weakest":
        limit[:] = np.sort(loads)[max(2, round(0.7 * n)) - 1] * (1.0 + 1e-12)
    elif cut == "level":
        limit[:] = weibull_fractile(0.75)
    elif cut == "let_go":
        limit = np.where(rng.random(n) < 0.5, SCALE_N * rng.uniform(0.7, 1.1, n), np.inf)
    return describe(
        "g",
        [
            Observation("g", str(i), float(min(load, end)), at_least=bool(load > end))
            for i, (load, end) in enumerate(zip(loads, limit, strict=True))
        ],
    )


Row = tuple[str, float, bool | None]


def rows_normal(group: Group) -> Iterator[Row]:
    """What holds, of one normal group."""
    assert group.interval is not None
    assert group.interval.high_n is not None
    yield "mean, t interval", 0.95, group.interval.low_n <= MEAN_N <= group.interval.high_n
    from scipy import stats

    for bound in group.bounds:
        true = MEAN_N * (1.0 - CV * float(stats.norm.ppf(bound.content)))
        yield f"{bound.name} bound", bound.confidence, bound.value_n is None or bound.value_n <= true


def rows_weibull(group: Group) -> Iterator[Row]:
    """What holds, of one Weibull group; None where no interval was given."""
    curve = group.weibull
    yield "an interval was given", 1.0, curve is not None
    if curve is None:
        return
    inside: Callable[[float | None, float, float | None], bool] = lambda low, x, high: (  # noqa: E731
        (low is None or low <= x) and (high is None or x <= high)
    )
    yield "shape", 0.95, inside(curve.shape_low, SHAPE, curve.shape_high)
    yield "scale", 0.95, inside(curve.scale_low_n, SCALE_N, curve.scale_high_n)
    yield "median", 0.95, inside(curve.median_low_n, weibull_fractile(0.5), curve.median_high_n)
    # Of complete groups too: taken only where something was cut off, the shares would be those of a chosen few.
    values, at_least = [p.value_n for p in group.pulls], [p.at_least for p in group.pulls]
    fit = fit_weibull(values, at_least)
    assert fit is not None
    for kind in BOUNDS:
        low = quantile_lower_bound(sample_of(values, at_least), fit, 1.0 - kind.content, kind.confidence)
        yield (
            f"{kind.name} bound",
            kind.confidence,
            low is None or low <= weibull_fractile(1.0 - kind.content),
        )


def count(title: str, made: Iterator[Iterator[Row]]) -> None:
    """Print the share of each row that held."""
    seen: dict[tuple[str, float], list[bool]] = {}
    for rows in made:
        for name, promised, held in rows:
            if held is not None:
                seen.setdefault((name, promised), []).append(held)
    for (name, promised), held in seen.items():
        share = float(np.mean(held))
        error = math.sqrt(max(share * (1.0 - share), 1e-6) / len(held))
        print(
            f"{title:34s} {name:24s} promised {promised:6.3f}  held {share:6.4f} +- {error:.4f}  ({len(held)})"
        )


UNEQUAL = ((2, 20), (3, 20), (2, 3, 8, 20), (3, 3, 3), (4, 4), (2, 2))
"""Sizes of groups between which there is no difference."""
KINDS = (("normal", 0.05), ("normal", 0.30), ("weibull", 3.0), ("weibull", 30.0))
"""Curve, with its coefficient of variation or its shape."""


def equal_groups(rng: np.random.Generator, sizes: tuple[int, ...], kind: str, size: float, cut: str) -> Model:
    """Groups from one curve; cut: "", strongest (one or two of each off scale), level (a fixed rail), let_go."""
    groups = []
    for number, n in enumerate(sizes):
        loads = np.maximum(rng.normal(1.0, size, n), 0.01) if kind == "normal" else rng.weibull(size, n)
        limit = np.full(n, np.inf)
        if cut == "strongest":
            limit[:] = np.sort(loads)[max(0, n - 2)] * (1.0 + 1e-12)
        elif cut == "level":
            limit[:] = math.log(4.0) ** (1.0 / size)
        elif cut == "let_go":
            limit = np.where(rng.random(n) < 0.4, rng.uniform(0.7, 1.1, n), np.inf)
        groups.append(
            [
                Observation(str(number), f"{number}-{i}", float(1e3 * min(x, end)), at_least=bool(x > end))
                for i, (x, end) in enumerate(zip(loads, limit, strict=True))
            ]
        )
    return Model(groups)


def false_differences(rng: np.random.Generator, sessions: int) -> None:
    """How often is any pair of equal groups called different? By the probability alone, which the verdict follows."""
    for sizes in UNEQUAL:
        for kind, size in KINDS:
            for cut in ("", "strongest", "level", "let_go") if (kind, size) == ("weibull", 3.0) else ("",):
                among = ManyPairs(len(sizes), len(sizes) * (len(sizes) - 1) // 2)
                alarms = 0
                for _ in range(sessions):
                    model = equal_groups(rng, sizes, kind, size, cut)
                    weighed = [weigh(model, a, b, among) for b in range(len(sizes)) for a in range(b)]
                    alarms += any(one.p is not None and one.p <= 0.05 for one in weighed)
                share = alarms / sessions
                error = math.sqrt(share * (1.0 - share) / sessions)
                words = f"{' v '.join(map(str, sizes))}, {kind} {size:g}, {cut or 'complete'}"
                print(f"equal groups {words:40s} called different {share:.4f} +- {error:.4f} (allowed 0.05)")


def instrument(rng: np.random.Generator, sessions: int) -> None:
    """Two groups read with one calibration that is off by a shared 1 %, n = 10, scatter 1 %."""
    absolute, ratio, bound = [], [], []
    for _ in range(sessions):
        off = 1.0 + 0.01 * rng.standard_normal()
        groups = []
        for name, level in (("a", MEAN_N), ("b", 1.2 * MEAN_N)):
            loads = level * rng.normal(1.0, 0.01, 10) * off
            groups.append(
                describe(
                    name,
                    [
                        Observation(
                            name,
                            f"{name}{i}",
                            float(x),
                            shared=(SharedTerm("c", "gravity", 0.01 * float(x)),),
                        )
                        for i, x in enumerate(loads)
                    ],
                )
            )
        pair = pair_of(*groups)
        interval, b_basis = groups[0].interval, groups[0].bounds[1].value_n
        assert interval is not None
        assert interval.high_n is not None
        assert pair.ratio_low is not None
        assert pair.ratio_high is not None
        assert b_basis is not None
        absolute.append(interval.low_n <= MEAN_N <= interval.high_n)
        ratio.append(pair.ratio_low <= 1.0 / 1.2 <= pair.ratio_high)
        bound.append(b_basis <= MEAN_N * (1.0 - 0.01 * 1.2815515655))
    for name, held in (("mean, absolute", absolute), ("ratio", ratio), ("90/95 bound", bound)):
        print(
            f"{'shared error 1 %, n = 10':34s} {name:24s} promised  0.950  held {np.mean(held):6.4f} ({sessions})"
        )


def growth(rng: np.random.Generator) -> None:
    """Time for three groups, growing; one part in ten only "at least"."""
    for pulls in (30, 300, 1000, 3000):
        loads = SCALE_N * rng.weibull(SHAPE, pulls)
        made = [
            Observation(f"g{i % 3}", f"s{i}", float(x), at_least=i % 10 == 0) for i, x in enumerate(loads)
        ]
        start = time.perf_counter()
        compare(made)
        first = time.perf_counter() - start  # with the critical values, which are simulated once per pattern
        start = time.perf_counter()
        compare(made)
        took = time.perf_counter() - start
        print(
            f"compare {pulls:5d} pulls in 3 groups: first {first:5.2f} s, then {took * 1e6 / pulls:6.0f} us a pull"
        )


def main() -> None:
    """Run all of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--groups", type=int, default=400, help="simulated groups per row")
    wanted = max(parser.parse_known_args()[0].groups, FEWEST_SURE)
    rng = np.random.default_rng(20260503)
    for n in SIZES:
        count(f"normal, n = {n} (exact)", (rows_normal(normal_group(rng, n)) for _ in range(wanted)))
    for cut, kind in (
        ("none", "exact"),
        ("weakest", "exact"),
        ("level", "approximate"),
        ("let_go", "approximate"),
    ):
        for n in SIZES:
            if cut == "none" or n > 2:
                made = (rows_weibull(weibull_group(rng, n, cut)) for _ in range(wanted))
                count(f"Weibull, {cut}, n = {n} ({kind})", made)
    false_differences(rng, wanted)
    instrument(rng, wanted)
    growth(rng)


if __name__ == "__main__":
    main()
