"""Time to summarize a recording of one hour, against a pandas rolling window over the same samples.

The ratio compares two things in one process, so it hardly depends on the machine. A tenth of the hour is timed
too: the time beyond the fixed cost of one recovered peak must grow in proportion.
"""

import sys
import time
from collections.abc import Callable
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).parent.parent / "support"))

from analysis_cases import KGF, calibrated, curve_of

from breakyard.curve import LoadCurve
from breakyard.pull.summarize import summarize
from breakyard.simulate import recipes
from breakyard.simulate.chain import measure
from breakyard.simulate.families import instrument
from breakyard.simulate.pull import pull

WINDOW = 80


def recording(quiet_s: float) -> LoadCurve:
    """A brittle pull after a long quiet time."""
    cell, converter = instrument(1)
    rig = recipes.Rig(quiet_s=quiet_s)
    phases = recipes.brittle(rig, peak_n=800 * KGF, rate_n_per_s=100 * KGF)
    conversions = measure(pull(phases, seed=1), cell, converter, seed=1)
    return curve_of(conversions, calibrated(1, "good", cell), "hour")


def best_of(action: Callable[[], object], repeats: int = 3) -> float:
    """Shortest of a few timings, in seconds."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    """Time both and print the ratios."""
    for share in (0.1, 1.0):
        curve = recording(1790.0 * share)  # quiet before and after the pull
        series = pd.Series(curve.load_n)
        own = best_of(lambda curve=curve: summarize(curve))
        baseline = best_of(
            lambda series=series: series.rolling(WINDOW).agg(["mean", "median", "min", "max", "std"])
        )
        count, ratio = len(curve.time_s), own / baseline
        print(f"{count:7d} samples: summarize {own:.3f} s, rolling {baseline:.3f} s, ratio {ratio:.1f}")


if __name__ == "__main__":
    main()
