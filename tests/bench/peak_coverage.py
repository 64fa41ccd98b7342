"""How often the peak's interval covers the true peak, family by family; prints a table in Markdown.

    python tests/bench/peak_coverage.py                     500 pulls of each family, good calibration
    python tests/bench/peak_coverage.py --pulls 50 --calibration small --cells any snatch ductile
    python tests/bench/peak_coverage.py --pulls 100 --calibration none fast_brittle slow_fall
    python tests/bench/peak_coverage.py --pulls 100 --say nothing      users who state nothing

Cells are bent as `draw_cell` bends them ("bought") or in any way that the rating allows, all ways equally likely
("any"). Without a calibration ("none") the cell has no errors and its output is known: then the interval holds noise,
zero and the recovery alone; a second table then says how near the recovery comes to what any estimator could do
(`least_standard`). The column "error / standard" says how the errors compare with the standard uncertainties stated
(root mean square of their ratio; 1 is honest on average, less is cautious).

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

from breakyard.converter.response import filtered_power
from breakyard.errors import BreakyardError
from breakyard.simulate.families import FAMILIES, Case

FALSE_FIRST_PEAK = 0.005

WINDOW = 14
"""Samples before the fall, and from it on, that a recovery may look at."""

SUDDEN_S = 0.002
"""A sudden fall is over within this; when within it the load began to fall shows nowhere but in its shape."""


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
    standard: float
    least: float | None
    """Of any unbiased estimator that knows filter, noise and fall; None where the peak was not recovered."""
    least_of_sudden: float | None
    """The same where the duration of the fall is not known."""
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
    recovered = kind == "none" and peak.regime == "ramp_and_break" and peak.bound == "two-sided"
    least = least_standard(case) if recovered and case.shows == "counts" else None
    high = float("inf") if peak.high_n is None else peak.high_n
    return Outcome(
        family=name,
        seed=seed,
        two_sided=peak.bound == "two-sided",
        covered=peak.low_n <= true <= high,
        half_width=(high - peak.low_n) / 2 / true,
        error=peak.estimate_n / true - 1,
        in_standards=(peak.estimate_n - true) / standard,
        standard=standard / true,
        least=None if least is None else least / true,
        least_of_sudden=None if least is None else math.hypot(least, _by_duration(case)) / true,
        largest_error=peak.largest_sample_n / true - 1,
        right_manner=summary.failure.manner == case.truth.manner if case.truth.clear else None,
        sure=summary.failure.sure,
        rate_kgf_per_s=case.truth.rate_at_peak_n_per_s / KGF,
        false_first_peak=None
        if case.truth.drops
        else first is not None and first.load_n < (1.0 - FALSE_FIRST_PEAK) * peak.estimate_n,
    )


def least_standard(case: Case) -> float:
    """The Cramer-Rao bound of the peak's standard uncertainty, in newtons, for a straight rise and a sudden fall.

    Known: order and rate of the filter, noise, that the rise is straight, and the fall but for its instant (over at
    once, no ringing). Unknown: the force at its start, the slope before it, its instant, the level after it.
    """
    # With u the conversions since the fall and P_p(u) what the filter of order N makes of u^p / p! from 0 on, a
    # sample is y = F (1 - S) + s (u - N / 2 - P_1) + c S, S = P_0 = dP_1 / du (see `converter.response`). With J its
    # derivatives with F, s, the instant and c, and noise of standard deviation q, the information is J'J / q^2, and
    # the variance of F is at least the first element of its inverse (Cramer, Mathematical Methods of Statistics, 1946,
    # 32.3; Kay, Estimation Theory, 1993, 3.7 and 3.9; both from memory).
    converter, cell, truth = case.converter, case.cell, case.truth
    order, period = converter.filter_order, converter.period_s
    u = (case.conversions.time_s - truth.peak_time_s) / period
    falling = int(np.searchsorted(u, 0.0))
    u = u[max(0, falling - WINDOW) : falling + WINDOW]
    step = 1e-4

    def fallen(v: np.ndarray) -> np.ndarray:
        return (filtered_power(v + step, 1, order) - filtered_power(v - step, 1, order)) / (2.0 * step)

    share, slope = fallen(u), truth.rate_at_peak_n_per_s * period
    steepness = (fallen(u + 0.01) - fallen(u - 0.01)) / 0.02
    after_n = truth.residual_n or 0.0
    later = (truth.peak_n - after_n) * steepness - slope * (1.0 - share)
    design = np.stack([1.0 - share, u - order / 2.0 - filtered_power(u, 1, order), later, share], axis=-1)
    noise = converter.noise_nv * 1e-6 / converter.supply_v / cell.rated_output_mv_v * cell.capacity_n
    return noise * float(np.sqrt(np.linalg.inv(design.T @ design)[0, 0]))


def _by_duration(case: Case) -> float:
    """Standard uncertainty of the force at the start of a sudden fall whose middle alone is known."""
    # Half of a duration that is anything from nothing to SUDDEN_S (JCGM 100:2008, 4.3.7), times the rate.
    return float(case.truth.rate_at_peak_n_per_s * 0.5 * SUDDEN_S / math.sqrt(12.0))


def nearness(name: str, outcomes: Sequence[Outcome]) -> str:
    """One line of the table of what is stated against what could be known at best; medians, percent of the peak."""
    own = [o for o in outcomes if o.least is not None and o.least_of_sudden is not None]
    if not own:
        return f"| {name} | 0 |" + " |" * 6
    rms = 100.0 * math.sqrt(np.mean([o.error**2 for o in own]))
    columns = [[o.standard, o.least, o.least_of_sudden] for o in own]
    stated, least, sudden = (100.0 * float(np.median(column)) for column in zip(*columns, strict=True))
    ratios = (
        float(np.median([o.standard / o.least for o in own if o.least])),
        float(np.median([o.standard / o.least_of_sudden for o in own if o.least_of_sudden])),
    )
    figures = f"{rms:.3f} | {stated:.3f} | {least:.4f} | {sudden:.3f} | {ratios[0]:.0f} | {ratios[1]:.1f}"
    return f"| {name} | {len(own)} | {figures} |"


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
    near_best = []
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
            if options.calibration == "none":
                near_best.append(nearness(name, [o for o in outcomes if isinstance(o, Outcome)]))
            if name == "fast_brittle":
                read = [o for o in outcomes if isinstance(o, Outcome)]
                near_500 = [o for o in read if o.two_sided and 400 <= o.rate_kgf_per_s <= 600]
    if near_best:
        print(
            "\n| family | recovered | error, rms % | stated standard % | least % | fall's duration unknown, too %",
            end="",
        )
        print(" | stated / least | stated / least with that |")
        print("|---" * 8 + "|")
        print("\n".join(near_best))
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
