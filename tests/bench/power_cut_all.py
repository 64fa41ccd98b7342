"""Cuts the power at every single flash operation of whole runs, in three ways, and again during each eighth repair.

python tests/bench/power_cut_all.py [STRIDE]     (1: every operation; some minutes)

Prints how many cuts there were and how many broke a promise. See tests/power_cut/cuts.py.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent


def main() -> None:
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        sys.exit("no MicroPython interpreter here")
    path = os.pathsep.join([*(str(ROOT / folder) for folder in ("tests/power_cut", "firmware")), ".frozen"])
    words = [found, "-X", "heapsize=64m", "tests/power_cut/cuts.py", *(sys.argv[1:] or ["1"])]
    sys.exit(subprocess.run(words, cwd=ROOT, env={**os.environ, "MICROPYPATH": path}, check=False).returncode)


main()
