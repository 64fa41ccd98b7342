"""Does a report's time and size grow linearly with its pulls? Run: python tests/bench/report_growth.py [--most 1000]

Each pull is a recording of 15 s at 80/s; the summaries are made once and shared, so that only comparison and page are
timed. Printed per number of pulls: seconds and bytes, and both per pull relative to the row before: near 1 is linear,
2 would be quadratic for twice as many pulls. Fails above 1.5.
"""

import argparse
import sys
import time
from dataclasses import replace

import numpy as np

from breakyard.comparison import compare, observe
from breakyard.curve import curve_from_columns
from breakyard.pull.summarize import summarize
from breakyard.report.page.content import Content, Entry
from breakyard.report.page.page import make_page

WORST = 1.5
GROUPS = 4


def entries(number: int) -> tuple[Entry, ...]:
    """Pulls whose strengths scatter by 5 %, a fiftieth of them let go without a break."""
    rng = np.random.default_rng(4)
    time_s = np.arange(0.0, 15.0, 0.0125)
    load_n = np.clip((time_s - 3.0) * 400.0, 0.0, 4000.0) * (time_s < 14.0) + rng.normal(
        0.0, 0.5, time_s.size
    )
    curve = curve_from_columns(time_s, load_n, name="pull", accuracy=0.002)
    base = summarize(curve)
    made = []
    for at, factor in enumerate(rng.normal(1.0, 0.05, number)):
        held = at % 50 == 49
        peak, strength = base.peak, base.strength
        assert peak.high_n is not None
        ends = {"low_n": peak.low_n * factor, "high_n": peak.high_n * factor}
        summary = replace(
            base,
            run=replace(base.run, name=f"pull {at}"),
            peak=replace(peak, estimate_n=peak.estimate_n * factor, **ends),
            strength=replace(
                strength,
                value_n=strength.value_n * factor,
                at_least=held,
                low_n=ends["low_n"],
                high_n=None if held else ends["high_n"],
            ),
            flags=("no_break",) if held else (),
        )
        made.append(Entry(f"pull {at}", f"S{at}", curve, summary, group=f"group {at % GROUPS}", order=at))
    return tuple(made)


def measure(number: int) -> tuple[float, float, int]:
    """Seconds for the comparison and for the page, and the page's bytes."""
    pulls = entries(number)
    begun = time.perf_counter()
    seen = [observe(one.summary, group=one.group, specimen=one.label) for one in pulls]
    compared = compare([one for one in seen if one is not None])
    between = time.perf_counter()
    page = make_page(Content("growth (invented)", pulls, comparison=compared))
    return between - begun, time.perf_counter() - between, len(page.encode())


def main() -> int:
    """Double the pulls until there are enough."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--most", type=int, default=1000, help="pulls in the last row")
    most = parser.parse_args().most
    measure(16)  # imports and caches
    sizes = [number for number in (most // 4, most // 2, most) if number >= 16]
    print(" pulls  compare s   page s   page MB   time per pull, against the row before")
    worst, before = 0.0, None
    for number in sizes:
        compared, paged, size = measure(number)
        per_pull = (compared + paged) / number
        ratio = None if before is None else per_pull / before
        print(f"{number:6d} {compared:10.2f} {paged:8.2f} {size / 1e6:9.2f}   {ratio or 0.0:.2f}")
        worst, before = max(worst, ratio or 0.0), per_pull
    if worst > WORST:
        print(f"grows faster than linearly: {worst:.2f} against {WORST}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
