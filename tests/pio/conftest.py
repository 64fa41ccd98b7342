"""The PIO program as shipped, and the emulator that runs it."""

import sys
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parent.parent

# The stand-ins come last: they are called `machine`, `clock` and so on and must shadow nothing here.
for folder in (HERE, HERE.parent / "support", ROOT / "firmware", ROOT / "firmware" / "virtual"):
    if str(folder) not in sys.path:
        sys.path.append(str(folder))
