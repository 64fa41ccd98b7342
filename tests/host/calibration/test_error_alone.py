"""The calibration's own interval, perfect readings: coverage by both kinds of calibration (the bench, fewer seeds)."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest
from scipy.stats import beta

SEEDS = 150


@pytest.fixture(scope="module")
def bench(root: Path) -> ModuleType:
    path = root / "tests" / "bench" / "calibration_error.py"
    spec = importlib.util.spec_from_file_location("calibration_error", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(("kind", "cells"), [("good", "bought"), ("good", "any"), ("small", "any")])
def test_coverage_is_what_is_promised(bench: ModuleType, kind: str, cells: str) -> None:
    """At 200 to 1500 kgf, 150 calibrations do not contradict 94 to 98.5 % (exact binomial limits at 99 %)."""
    rows = [bench.outcomes(seed, kind, cells) for seed in range(SEEDS)]

    for at in range(len(bench.LOADS_KGF)):
        hits = sum(row[at].covered for row in rows)
        assert beta.ppf(0.995, hits + 1, SEEDS - hits) > 0.94
        assert beta.ppf(0.005, hits, SEEDS - hits + 1) < 0.985


def test_bends_within_the_rating_are_all_allowed_for(bench: ModuleType) -> None:
    """Small masses say nothing of the bend, so that cells less bent than they may be are covered always: a limit with
    nothing else known (JCGM 100, 4.3.7). The interval is no wider than the worst cell within the rating needs."""
    bought = [bench.outcomes(seed, "small", "bought") for seed in range(60)]
    worst = [bench.outcomes(seed, "small", "any") for seed in range(SEEDS)]

    for at, kgf in enumerate(bench.LOADS_KGF):
        assert sum(row[at].covered for row in bought) >= 58, kgf
        assert sum(row[at].covered for row in worst) < SEEDS, kgf
