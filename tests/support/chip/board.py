"""A chip with the logger on it, put there as a person does it."""

import json
import os
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chip.chip import HERE, Chip

MODULES = Path(
    os.environ.get("BREAKYARD_RP2040JS") or HERE.parent.parent.parent / ".stubs" / "chip" / "node_modules"
)
"""Where npm's rp2040js is."""


@dataclass(frozen=True, slots=True)
class Installed:
    """What `breakyard logger install` said as JSON, its exit status, the flash that it left and where its key is."""

    said: dict[str, Any]
    status: int
    flash: Path
    keys: Path


def slowness(chip: Chip) -> float:
    """How many seconds of the host a second of a busy chip takes, no less than 3: the command waits as much longer."""
    began = time.monotonic()
    before = chip.now_ms()
    while (passed := chip.now_ms() - before) < 1000:
        time.sleep(0.05)
    return 3.0 * max(1.0, (time.monotonic() - began) * 1000 / passed)  # an idle chip is three times as quick


def power(image: Path, folder: Path, **options: Any) -> Chip:
    """An emulated chip on the flash in that folder."""
    node = shutil.which("node")
    assert node is not None
    return Chip(node, MODULES, image, folder, **options)


def install(image: Path, folder: Path, *more: str) -> Installed:
    """The real command onto a chip as it comes: MicroPython, an empty flash, its prompt at the port."""
    keys = folder / "keys.json"
    with power(image, folder) as chip:
        words = ("logger", "install", "--port", chip.port, "--name", "Slip 3", "--json", *more)
        done = subprocess.run(
            [sys.executable, str(HERE / "slow_host.py"), f"{slowness(chip):.1f}", *words],
            capture_output=True,
            encoding="utf-8",
            check=False,
            env={**os.environ, "BREAKYARD_KEYS": str(keys)},
        )
        assert done.stdout, done.stderr
        chip.ask("flash")
        assert chip.count("reset") == 1
    return Installed(json.loads(done.stdout), done.returncode, folder / "chip.flash", keys)
