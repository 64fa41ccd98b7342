"""Everything at once for hours: a logger, its owner, a stranger, and all that breaks (tests/simulation).

    python tests/bench/everything_at_once.py [--hours 10] [--each 2] [--first 1] [--seed N]

Each seed goes through `--each` simulated hours; a seed that breaks a promise is named, and `--seed N --hours H` replays
it. Prints what happened how often, the age of the oldest newest number, and simulated hours per hour of processor time;
then where to go on: a thousand hours are as many nights as one likes, each with the `--first` of the night before.
"""

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

SIMULATION = Path(__file__).resolve().parents[1] / "simulation"
sys.path.insert(0, str(SIMULATION))

import conftest  # noqa: E402, F401 - the paths
from everything import Broken, simulate  # noqa: E402


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=10.0, help="simulated, in all")
    parser.add_argument("--each", type=float, default=2.0, help="simulated, for each seed")
    parser.add_argument("--first", type=int, default=1, help="the first seed")
    parser.add_argument("--seed", type=int, help="this one alone, for --hours")
    options = parser.parse_args()
    each = options.hours if options.seed is not None else options.each
    seed = options.seed if options.seed is not None else options.first
    counts: Counter[str] = Counter()
    done, oldest_s, broken = 0.0, 0.0, 0
    began = time.process_time()
    while done < options.hours - 1e-9:
        with tempfile.TemporaryDirectory() as folder:
            try:
                story = simulate(seed, each, Path(folder))
                counts += story.counts
                oldest_s = max(oldest_s, story.oldest_s)
            except Broken as problem:
                broken += 1
                print(f"seed {seed}, {each:g} h: {problem}", flush=True)
        done += each
        seed += 1
    took_h = (time.process_time() - began) / 3600
    for name, number in sorted(counts.items()):
        print(f"{name:32}{number}")
    print(f"oldest newest number: {oldest_s:.2f} s")
    print(
        f"{done:g} simulated hours, {done / took_h:.0f} per hour of processor time; {broken} seeds broke a promise"
    )
    if options.seed is None:
        print(f"go on with --first {seed}")
    sys.exit(broken > 0)


if __name__ == "__main__":
    main()
