"""Cuts the power while settings are changed by SET, at every operation of the flash, and starts again.

MICROPYPATH=tests/power_cut:firmware:.frozen micropython -X heapsize=64m tests/power_cut/settings_cuts.py

What was answered must hold after a start; what was under way may hold or not, and nothing else. Nothing may be
named as damaged, since a cut alone damages no file. Prints the number of cuts and "failed: N".
"""

import os
import sys

import vfs
from cuts import initial_image
from flash_model import SWAPPED, WAY_NAMES, WAYS, Flash, Replay
from workload import FOLDER, MOUNT

from logger.core.kept_settings import KeptSettings
from logger.core.settings import Settings
from logger.core.settings_file import SettingsFile
from logger.drivers.flash_files import FlashFiles

# Numbers of settings in protocol/records.json; the firmware itself needs none.
SETTING_THRESHOLD_COUNTS = 1
SETTING_HANG_MS = 4
SETTING_INPUT = 5
SETTING_STATUS_MS = 6
SETTING_COMMIT_MS = 7
SETTING_CAPACITY_COUNTS = 8

TEXT = "hang_ms = 3000\n"
STEPS = (
    (SETTING_HANG_MS, 2500),
    (SETTING_THRESHOLD_COUNTS, 40000),
    (SETTING_STATUS_MS, 200),
    (SETTING_HANG_MS, 2600),
    (SETTING_HANG_MS, 3000),
    (SETTING_INPUT, 2),
    (SETTING_CAPACITY_COUNTS, 4294967),
    (SETTING_STATUS_MS, 100),
)


def start(flash):
    vfs.mount(vfs.VfsLfs2(flash, progsize=256), MOUNT)
    settings = Settings()
    settings.take(SettingsFile(TEXT))
    kept = KeptSettings(FlashFiles(FOLDER))
    kept.take(settings)
    return settings, kept


def changes(flash):
    """Change one setting after the other; [(operations before the answer, values)]."""
    settings, kept = start(flash)
    flash.record = True
    promised = [(0, settings.values())]
    for turn in range(3):
        for setting, base in STEPS:
            value = base + (turn if setting == SETTING_HANG_MS and base != 3000 else 0)
            assert settings.change(setting, value)
            assert kept.keep(setting, value)
            promised.append((len(flash.journal), settings.values()))
    flash.record = False
    vfs.umount(MOUNT)
    return promised


def check(image, allowed):
    settings, kept = start(Flash(data=image))
    try:
        if kept.complaints:
            return kept.complaints[0]
        if settings.values() not in allowed:
            return f"neither what was before nor what was under way: {settings.values()}"
        if not kept.keep(SETTING_COMMIT_MS, 700):
            return "nothing more can be kept"
        if ".tmp" in "".join([name for name in os.listdir(FOLDER) if name != "new.tmp"]):
            return "something was left over"
    finally:
        vfs.umount(MOUNT)
    settings, _ = start(Flash(data=image))
    vfs.umount(MOUNT)
    return "" if settings.commit_ms == 700 else "what was kept afterwards is gone"


def main():
    initial = initial_image()
    flash = Flash(data=bytearray(initial))
    promised = changes(flash)
    replay = Replay(initial, flash.journal)
    failed = cuts = 0
    while replay.number < len(flash.journal):
        for way in WAYS:
            image = replay.cut(way)
            if image is None:
                continue
            done = replay.safe_number if way == SWAPPED else replay.number
            latest = max([i for i in range(len(promised)) if promised[i][0] <= done])
            allowed = [values for at, values in promised[latest:] if at <= replay.number]
            allowed += [promised[i][1] for i in range(latest, min(latest + 2, len(promised)))]
            trouble = check(image, allowed)
            cuts += 1
            if trouble:
                failed += 1
                print("FAIL", WAY_NAMES[way], "at", replay.number, trouble)
        replay.step()
    print("changes:", len(promised) - 1, "operations:", len(flash.journal), "erases:", flash.erases)
    print("cuts:", cuts)
    print("failed:", failed)
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
