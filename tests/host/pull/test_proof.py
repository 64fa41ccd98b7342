"""Holds: time at or above a load, decided with a guard band."""

import math
from dataclasses import replace

import numpy as np
import pytest

from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.errors import UsageError
from breakyard.pull.proof import ONE_SIDED, HoldClock, prove
from breakyard.pull.summarize import summarize


def held_at(level: float, for_s: float = 65.0, *, sag: float = 0.0, end: str = "let down") -> LoadCurve:
    """Up at 100 N/s, held (sagging by so much), then let down, broken at half of the hold, or the recording ends."""
    up = 3.0 + level / 100.0
    times, loads = [0.0, 3.0, up, up + for_s], [0.0, 0.0, level, level - sag]
    if end == "broke":
        times[-1:] = [up + for_s / 2, up + for_s / 2 + 0.01, up + for_s / 2 + 5.0]
        loads[-1:] = [level - sag / 2, 0.0, 0.0]
    elif end == "let down":
        times += [times[-1] + 10.0, times[-1] + 15.0]
        loads += [0.0, 0.0]
    time = np.arange(0.0, times[-1], 0.025)
    load = np.interp(time, times, loads) + 0.2 * np.random.default_rng(0).standard_normal(len(time))
    return curve_from_columns(time, load, accuracy=0.0, name="anchor")


def verdict(curve: LoadCurve, standard: float = 10.0) -> str:
    """Against 5 kN for 60 s, with this standard uncertainty."""
    return prove(curve, summarize(curve), target_n=5000.0, for_s=60.0, standard_n=lambda _: standard).verdict


@pytest.mark.parametrize(
    ("curve", "wanted"),
    [
        (held_at(5030.0), "held"),
        (held_at(5010.0), "not shown"),
        (held_at(4990.0), "not shown"),
        (held_at(4970.0), "not held"),
        (held_at(5100.0, sag=150.0), "not held"),
        (held_at(5100.0, 50.0), "not held"),
        (held_at(5100.0, end="broke"), "not held"),
        (held_at(5100.0, 50.0, end="ends"), "not shown"),
        (held_at(5100.0, 70.0, end="ends"), "held"),
    ],
)
def test_verdicts(curve: LoadCurve, wanted: str) -> None:
    """The guard band is 16.45 N: clearly above, within it, clearly below, too short, broken, cut off."""
    assert verdict(curve) == wanted


def test_what_to_aim_for_would_be_held() -> None:
    """The load it says to pull to next time, sagging as it did, is held then."""
    curve = held_at(5010.0, sag=12.0)
    found = prove(curve, summarize(curve), target_n=5000.0, for_s=60.0, standard_n=lambda _: 10.0)
    assert found.verdict == "not shown"
    assert found.aim_n is not None

    assert found.sagged_n == pytest.approx(11.0, abs=1.5)
    assert verdict(held_at(found.aim_n + 2.0, sag=12.0)) == "held"


def test_times_and_lengths() -> None:
    """Seconds at or above the load by the reading and beyond its doubt, from the curve's own corners."""
    curve = held_at(5100.0, 65.0, sag=130.0)
    curve = replace(curve, extension_m=np.where(curve.time_s < 100.0, 0.0, 0.002))
    found = prove(curve, summarize(curve), target_n=5000.0, for_s=10.0, standard_n=lambda _: 10.0)

    assert found.above_s == pytest.approx(50.0 + 1.0, abs=0.5)
    assert found.surely_above_s == pytest.approx((100.0 - 16.45) / 2.0 + 0.84, abs=0.5)
    assert found.lowest_n == pytest.approx(5080.0, abs=2.0)
    assert found.lasting_extension_m == pytest.approx(0.002)
    assert found.zero_shift_n == pytest.approx(0.0, abs=0.2)


def test_a_gap_ends_a_hold() -> None:
    """Five seconds without a sample in the middle of 65: nobody knows what was on."""
    curve = held_at(5100.0)
    kept = (curve.time_s < 80.0) | (curve.time_s > 85.0)
    holed = curve_from_columns(curve.time_s[kept], curve.load_n[kept], accuracy=0.0, name="anchor")

    assert verdict(curve) == "held"
    assert verdict(holed) == "not held"


def test_the_risk_of_calling_held_what_was_not_is_at_most_five_percent() -> None:
    """JCGM 106:2012, 8.3.2: a hold of exactly the load, seen with a normal error of 0.2 %, is called held in 5 %."""
    true = held_at(5000.0)
    summary = summarize(true)
    rng = np.random.default_rng(5)
    calls = 0
    for error in rng.normal(0.0, 0.002, 1000):
        seen = replace(true, load_n=true.load_n * (1.0 + error))
        calls += (
            prove(seen, summary, target_n=5000.0, for_s=60.0, standard_n=lambda n: 0.002 * n).verdict
            == "held"
        )

    # Binomial, n = 1000, p = 0.05: 65 is its 98 % quantile; the noise's lowest sample makes it rarer still.
    assert 20 <= calls <= 65
    assert pytest.approx(0.05, abs=2e-4) == 0.5 * math.erfc(ONE_SIDED / math.sqrt(2.0))


def test_the_best_window_is_the_one_that_a_plain_search_finds() -> None:
    """Against every window tried one by one, on a load that wanders."""
    rng = np.random.default_rng(3)
    time = np.arange(0.0, 60.0, 0.25)
    load = np.concatenate(
        [np.zeros(40), 3000.0 + np.cumsum(rng.normal(0.0, 20.0, len(time) - 60)), np.zeros(20)]
    )
    curve = curve_from_columns(time, load + rng.normal(0, 0.1, len(time)), accuracy=0.0, name="x")
    summary = summarize(curve)
    found = prove(curve, summary, target_n=2500.0, for_s=12.0, standard_n=lambda _: 1.0)

    y = curve.load_n - summary.zero.load_n
    y = np.concatenate([y[:1], np.median(np.stack([y[:-2], y[1:-1], y[2:]]), axis=0), y[-1:]])
    wanted = max(y[i : i + 49].min() for i in range(len(y) - 48))
    assert found.lowest_n == pytest.approx(wanted)


@pytest.mark.parametrize(("target", "for_s"), [(0.0, 60.0), (500.0, 0.0), (math.inf, 1.0)])
def test_what_cannot_be_asked(target: float, for_s: float) -> None:
    """A load and a time above 0."""
    curve = held_at(5100.0)
    with pytest.raises(UsageError):
        prove(curve, summarize(curve), target_n=target, for_s=for_s, standard_n=lambda _: 1.0)


def test_the_live_seconds_begin_anew_below_the_load() -> None:
    """Up at 2 s, down at 5 s, up again at 6 s."""
    clock = HoldClock(100.0)
    loads = [0.0, 50.0, 100.0, 120.0, 130.0, 99.0, 101.0, 102.0]

    assert [clock.seen(load, float(at)) for at, load in enumerate(loads)] == [0, 0, 0, 1, 2, 0, 0, 1]
