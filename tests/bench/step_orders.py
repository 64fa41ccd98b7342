"""How often `breakyard step` finds the order of the simulated converter's filter: right, wrong, or not sure.

Each session is 12 cuts of 20 kg on a cell of 1000 kgf, at 75 to 95 conversions a second, half of them of order 3.
"""

import argparse
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "support"))

from step_cuts import cuts_of

from breakyard.converter import find_cuts, measure
from breakyard.simulate.converter import Faults

FAMILIES = {
    "let go in 0.3 to 2 ms": {},
    "0.5 to 5 ms": {"fall_s": (0.0005, 0.005)},
    "1 to 10 ms": {"fall_s": (0.001, 0.010)},
    "ringing up to 3 %": {"ring": 0.03},
    "five times the noise": {"noise_nv": 450.0},
    "1 % missing": {"faults": Faults(missed_fraction=0.01)},
}


def answer(seed: int, order: int, session: dict[str, object]) -> str:
    """The verdict on one simulated session, held against the truth."""
    made = cuts_of(seed, order, **session)  # type: ignore[arg-type]
    cuts = find_cuts(made.time_s, made.counts.astype(float), "cuts")
    found = measure(cuts, logger="", created="", gain=128, sources=())
    if found.verdict != "order":
        return found.verdict
    return "right" if found.order == order else "wrong"


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=60, help="of each order, per family")
    number = parser.parse_args().sessions
    columns = ("right", "wrong", "neither", "unsure")
    print(f"| sessions of 12 cuts | {' | '.join(columns)} |\n|---|---|---|---|---|")
    for name, session in FAMILIES.items():
        found = Counter(answer(90_000 + 1000 * o + s, o, session) for s in range(number) for o in (3, 4))
        print(f"| {name} | {' | '.join(str(found[one]) for one in columns)} |", flush=True)


if __name__ == "__main__":
    main()
