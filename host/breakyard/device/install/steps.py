"""The steps of an installation, in their order; nothing here knows screens."""

import hashlib
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from breakyard.device.install.board import Board, BoardInfo
from breakyard.device.install.build import MPY_VERSION, build, has_compiler
from breakyard.device.install.settings import with_settings
from breakyard.errors import LinkError, UsageError

OLDEST: Final[Mapping[str, tuple[int, int]]] = {"rp2": (1, 26), "esp32": (1, 24)}
"""Oldest MicroPython per port: hard timers and the end of Bluetooth on rp2, Bluetooth's memory on ESP32."""

LEAST_FREE: Final = 140_000
"""Bytes free at the prompt below which the firmware cannot be loaded from files.

It holds 141 000 without a radio, measured on an emulated Pico, which started and recorded with 149 000 of heap; a link
by radio comes on top."""

SETTINGS: Final = "settings.txt"
NEW_SETTINGS: Final = "settings.new"
"""Copied under this name and then renamed: a cable that is pulled meanwhile leaves the old ones whole."""


@dataclass(frozen=True, slots=True)
class Installed:
    """What was done: names of the files that are now on the board, of those removed, and what the board is."""

    board: BoardInfo
    files: tuple[str, ...]
    removed: tuple[str, ...]
    compiled: bool
    settings: str


def install(
    board: Board,
    firmware: Path,
    changes: Mapping[str, str],
    *,
    sources: bool = False,
    any_board: bool = False,
    tell: Callable[[str], None] = lambda _: None,
) -> Installed:
    """Copy the firmware, change settings, and check every file by its hash. Runs on the board are left alone.

    Raises: UsageError for a board or version that cannot run it, LinkError when the board does not answer or
    holds something else than was sent.
    """
    info = board.ask()
    tell(f"{info.machine or info.platform}, MicroPython {info.version[0]}.{info.version[1]}")
    if not any_board:
        _check(info)
    compiled = not sources and has_compiler() and info.mpy == MPY_VERSION
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        files = build(firmware, folder, compiled=compiled)
        kept = board.read_bytes(SETTINGS)
        before = kept if kept is not None else (firmware / SETTINGS).read_bytes()
        # What is no UTF-8 passes unchanged.
        text = with_settings(before.decode("utf-8", "surrogateescape"), changes)
        settings = text.encode("utf-8", "surrogateescape")
        if settings != kept:
            (folder / NEW_SETTINGS).write_bytes(settings)
        tell(f"copying {len(files)} files, {'compiled' if compiled else 'as sources'}")
        board.copy(folder)
        sent = (*files, NEW_SETTINGS) if settings != kept else files
        wanted = {one: hashlib.sha256((folder / one).read_bytes()).hexdigest() for one in sent}
    found = board.hashes(sent)
    wrong = [one for one in sent if found.get(one) != wanted[one]]
    if wrong:
        raise LinkError(f"{wrong[0]} on the board is not what was sent; is its flash full? Install again")
    if settings != kept:
        board.rename(NEW_SETTINGS, SETTINGS)
    removed = board.remove_others(files)
    return Installed(info, files, removed, compiled, text)


def _check(info: BoardInfo) -> None:
    oldest = OLDEST.get(info.platform)
    if oldest is None:
        raise UsageError(
            f"no firmware for {info.machine or info.platform}: a Pico W, Pico 2 W, ESP32 or ESP32-S3"
        )
    if info.version < oldest:
        found, needed = (".".join(map(str, version)) for version in (info.version, oldest))
        raise UsageError(
            f"MicroPython {found} on the board; install {needed} or later from its maker's page first"
        )
    if info.free is not None and info.free < LEAST_FREE:
        raise UsageError(
            f"the board has {info.free // 1000} kB of memory free, and the logger loaded from files needs 150 or more: "
            "take a Pico W, an ESP32-S3 or a board with PSRAM, or build the firmware into MicroPython's image "
            "(firmware/README.md); nothing was copied"
        )
