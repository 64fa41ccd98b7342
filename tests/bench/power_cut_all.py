"""Cuts the power at every single flash operation of whole runs, in three ways, and again during each eighth repair.

python tests/bench/power_cut_all.py [STRIDE]     (1: every operation; some minutes)

Prints for each eighth of them how many cuts there were and how many broke a promise. See tests/power_cut/cuts.py.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
PARTS = 8
"""An interpreter each: one that went through all of them died of a segmentation fault after some minutes."""


def main() -> None:
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        sys.exit("no MicroPython interpreter here")
    path = os.pathsep.join([*(str(ROOT / folder) for folder in ("tests/power_cut", "firmware")), ".frozen"])
    words = [found, "-X", "heapsize=64m", "tests/power_cut/cuts.py"]
    stride = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    failed = 0
    for part in range(PARTS):
        part_words = [*words, str(stride * PARTS), str(stride * part)]
        done = subprocess.run(part_words, cwd=ROOT, env={**os.environ, "MICROPYPATH": path}, check=False)
        if done.returncode:
            print(f"part {part + 1} of {PARTS} ended with {done.returncode}")
            failed = 1
    sys.exit(failed)


main()
