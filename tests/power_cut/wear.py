"""How often a recording erases and programs the flash, under the interpreter's littlefs. Prints the figures.

MICROPYPATH=tests/power_cut:firmware:.frozen micropython -X heapsize=64m tests/power_cut/wear.py
"""

import workload
from workload import Day

BLOCKS = 212  # the 848 KiB of a Pico W
SECONDS = 180
CYCLES = 100000  # a block's life in erasures, usual for such chips (their data sheets; from memory)


def main():
    day = Day(BLOCKS)
    day.flash.record = False
    day.samples(120)
    for rate in (80, 92, 150):
        workload.STEP_US = 1000000 // rate
        day.erase_all()
        erases, programs = day.flash.erases, day.flash.programs
        room = day.store.room()
        day.command_run(rate * SECONDS)
        per_second = (day.flash.erases - erases) / SECONDS
        size = day.store.size(day.store.last_run) / SECONDS
        print(
            f"{rate}/s: {size:.0f} bytes, {per_second:.2f} blocks erased,",
            f"{(day.flash.programs - programs) / SECONDS:.0f} pages programmed each second;",
            f"full after {room / size / 60:.0f} min; worn out after {BLOCKS * CYCLES / per_second / 3600:.0f} h",
        )


main()
