"""What a start costs after the power went in a long run, on the interpreter's own littlefs in memory.

MICROPYPATH=tests/power_cut:firmware:.frozen micropython -X heapsize=64m tests/bench/on_micropython/repair.py [MINUTES]

Prints operations, bytes read and time in this interpreter: of the start, after which the logger is ready, and
of what it does then between samples until the run has its end.
"""

import sys
import time

import vfs
import workload
from flash_model import Flash
from workload import FOLDER, MOUNT, STEP_US, Day

from logger.core.flash_store import FlashStore
from logger.drivers.flash_files import FlashFiles

BLOCKS = 640  # the 2.5 MiB of a Pico 2 W


class CountedFlash(Flash):
    """Counts what is read."""

    reads = 0
    read_bytes = 0

    def readblocks(self, block, buffer, offset=0):
        self.reads += 1
        self.read_bytes += len(buffer)
        super().readblocks(block, buffer, offset)


def tell(what, flash, started):
    print(
        f"{what}: {time.ticks_diff(time.ticks_us(), started) / 1000:.1f} ms here, {flash.reads} reads of",
        f"{flash.read_bytes} bytes, {flash.erases} blocks erased, {flash.programs} pages programmed",
    )
    flash.reads = flash.read_bytes = flash.erases = flash.programs = 0


def main(minutes):
    workload.Watched = lambda files, day, while_recording: FlashStore(files)
    day = Day(BLOCKS)
    day.flash.record = False
    day.pull(300)  # a run that is whole
    day.samples(120)
    day.recorder.start(day.ticks)
    day.samples(int(minutes * 60000000 / STEP_US), 200000, 3)
    run = day.store.last_run
    print("a run of", minutes, "minutes:", day.store.records(run), "records,", day.store.size(run), "bytes")
    vfs.umount(MOUNT)

    flash = CountedFlash(data=day.flash.data)
    vfs.mount(vfs.VfsLfs2(flash, progsize=256), MOUNT)
    started = time.ticks_us()
    store = FlashStore(FlashFiles(FOLDER))
    tell("start", flash, started)
    if not hasattr(store, "repair"):
        return
    started = time.ticks_us()
    pieces = longest = 0
    while True:
        at = time.ticks_us()
        more = store.repair()
        longest = max(longest, time.ticks_diff(time.ticks_us(), at))
        if not more:
            break
        pieces += 1
    tell(f"repair in {pieces} pieces, the longest {longest} us", flash, started)
    print("complete:", store.complete(run), "records:", store.records(run), store.notes)


main(float(sys.argv[1]) if len(sys.argv) > 1 else 45)
