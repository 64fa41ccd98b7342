"""Ten minutes of a stranger's flood by radio at 600 kB, for each access and MTU 23 and 247 (tests/support/flood.py).

    python tests/bench/flood.py [--minutes 10] [--heap 600k]

Prints for each: samples, conversions missed, lowest free memory, most notifications that waited, how often he came.
Ends with status 1 if a run was not complete.
"""

import argparse
import asyncio
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "support"), str(ROOT / "host")]

from flood import flood  # noqa: E402

from breakyard.wire.layout import Access  # noqa: E402


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--heap", default="600k")
    options = parser.parse_args()
    sound = True
    print("access       MTU  complete  samples  missed  lowest free  waited  visits")
    for key, access in ((False, Access.STATUS), *((True, access) for access in Access)):
        for mtu in (23, 247):
            seen = asyncio.run(flood(options.minutes * 60, access, mtu, key=key, heap=options.heap))
            sound = sound and seen.complete and not seen.missed
            name = access.name if key else "no key"
            print(
                f"{name:12} {mtu:4} {seen.complete!s:>8} {seen.samples:8} {seen.missed:7} {seen.lowest_free:12} "
                f"{seen.longest_queue:7} {seen.visits:7}",
                flush=True,
            )
    sys.exit(not sound)


if __name__ == "__main__":
    main()
