"""Eight hours of another instrument in one CSV file of 44 MB, with 20 pulls: from the file to the report's page.

    python tests/bench/report_day.py

Each step runs in a process of its own, as a user's command does, and is compared with `pandas.read_csv` of the same
file in a process of its own, in the same run; so the start of Python and of the libraries is in both. Memory is the
largest resident set that the system saw of a process.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

HOURS, RATE_HZ, PULLS = 8, 100, 20

BASELINE = "import sys, pandas; pandas.read_csv(sys.argv[1])"


def write_day(path: Path, hours: float, seed: int = 1) -> None:
    """Times to 10 ms, loads to 1 mN: a ramp of 15 s to a sudden break every so often, noise of half a newton."""
    rng = np.random.default_rng(seed)
    number = round(hours * 3600 * RATE_HZ)
    load = rng.normal(0.0, 0.5, number)
    for pull in range(PULLS):
        begin = round((pull + 0.5) / PULLS * number)
        load[begin : begin + 1500] += np.linspace(0.0, 4000.0 + 100.0 * pull, 1500)
    with path.open("w") as file:
        file.write("time_s,load_n\n")
        for first in range(0, number, 100_000):
            part = load[first : first + 100_000]
            file.write("".join(f"{(first + i) / RATE_HZ:.2f},{f:.3f}\n" for i, f in enumerate(part)))


def measured(words: list[str], folder: Path) -> tuple[float, float]:
    """Seconds and largest megabytes of a process and its children."""
    # A shell of its own measures the children: the largest of all that ran before would hide smaller ones.
    probe = (
        "import resource, subprocess, sys; done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss); sys.exit(done.returncode)"
    )
    begin = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", probe, *words], cwd=folder, capture_output=True, text=True, check=False
    )
    seconds = time.perf_counter() - begin
    if done.returncode:
        sys.exit(f"{' '.join(words[:6])}: {done.stderr[-500:]}")
    return seconds, int(done.stdout) / (1024 if sys.platform != "darwin" else 1024**2)


def main() -> None:
    """Write the file, run the steps, print a table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--hours", type=float, default=HOURS)
    options = parser.parse_args()
    breakyard = [sys.executable, "-m", "breakyard"]
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        day = folder / "day.csv"
        write_day(day, options.hours)
        print(f"{day.stat().st_size / 1e6:.0f} MB, {options.hours:g} h, {PULLS} pulls\n")
        print("| step | seconds | times the baseline | MB |")
        print("|---|---|---|---|")
        base, memory = min(measured([sys.executable, "-c", BASELINE, str(day)], folder) for _ in range(3))
        print(f"| pandas.read_csv | {base:.2f} | 1 | {memory:.0f} |", flush=True)
        for label, words in (
            ("import", ["import", "day.csv", "--session", "s", "--accuracy", "0.5"]),
            ("summarize", ["summarize", "s"]),
            ("summarize again (kept)", ["summarize", "s"]),
            ("report", ["report", "s"]),
        ):
            seconds, memory = measured(breakyard + words, folder)
            print(f"| {label} | {seconds:.2f} | {seconds / base:.1f} | {memory:.0f} |", flush=True)
        fresh = folder / "alone"
        measured([*breakyard, "import", "day.csv", "--session", str(fresh), "--accuracy", "0.5"], folder)
        seconds, memory = measured([*breakyard, "report", str(fresh)], folder)
        print(f"| report, nothing kept before | {seconds:.2f} | {seconds / base:.1f} | {memory:.0f} |")


if __name__ == "__main__":
    main()
