"""Every command that writes, every operation on the disk, every fault; CI samples them (host/cli/test_faulty_disk.py).

    python tests/bench/faulty_disk_all.py [COMMAND ...] [--every 7]

Prints for each command how many operations on the disk it has, how many faults were tried, and what was lost or wrong.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS / "support"), str(TESTS / "host" / "cli")]

from faulty_commands import CASES, LOGGER_CASES, make_base, sweep  # noqa: E402
from faulty_disk import Fault  # noqa: E402


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("commands", nargs="*", default=[*CASES, *LOGGER_CASES])
    parser.add_argument("--every", type=int, default=1, help="only each n-th fault")
    stated = parser.parse_args()
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        base = make_base(Path(folder))
        print(f"{'command':16}{'operations':>12}{'faults':>8}{'wrong':>7}{'CPU s':>8}", flush=True)
        for name in stated.commands:
            begun, tried = time.process_time(), 0

            def chosen(at: int, fault: Fault) -> bool:
                nonlocal tried
                tried += 1
                return tried % stated.every == 0

            operations, number, wrong = sweep(Path(folder), base, name, chosen)
            failed += len(wrong)
            spent = time.process_time() - begun
            print(f"{name:16}{operations:12}{number:8}{len(wrong):7}{spent:8.0f}", flush=True)
            for line in wrong:
                print(f"  {line}", flush=True)
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
