"""Plateaus of calibration recordings, made by the simulator, which knows when each mass hung and how heavy."""

from types import SimpleNamespace

import numpy as np
import pytest

from breakyard.calibration import find_plateaus, pair, parse_loads, points_from_run
from breakyard.errors import CalibrationError
from breakyard.simulate.cell import Cell
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import Conversions, Converter, counts_per_mv_v
from breakyard.simulate.phases import Hold
from breakyard.simulate.pull import PullTruth, pull
from breakyard.simulate.releases import Hang

KGF = 9.80665
CELL = Cell(capacity_n=2000 * KGF, zero_mv_v=0.02)
PER_KGF = counts_per_mv_v(128) * 2.0 / 2000.0
ZERO = 0.02 * counts_per_mv_v(128)
UP_AND_DOWN = (0, 20, 40, 60, 40, 20, 0)


def record(
    masses: tuple[float, ...] = UP_AND_DOWN, *, seed: int = 1, rate_hz: float = 92.0, **hang: float
) -> tuple[PullTruth, Conversions]:
    hang = {"hold_s": 12.0, "bump_n": 40.0, **hang}
    truth = pull([Hold(8.0), *(Hang(kg * KGF, **hang) for kg in masses[1:])], seed=seed)  # type: ignore[arg-type]
    return truth, measure(truth, CELL, Converter(rate_hz=rate_hz), seed=seed)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("swing_rad", [0.02, 0.12])
def test_every_mass_gives_one_plateau_at_its_weight(seed: int, swing_rad: float) -> None:
    """Seven loads, seven plateaus, each mean within four of its standard uncertainties of the truth."""
    _, seen = record(seed=seed, swing_rad=swing_rad)

    found = find_plateaus(seen.time_s, seen.counts, expected=7).found

    assert len(found) == 7
    for plateau, kilograms in zip(found, UP_AND_DOWN, strict=True):
        off = plateau.counts - ZERO - PER_KGF * kilograms
        assert abs(off) < 4.0 * plateau.standard_counts
        assert abs(off) < 0.02 * PER_KGF


def test_used_samples_lie_while_a_mass_hung() -> None:
    """No sample from handling or lifting is used."""
    truth, seen = record(seed=3)
    plateaus = find_plateaus(seen.time_s, seen.counts, expected=7)
    used = np.asarray(seen.time_s)[plateaus.used]
    holds = [(event.time_s, event.end_s) for event in truth.holds]

    assert len(used) == sum(plateau.samples for plateau in plateaus.found)
    assert ((used < 8.0) | np.any([(used > a) & (used < b) for a, b in holds], axis=0)).all()
    assert not plateaus.used.flags.writeable


@pytest.mark.parametrize("rate_hz", [10.0, 40.0, 144.0])
def test_any_rate(rate_hz: float) -> None:
    """Slow and fast converters show the same plateaus."""
    _, seen = record(rate_hz=rate_hz, hold_s=15.0)
    found = find_plateaus(seen.time_s, seen.counts, expected=7).found

    assert [round((p.counts - ZERO) / PER_KGF) for p in found] == list(UP_AND_DOWN)


def test_without_a_stated_number_the_plateaus_are_the_same() -> None:
    """A quiet recording needs no help to be read."""
    _, seen = record(seed=5)
    found = find_plateaus(seen.time_s, seen.counts).found

    assert [round((p.counts - ZERO) / PER_KGF) for p in found] == list(UP_AND_DOWN)


def test_unusable_samples_are_left_out() -> None:
    """A glitch marked unusable changes nothing, and is not among the samples used."""
    _, seen = record(seed=2)
    counts, usable = np.array(seen.counts, dtype=float), np.ones(len(seen.counts), dtype=bool)
    for i in range(50, len(counts), 977):
        counts[i], usable[i] = 8_388_607, False
    plateaus = find_plateaus(seen.time_s, counts, usable=usable, expected=7)

    assert not (plateaus.used & ~usable).any()
    assert [round((p.counts - ZERO) / PER_KGF) for p in plateaus.found] == list(UP_AND_DOWN)


def test_a_missing_load_is_told_plainly() -> None:
    """Six loads stated for seven plateaus: both numbers and every plateau are named."""
    _, seen = record()
    plateaus = find_plateaus(seen.time_s, seen.counts, expected=6)

    with pytest.raises(CalibrationError, match=r"6 loads were stated.*7 plateaus") as caught:
        pair(plateaus, parse_loads("0, 20 kg, 40 kg, 60 kg, 40 kg, 20 kg"))
    assert str(caught.value).count(" s at ") == 7


def test_a_mass_that_drove_the_converter_off_scale_is_told() -> None:
    """The heaviest load stood at the rail: said with its seconds, not as a plateau that nobody sees."""
    _, seen = record()
    counts = np.array(seen.counts)
    off = counts > ZERO + 50.0 * PER_KGF
    counts[off] = 8_388_607
    run = SimpleNamespace(time_s=np.asarray(seen.time_s), counts=counts, usable=~off)

    with pytest.raises(CalibrationError, match=r"at [0-9]+\.\.[0-9]+ s the converter was off scale"):
        points_from_run(run, parse_loads("0, 20 kg, 40 kg, 60 kg, 40 kg, 20 kg, 0"))


def test_an_interrupted_plateau_stays_one() -> None:
    """A knock in the middle of a plateau does not make two of it."""
    _, seen = record(hold_s=20.0)
    time, counts = np.asarray(seen.time_s), np.array(seen.counts, dtype=float)
    middle = (time > 22.0) & (time < 22.8)
    counts[middle] += 3.0 * PER_KGF * np.sin(40.0 * time[middle])

    assert len(find_plateaus(time, counts, expected=7).found) == 7


def test_small_steps_are_kept_apart() -> None:
    """Steps of 2 kg on 60 kg are plateaus of their own when they were stated."""
    masses = (0, 56, 58, 60, 58, 0)
    _, seen = record(masses, swing_rad=0.02)
    found = find_plateaus(seen.time_s, seen.counts, expected=6, same_level=0.01).found

    assert [round((p.counts - ZERO) / PER_KGF) for p in found] == list(masses)


@pytest.mark.parametrize("every_s", [10.0, 12.0])
def test_loads_that_change_at_once_are_kept_apart(every_s: float) -> None:
    """Steps between two samples, at the very edge of a bin: each window is steady, and the whole one steady run."""
    time = np.arange(0.0, 7 * every_s, 0.0125)
    levels = np.array([0, 1, 2, 3, 2, 1, 0]) * 86_000.0 + 84_000.0
    counts = levels[(time // every_s).astype(int)] + np.random.default_rng(1).normal(0.0, 60.0, len(time))
    found = find_plateaus(time, counts, expected=7).found
    assert [plateau.counts for plateau in found] == pytest.approx(levels, abs=20.0)


@pytest.mark.parametrize("samples", [0, 5, 200])
def test_too_short_a_recording_is_refused(samples: int) -> None:
    """Less than two windows of samples is no calibration run."""
    time = np.arange(samples) / 92.0

    with pytest.raises(CalibrationError, match="too few"):
        find_plateaus(time, np.zeros(samples))


def test_a_dead_channel_is_refused() -> None:
    """Counts that never change are told as such."""
    with pytest.raises(CalibrationError, match="no change at all"):
        find_plateaus(np.arange(2000) / 92.0, np.full(2000, 77))
