"""The terms of the standards, on readings whose faults are known."""

import json

import numpy as np
import pytest

from breakyard.calibration.quality import DISCLAIMER, ISO_376, assess, e74
from breakyard.document import to_plain

UP_AND_DOWN = np.array([0.0, 200.0, 400.0, 600.0, 400.0, 200.0, 0.0])
EXACT = 100.0 * UP_AND_DOWN


def test_faultless_readings_reach_the_best_class() -> None:
    """Readings on a line reach every first class that they show, and say what they do not show."""
    found = assess(UP_AND_DOWN, EXACT)

    assert (found.iso_376, found.iso_7500) == ("00", "0.5")
    assert found.reversibility == pytest.approx(0.0, abs=1e-9)
    assert found.not_seen == ("repeatability", "creep")
    assert DISCLAIMER in found.sentences
    json.dumps(to_plain(found), allow_nan=False)


@pytest.mark.parametrize("percent", [0.02, 0.05, 0.12, 0.25, 0.45, 0.8])
def test_the_worst_term_decides_the_class(percent: float) -> None:
    """Falling readings high by so many percent: the class is the widest that any term needs."""
    counts = EXACT.copy()
    counts[4] *= 1.0 + percent / 100.0
    counts[5] *= 1.0 + percent / 100.0
    found = assess(UP_AND_DOWN, counts, creep_counts=0.0)
    order = ["00", "0.5", "1", "2", None]
    needed = [
        next((name for name, limits in ISO_376.items() if getattr(found, term) <= limits[term]), None)
        for term in ("reversibility", "interpolation", "zero", "creep")
    ]

    assert found.reversibility == pytest.approx(percent, rel=0.02)
    assert found.iso_376 == max(needed, key=order.index)


def test_zero_return_is_of_the_span() -> None:
    """30 counts of 60 000 are 0.05 %."""
    counts = EXACT.copy()
    counts[-1] += 30.0

    assert assess(UP_AND_DOWN, counts).zero == pytest.approx(0.05, rel=0.01)


def test_creep_is_of_the_span() -> None:
    """120 counts of 60 000 on a long plateau are 0.2 %, class 2 of ISO 376."""
    found = assess(UP_AND_DOWN, EXACT, creep_counts=120.0)

    assert found.creep == pytest.approx(0.2)
    assert "creep" not in found.not_seen


def test_repeatability_compares_equal_loads_reached_the_same_way() -> None:
    """Two rising readings of 400 that differ by 0.1 % of it; the falling one does not count."""
    loads = np.concatenate([UP_AND_DOWN, UP_AND_DOWN])
    counts = np.concatenate([EXACT, EXACT])
    counts[9] += 40.0

    assert assess(loads, counts).repeatability == pytest.approx(0.1, rel=0.01)


def test_resolution_is_of_the_lowest_load() -> None:
    """One count where 200 N give 20 000."""
    assert assess(UP_AND_DOWN, EXACT).resolution == pytest.approx(100.0 / 20_000.0)


def test_swapped_wires_judge_the_same() -> None:
    """A falling slope has the same hysteresis and zero return."""
    counts = EXACT.copy()
    counts[4] += 50.0
    plain, swapped = assess(UP_AND_DOWN, counts), assess(UP_AND_DOWN, -counts)

    assert swapped.reversibility == pytest.approx(plain.reversibility)
    assert swapped.iso_376 == plain.iso_376


def test_lower_limit_factor_is_not_below_the_resolution() -> None:
    """ASTM E74 (from memory): 2.4 s, or the resolution if that is larger; 30 readings are wanted."""
    wobble = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0])
    free = e74(UP_AND_DOWN, EXACT + wobble, 1)
    coarse = e74(UP_AND_DOWN, EXACT + wobble, 1, resolution_n=5.0)

    assert free is not None
    assert coarse is not None
    assert free.lower_limit_factor == pytest.approx(2.4 * free.standard_deviation / 100.0, rel=1e-3)
    assert coarse.lower_limit_factor == 5.0
    assert coarse.class_a_from == 2000.0
    assert not free.enough_readings
    assert e74([0.0, 1.0], [0.0, 1.0], 1) is None
