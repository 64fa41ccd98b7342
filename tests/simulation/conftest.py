"""The firmware's files and its stand-ins, in this process."""

import sys
from pathlib import Path

HERE = Path(__file__).parent
FIRMWARE = HERE.parent.parent / "firmware"

# The stand-ins come last: they are called `machine`, `clock` and so on and must shadow nothing here.
for folder in (str(HERE), str(FIRMWARE), str(FIRMWARE / "virtual")):
    if folder not in sys.path:
        sys.path.append(folder)
