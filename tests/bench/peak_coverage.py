"""How often the peak's interval covers the true peak, family by family; prints a table in Markdown.

    python tests/bench/peak_coverage.py                     500 pulls of each family, good calibration
    python tests/bench/peak_coverage.py --pulls 50 --calibration small --cells any snatch ductile
    python tests/bench/peak_coverage.py --pulls 100 --calibration none fast_brittle slow_fall
    python tests/bench/peak_coverage.py --pulls 100 --say nothing      users who state nothing

Cells are bent as `draw_cell` bends them ("bought") or in any way that the rating allows, all ways equally likely
("any"). Without a calibration ("none") the cell has no errors and its output is known: then the interval holds noise,
zero and the recovery alone. The last column says how the errors compare with the standard uncertainties stated (root
mean square of their ratio; 1 is honest on average, less is cautious).

--say nothing: counts are those of a converter that is not named, the calibration knows no plate, and a recording of
force has no accuracy. "False first peaks" are first peaks at least 0.5 % below the peak where no part of the specimen
had let go: ripple of the drive, noise, a stop, or a peak that was not recovered. "Refused" were not read, which for a
pull of these families is a failure.

Standard error names the seeds that were missed, read wrong with a sure manner, or given a false first peak.

500 pulls of all families take an hour with two processes.
"""

import argparse
import math
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import Pool
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "support"))

from analysis_cases import KGF, read_case, read_exactly

from breakyard.errors import BreakyardError
from breakyard.simulate.families import FAMILIES

FALSE_FIRST_PEAK = 0.005


@dataclass(frozen=True)
class Outcome:
    """One pull. Errors are relative to the true peak."""

    family: str
    seed: int
    two_sided: bool
    covered: bool
    half_width: float
    error: float
    in_standards: float
    """The error over the standard uncertainty that the budget states."""
    largest_error: float
    right_manner: bool | None
    sure: bool
    rate_kgf_per_s: float
    false_first_peak: bool | None
    """None where the specimen itself gave before its peak, so that there is a first peak."""

    @property
    def faults(self) -> list[str]:
        """What is wrong with the answer, in words; empty if nothing is."""
        bound = "interval" if self.two_sided else "lower bound"
        told = (
            [] if self.covered else [f"{bound} misses: {self.in_standards:+.1f} standard, {self.error:+.2%}"]
        )
        if self.sure and self.right_manner is False:
            told.append("sure of a wrong manner")
        if self.false_first_peak:
            told.append("false first peak")
        return told


def outcome(job: tuple[str, int, str, str, bool]) -> Outcome | str:
    """Simulate, summarize, compare with the truth; the words of the error where the pull is not read."""
    name, seed, kind, cells, stated = job
    try:
        if kind == "none":
            case, summary = read_exactly(name, seed)
        else:
            case, summary = read_case(name, seed, kind, cells, stated=stated)
    except BreakyardError as error:
        return f"{type(error).__name__}: {error}"
    except Exception as error:  # a defect, told as one
        return f"CRASH {type(error).__name__}: {error}"
    first = summary.first_peak
    standard = math.hypot(*(line.standard_n for line in summary.budget))
    true, peak = case.truth.peak_n, summary.peak
    high = float("inf") if peak.high_n is None else peak.high_n
    return Outcome(
        family=name,
        seed=seed,
        two_sided=peak.bound == "two-sided",
        covered=peak.low_n <= true <= high,
        half_width=(high - peak.low_n) / 2 / true,
        error=peak.estimate_n / true - 1,
        in_standards=(peak.estimate_n - true) / standard,
        largest_error=peak.largest_sample_n / true - 1,
        right_manner=summary.failure.manner == case.truth.manner if case.truth.clear else None,
        sure=summary.failure.sure,
        rate_kgf_per_s=case.truth.rate_at_peak_n_per_s / KGF,
        false_first_peak=None
        if case.truth.drops
        else first is not None and first.load_n < (1.0 - FALSE_FIRST_PEAK) * peak.estimate_n,
    )


def row(name: str, found: Sequence[Outcome | str]) -> str:
    """One line of the table."""
    outcomes = [o for o in found if isinstance(o, Outcome)]
    two = [o for o in outcomes if o.two_sided]
    lower = [o for o in outcomes if not o.two_sided]
    clear = [o for o in outcomes if o.right_manner is not None]
    sure = [o for o in clear if o.sure]
    cells = [
        name,
        str(len(two)),
        _share(two),
        *(_median(two, key) for key in ("half_width", "error", "largest_error")),
    ]
    cells += [str(len(lower)), _share(lower)]
    cells += [_percent([o.right_manner for o in sure]), _percent([not o.sure for o in clear])]
    cells.append(f"{np.sqrt(np.mean([o.in_standards**2 for o in two])):.2f}" if two else "")
    cells.append(_percent([o.false_first_peak for o in outcomes if o.false_first_peak is not None]))
    cells.append(f"{100 * max(abs(o.error) for o in two):.1f}" if two else "")
    cells.append(str(len(found) - len(outcomes)))
    return "| " + " | ".join(cells) + " |"


def _share(outcomes: Sequence[Outcome]) -> str:
    """Covered share with its 95 % Wilson interval."""
    if not outcomes:
        return ""
    n, p = len(outcomes), float(np.mean([o.covered for o in outcomes]))
    z = 1.96
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    return f"{100 * p:.1f} ({100 * (middle - half):.1f} to {100 * (middle + half):.1f})"


def _median(outcomes: Sequence[Outcome], key: str) -> str:
    if not outcomes:
        return ""
    value = 100 * float(np.median([getattr(o, key) for o in outcomes]))
    return f"{value:.2f}" if key == "half_width" else f"{value:+.2f}"


def _percent(answers: Sequence[bool | None]) -> str:
    return f"{100 * np.mean([bool(a) for a in answers]):.1f}" if answers else ""


def main() -> None:
    """Read the options, run, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("families", nargs="*", default=list(FAMILIES), help="all of them if none is named")
    parser.add_argument("--pulls", type=int, default=500, help="of each family")
    parser.add_argument("--calibration", choices=("good", "small", "none"), default="good")
    parser.add_argument("--cells", choices=("bought", "any"), default="bought")
    parser.add_argument("--say", choices=("all", "nothing"), default="all", help="what the user states")
    parser.add_argument(
        "--first-seed", type=int, default=0, help="to look at pulls that nobody has looked at"
    )
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    print(
        "| family | two-sided | covered % | half-width % | bias % | largest sample's bias % | lower bounds",
        end="",
    )
    print(" | hold % | manner right where sure % | unsure % | error / standard", end="")
    print(" | false first peaks % | worst % | refused |")
    print("|---" * 14 + "|")
    near_500 = []
    with Pool(options.processes) as pool:
        for name in options.families:
            seeds = range(options.first_seed, options.first_seed + options.pulls)
            said = options.say == "all"
            jobs = [(name, seed, options.calibration, options.cells, said) for seed in seeds]
            outcomes = pool.map(outcome, jobs, chunksize=4)
            print(row(name, outcomes), flush=True)
            for found in outcomes:
                if isinstance(found, Outcome) and (faults := found.faults):
                    print(f"{name} {found.seed}: {', '.join(faults)}", file=sys.stderr, flush=True)
            for words, number in Counter(o for o in outcomes if isinstance(o, str)).most_common(3):
                print(f"{name}: {number} x {words}", file=sys.stderr)
            if name == "fast_brittle":
                read = [o for o in outcomes if isinstance(o, Outcome)]
                near_500 = [o for o in read if o.two_sided and 400 <= o.rate_kgf_per_s <= 600]
    if near_500:
        print(
            f"\nFast brittle ramps of 400 to 600 kgf/s ({len(near_500)}): median bias of the estimate",
            end=" ",
        )
        print(
            f"{_median(near_500, 'error')} %, of the largest sample {_median(near_500, 'largest_error')} %."
        )


if __name__ == "__main__":
    main()
