"""The power is cut at every operation of the flash, under the interpreter's own littlefs; nothing promised is lost.

With more second cuts, which takes minutes: tests/bench/power_cut_all.py.
"""

import os
import re
import subprocess
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent


def run_cuts(micropython, *arguments, before="", script="cuts"):
    """Run a script in the interpreter; `before` is a statement that spoils something first."""
    path = os.pathsep.join([*(str(ROOT / folder) for folder in ("tests/power_cut", "firmware")), ".frozen"])
    words = [str(word) for word in arguments]
    code = f"import sys\n{before}\nimport {script}\n{script}.main({', '.join(words)})\n"
    return subprocess.run(
        [micropython, "-X", "heapsize=64m", "-c", code],
        env={**os.environ, "MICROPYPATH": path},
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )


def test_nothing_promised_is_lost(micropython):
    """Runs, erasures, keys, calibrations, repairs: no safe record lost, none wrong, no run comes back or vanishes."""
    done = run_cuts(micropython, 1, 0, 20, 64)
    print(done.stdout)

    assert done.returncode == 0, done.stdout[-3000:] + done.stderr
    assert "failed: 0" in done.stdout
    assert int(re.search(r"^cuts: (\d+)", done.stdout, re.MULTILINE)[1]) >= 2000
    for way in ("nothing written", "half written"):
        cut = int(re.search(rf"flash {way}: (\d+)", done.stdout)[1])
        assert cut == int(re.search(r"flash operations: (\d+)", done.stdout)[1])
    for where in ("during", "before"):
        assert int(re.search(rf"flash cut again {where} the repair: (\d+)", done.stdout)[1]) > 40


SPOILED = {
    "an end that is written before all is read": (
        "from logger.core.flash_store import FlashStore\n"
        "def repair(self):\n"
        "    while self._lost:\n"
        "        self._lost_run = LostRun(self._lost[0], RunScan(self._load))\n"
        "        self._lost_run.take(self._table.sizes[self._table.place(self._lost[0])])\n"
        "        self._write_end(self._table.place(self._lost.pop(0)))\n"
        "    return False\n"
        "from logger.core.flash_store import LostRun, RunScan\n"
        "FlashStore.repair = repair"
    ),
    "commits that do not reach the flash": (
        "from logger.drivers.flash_files import FlashFiles\nFlashFiles.sync = lambda self: None"
    ),
    "no end for runs that lost their power": (
        "from logger.core.flash_store import FlashStore\nFlashStore.repair = lambda self: False"
    ),
    "no counter of runs": (
        "from logger.core.flash_store import FlashStore\nFlashStore._read_counter = lambda self: None"
    ),
    "a small file that is written in place": (
        "from logger.drivers.flash_files import FlashFiles\n"
        "def replace(self, name, data):\n"
        "    with open(self._folder + name, 'wb') as file:\n"
        "        file.flush()\n"
        "        file.write(data)\n"
        "FlashFiles.replace = replace"
    ),
}


def test_broken_stores_are_found(micropython):
    """The check can fail: each of these spoiled stores breaks a promise somewhere."""
    for what, spoil in SPOILED.items():
        done = run_cuts(
            micropython,
            3 if "commits" in what else 1,
            0,
            1,
            before=f"sys.path.append('tests/power_cut')\n{spoil}",
        )

        assert done.returncode == 1, what + done.stdout[-2000:] + done.stderr
        assert "FAIL" in done.stdout, what


def test_settings_that_were_answered_survive(micropython):
    """The power is cut at every operation while settings are changed: the new value or the old, never a torn file."""
    done = run_cuts(micropython, script="settings_cuts")
    print(done.stdout)

    assert done.returncode == 0, done.stdout[-3000:] + done.stderr
    assert int(re.search(r"cuts: (\d+)", done.stdout)[1]) >= 100


def test_settings_written_in_place_are_found(micropython):
    """The check can fail: without the new file beside the old one a cut leaves damage."""
    spoil = SPOILED["a small file that is written in place"]
    done = run_cuts(
        micropython, before=f"sys.path.append('tests/power_cut')\n{spoil}", script="settings_cuts"
    )

    assert done.returncode == 1, done.stdout + done.stderr
    assert "FAIL" in done.stdout
