"""Does the calibration's own interval hold? Perfect readings of rising pulls: nothing else errs.

    python tests/bench/calibration_error.py                      2000 calibrations of each row
    python tests/bench/calibration_error.py --seeds 200 --calibration good

Cells and calibrations are those of peak_coverage.py: a cell of 2000 kgf rated 0.05 %, calibrated against a certified
cell to 1000 kgf (good) or with 60 kg (small). "bought" cells are bent as draw_cell bends them, "any" in any way that
the rating allows, all ways equally likely. Prints a table in Markdown: coverage of the 95 % interval with its 95 %
(Wilson) interval, the median half-width, and the root mean square of error over claimed standard uncertainty.
"""

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "support"))

from analysis_cases import KGF, bent, calibrated

from breakyard.simulate.converter import counts_per_mv_v
from breakyard.simulate.families import instrument

LOADS_KGF = (200.0, 500.0, 1000.0, 1200.0, 1500.0)
KINDS = ("good", "small")
CELLS = ("bought", "any")


@dataclass(frozen=True)
class Outcome:
    """One calibration asked for one load: relative to the load, and error over standard uncertainty."""

    covered: bool
    half_width: float
    over_standard: float


def outcomes(seed: int, kind: str, cells: str) -> list[Outcome]:
    """One calibration, asked for each of LOADS_KGF."""
    cell, converter = instrument(seed)
    cell = bent(cell, seed, cells)
    made = calibrated(seed, kind, cell)
    per = counts_per_mv_v(converter.gain)
    zero, found = per * float(cell.static_mv_v(0.0)), []
    for kgf in LOADS_KGF:
        true = kgf * KGF
        shown = made.interval(per * float(cell.static_mv_v(true)), zero)
        found.append(
            Outcome(
                shown.low_n <= true <= shown.high_n,
                (shown.high_n - shown.low_n) / 2.0 / true,
                (shown.load_n - true) / shown.standard_n,
            )
        )
    return found


def wilson(hits: int, number: int) -> tuple[float, float]:
    """95 % interval of a proportion."""
    z, share = 1.96, hits / number
    middle = (share + z * z / (2 * number)) / (1 + z * z / number)
    half = z * np.sqrt(share * (1 - share) / number + z * z / (4 * number**2)) / (1 + z * z / number)
    return float(middle - half), float(middle + half)


def main() -> None:
    """Read the options, run, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=2000)
    parser.add_argument("--calibration", choices=KINDS, nargs="*", default=KINDS)
    parser.add_argument("--cells", choices=CELLS, nargs="*", default=CELLS)
    options = parser.parse_args()
    print("| calibration | cells | load kgf | covered % | half-width % | error / standard |")
    print("|---|---|---|---|---|---|")
    for kind in options.calibration:
        for cells in options.cells:
            rows = [outcomes(seed, kind, cells) for seed in range(options.seeds)]
            for at, kgf in enumerate(LOADS_KGF):
                here = [row[at] for row in rows]
                hits = sum(one.covered for one in here)
                low, high = wilson(hits, len(here))
                share = f"{100 * hits / len(here):.1f} ({100 * low:.1f} to {100 * high:.1f})"
                half = 100 * float(np.median([one.half_width for one in here]))
                ratio = float(np.sqrt(np.mean([one.over_standard**2 for one in here])))
                print(f"| {kind} | {cells} | {kgf:.0f} | {share} | {half:.3f} | {ratio:.2f} |", flush=True)


if __name__ == "__main__":
    main()
