"""Do intervals hold for users who say nothing, or something wrong? Run: python tests/bench/misspecified_users.py

Each seed: a cell of 1000 kgf, masses of 20, 40 and 60 kg, a place, a day of calibration and a day of pulls; a slow
pull to 150 to 900 kgf, let go. What goes wrong is drawn from wider laws than the defaults of the analysis assume, or
from the worst that it assumes; none of it is told to the analysis:

    silent          marked plates, no plate of the cell, no place, no angle, no temperature stated
    wrong plate     masses weighed to 0.1 %; capacity stated as half or twice the true one, non-linearity as a third,
                    no rated output (with one the mistake is named, and the status is 1)
    warm cell       masses weighed to 0.1 %, sheet right; pulls 15 to 25 C warmer, span drifting by up to 0.01 %/C
    gym plates      plates off by up to 3 %, all alike or each for itself; sheet right
    angled line     masses weighed to 0.1 %, sheet right; the line up to 5 degrees off the axis (3 are assumed)

To every pull besides: another mounting (0.05 % standard), another day (0.02 %), creep (up to 0.03 %), an angle of up
to 3 degrees and temperatures up to 10 C apart, where the user is not about just these. A cell shows up to 4 % of a
side force, either way. Prints coverage of the 95 % interval with its (Wilson) interval, half-width and error (medians).
"""

import argparse
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from breakyard.calibration import Calibration, Plate, Point, calibrate, gravity_at, parse_loads
from breakyard.curve import curve_from_run
from breakyard.pull.summarize import summarize
from breakyard.run import Converter, run_from_columns
from breakyard.simulate.cell import Cell
from breakyard.simulate.converter import counts_per_mv_v
from breakyard.simulate.weights import normal_gravity

KGF = 9.80665
CAPACITY_N = 1000 * KGF
HUNG = ("", "A", "AB", "ABC", "AB", "A", "")
LATITUDE = 54.0
AIM = 0.90
NOISE_COUNTS = 59.0


@dataclass(frozen=True)
class User:
    """What really was, and what the user told the analysis."""

    mass_error: Callable[[np.random.Generator], np.ndarray]
    stated_load: str = "20 kg [{}]"
    mass_limit: float | None = None
    plate: Callable[[np.random.Generator], Plate | None] = lambda rng: Plate(
        CAPACITY_N, 2.0, nonlinearity=0.0003
    )
    says_place: bool = True
    angle_deg: float = 3.0
    degrees_apart: tuple[float, float] = (-10.0, 10.0)
    span_per_c: float = 0.00005
    nonlinearity: float = 0.0003


def weighed(rng: np.random.Generator) -> np.ndarray:
    """One scale, off by up to 0.07 %, and each weighing by up to 0.03 %."""
    return rng.uniform(-0.0007, 0.0007) + rng.uniform(-0.0003, 0.0003, 3)


def plates(rng: np.random.Generator) -> np.ndarray:
    """Marked plates: up to 3 %, all alike or each for itself."""
    return np.full(3, rng.uniform(-0.03, 0.03)) if rng.random() < 0.5 else rng.uniform(-0.03, 0.03, 3)


def mistaken(rng: np.random.Generator) -> Plate:
    """Half or twice the capacity, a third of the true bend."""
    return Plate(CAPACITY_N * float(rng.choice([0.5, 2.0])), nonlinearity=0.0003)


USERS = {
    "silent": User(plates, plate=lambda rng: None, says_place=False, nonlinearity=0.0005),
    "wrong plate": User(weighed, mass_limit=0.001, plate=mistaken, nonlinearity=0.0009),
    "warm cell": User(weighed, mass_limit=0.001, degrees_apart=(15.0, 25.0), span_per_c=0.0001),
    "gym plates": User(plates),
    "angled line": User(weighed, mass_limit=0.001, angle_deg=5.0),
}


def calibrated(user: User, cell: Cell, rng: np.random.Generator) -> Calibration:
    """What this user gets from masses that are what they are."""
    off = dict(zip("ABC", user.mass_error(rng), strict=True))
    latitude = LATITUDE if user.says_place else float(rng.uniform(-60.0, 60.0))
    gravity = normal_gravity(latitude, 20.0) * (1.0 + rng.normal(0.0, 2e-5))
    text = "; ".join(" + ".join(user.stated_load.format(name) for name in names) or "0" for names in HUNG)
    per, points = counts_per_mv_v(128), []
    for load, names in zip(parse_loads(text, mass_limit=user.mass_limit), HUNG, strict=True):
        true_n = sum(20.0 * (1.0 + off[name]) for name in names) * gravity * (1.0 - 1.2 / 7200.0)
        counts = per * float(cell.static_mv_v(true_n)) + rng.normal(0.0, 5.0)
        points.append(Point(load, counts, 5.0))
    place = gravity_at(LATITUDE, 20.0) if user.says_place else None
    return calibrate(points, plate=user.plate(rng), gravity=place)


def one(seed: int, name: str) -> tuple[bool, float, float]:
    """Whether the interval holds the true peak; half-width and error, of the peak."""
    user, rng = USERS[name], np.random.default_rng([seed, *name.encode()])
    a, b = rng.uniform(-1.0, 1.0, 2) * user.nonlinearity
    cell = Cell(
        CAPACITY_N,
        2.0 * (1.0 + rng.uniform(-0.01, 0.01)),
        nonlinearity=user.nonlinearity,
        quadratic=float(a + b) / 2.0,
        cubic=float(a - b) / 2.0,
        zero_mv_v=float(rng.uniform(-0.05, 0.05)),
    )
    made = calibrated(user, cell, rng)
    peak_n = float(rng.uniform(150.0, 900.0)) * KGF
    angle = np.radians(user.angle_deg * np.sqrt(rng.random()))
    shown = np.cos(angle) + rng.uniform(-0.04, 0.04) * np.sin(angle)
    shown *= 1.0 + rng.normal(0.0, 0.0005) + rng.normal(0.0, 0.0002) + rng.uniform(-0.0003, 0.0003)
    shown *= 1.0 + rng.uniform(*user.degrees_apart) * rng.uniform(-1.0, 1.0) * user.span_per_c
    time = np.arange(0.0, 26.0, 0.0125)
    # Let off over a second: what ends within one conversion cannot have come through the converter's filter.
    force = peak_n * np.interp(time, [5.0, 20.0, 22.0, 23.0], [0.0, 1.0, 1.0, 0.0])
    mv_v = replace(cell, zero_mv_v=0.0).static_mv_v(force) * shown + cell.zero_mv_v
    counts = counts_per_mv_v(128) * mv_v + rng.normal(0.0, NOISE_COUNTS, time.size)
    run = run_from_columns(time, np.rint(counts).astype(np.int32), name=str(seed), converter=Converter(128))
    peak = summarize(curve_from_run(run, made)).peak
    assert peak.high_n is not None
    error = peak.estimate_n / peak_n - 1.0
    return peak.low_n <= peak_n <= peak.high_n, (peak.high_n - peak.low_n) / 2.0 / peak_n, error


def wilson(hits: int, number: int) -> tuple[float, float]:
    """95 % interval of a proportion."""
    z, share = 1.96, hits / number
    middle = (share + z * z / (2 * number)) / (1 + z * z / number)
    half = z * np.sqrt(share * (1 - share) / number + z * z / (4 * number**2)) / (1 + z * z / number)
    return float(middle - half), float(middle + half)


def main() -> int:
    """Print the figures; 1 if the coverage contradicts the aim for any user."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=400)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--users", nargs="*", choices=tuple(USERS), default=tuple(USERS))
    options = parser.parse_args()
    missed = False
    print("| user | covered % | half-width % | median of the error's size % |")
    print("|---|---|---|---|")
    with ProcessPoolExecutor(options.jobs) as pool:
        for name in options.users:
            found = list(pool.map(partial(one, name=name), range(options.seeds), chunksize=10))
            hits = sum(held for held, _, _ in found)
            low, high = wilson(hits, len(found))
            half, error = (100 * float(np.median(np.abs([row[at] for row in found]))) for at in (1, 2))
            share = f"{100 * hits / len(found):.1f} ({100 * low:.1f} to {100 * high:.1f})"
            print(f"| {name} | {share} | {half:.2f} | {error:.2f} |", flush=True)
            missed |= high < AIM
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
