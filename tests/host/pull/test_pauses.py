"""Pauses between the pulls of one recording: unloaded, a pre-tension, or a zero that moved."""

import numpy as np
import pytest
from analysis_cases import KGF, calibrated, curve_of

from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.pull.split import split_pulls
from breakyard.pull.summarize import Summary, summarize
from breakyard.simulate import recipes
from breakyard.simulate.chain import measure
from breakyard.simulate.draws import rig
from breakyard.simulate.families import instrument
from breakyard.simulate.pull import pull

BREAK_KGF, TOP_KGF = 1510.0, 300.0


def cycles(pre_kgf: float, *, begins_empty: bool = True, ends_empty: bool = True) -> LoadCurve:
    """Three bedding-in cycles to a pre-tension, then the break, as another instrument records it; by arithmetic."""
    times, loads = [0.0, 6.0], [0.0 if begins_empty else pre_kgf] * 2
    for top in (TOP_KGF, TOP_KGF, TOP_KGF, BREAK_KGF):
        times.append(times[-1] + (top - loads[-1]) / 60.0)
        loads.append(top)
        if top < BREAK_KGF:
            times += [times[-1] + (top - pre_kgf) / 60.0, times[-1] + (top - pre_kgf) / 60.0 + 6.0]
            loads += [pre_kgf, pre_kgf]
    if ends_empty:
        times += [times[-1] + 0.003, times[-1] + 6.0]
        loads += [0.0, 0.0]
    time = np.arange(0.0, times[-1], 1 / 80)
    noise = 0.2 * np.random.default_rng(0).standard_normal(len(time))
    return curve_from_columns(
        time, KGF * (np.interp(time, times, loads) + noise), accuracy=0.0005, name="rope"
    )


def holds(summary: Summary, truth_kgf: float) -> bool:
    """Whether the interval holds the truth."""
    peak = summary.peak
    return peak.low_n <= truth_kgf * KGF and (peak.high_n is None or truth_kgf * KGF <= peak.high_n)


def parts(pre_kgf: float) -> int:
    """A return to a fiftieth of the break is unloading, and so is the end of a part; to a twenty-fifth it is not."""
    return 4 if pre_kgf < 0.02 * BREAK_KGF else 1


def truths(pre_kgf: float) -> list[float]:
    """Highest load of each part."""
    return ([TOP_KGF] * 3 + [BREAK_KGF])[-parts(pre_kgf) :]


@pytest.mark.parametrize("pre_kgf", [0.0, 5.0, 20.0, 60.0])
@pytest.mark.parametrize("seed", [0, 1])
def test_cycles_to_a_pre_tension_keep_the_zero_of_the_recording(pre_kgf: float, seed: int) -> None:
    """Every part's interval holds its truth, with pauses at 0 to 60 kgf, and the pre-tension is flagged.

    The physics are the simulator's; the logger's calibration was made in another mounting.
    """
    phases = recipes.cyclic(
        rig(np.random.default_rng(seed)),
        tops=[TOP_KGF * KGF] * 3 + [BREAK_KGF * KGF],
        lows=[pre_kgf * KGF] * 3,
        rests_s=[6.0] * 3,
        rate_n_per_s=60.0 * KGF,
    )
    cell, converter = instrument(seed)
    conversions = measure(pull(phases, seed=seed), cell, converter, seed=seed)

    read = [
        summarize(part) for part in split_pulls(curve_of(conversions, calibrated(seed, "good", cell), "rope"))
    ]

    assert len(read) == parts(pre_kgf)
    assert all(holds(summary, truth) for summary, truth in zip(read, truths(pre_kgf), strict=True))
    if len(read) > 1:
        assert ("preload" in read[-1].flags) == (pre_kgf > 0.0)
    assert "no_zero" not in read[-1].flags


@pytest.mark.parametrize("pre_kgf", [5.0, 20.0, 60.0])
@pytest.mark.parametrize("begins_empty", [True, False])
def test_one_empty_end_is_enough(pre_kgf: float, begins_empty: bool) -> None:
    """The recording is unloaded only before the cycles, or only after the break."""
    read = [
        summarize(part)
        for part in split_pulls(cycles(pre_kgf, begins_empty=begins_empty, ends_empty=not begins_empty))
    ]

    assert len(read) == parts(pre_kgf)
    assert all(holds(summary, truth) for summary, truth in zip(read, truths(pre_kgf), strict=True))


def test_a_zero_that_moved_with_a_break_is_no_pre_tension() -> None:
    """Three specimens broken; the first break leaves the cell 0.5 % higher, for good."""
    time = np.arange(0.0, 65.0, 0.02)
    load = 0.5 * np.random.default_rng(1).standard_normal(len(time))
    for i, peak in enumerate((4000.0, 2500.0, 5200.0)):
        since = time - 20.0 * i - 5.0
        load += np.where((since > 0) & (since < 8.0), peak * since / 8.0, 0.0)
    load += np.where(time > 13.0, 20.0, 0.0)

    read = [summarize(part) for part in split_pulls(curve_from_columns(time, load, accuracy=0.0, name="day"))]

    assert [summary.peak.estimate_n for summary in read][1:] == pytest.approx([2500.0, 5200.0], rel=0.002)
    assert not any("preload" in summary.flags for summary in read)
