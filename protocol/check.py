"""Compare everything that restates records.json with it, and print a verdict for each item.

    python protocol/check.py          ok, outdated, missing or unexpected per item; exit 1 unless all are ok
    python protocol/check.py --fix    first rewrite the tables between markers in SPEC.md

Checked: the table itself, released tables, the tables, headings and hex examples of SPEC.md, the constants of the
host (imported) and of the firmware (read as text; their own test imports them in the real interpreter), the vectors.
"""

import argparse
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "host")]

from checks import constants, released, spec, table, vectors  # noqa: E402


def items():
    """Yield (verdict, item) for everything."""
    yield from table.items()
    yield from released.items()
    yield from released.hashes()
    yield from spec.items()
    yield from constants.items()
    yield from vectors.items()


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--fix", action="store_true", help="rewrite the tables between markers in SPEC.md first"
    )
    parser.add_argument("--all", action="store_true", help="print what is ok too")
    options = parser.parse_args()
    if options.fix:
        spec.fix()
    bad = 0
    good = 0
    for verdict, item in items():
        good += verdict == "ok"
        bad += verdict != "ok"
        if options.all or verdict != "ok":
            print(f"{verdict:10} {item}")
    print(f"{good} ok, {bad} not")
    sys.exit(bad > 0)


if __name__ == "__main__":
    main()
