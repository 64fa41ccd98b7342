"""Hours of device time at 150 samples a second: the whole firmware with link, status and store, on the virtual board.

python tests/bench/long_run.py [HOURS [HEAP]]       10 hours and 480k unless told; some minutes a device hour

One run, followed over the link, on a converter that converts every 6667 us exactly, read through the stand-in of
PIO and DMA. Compares what comes out with what went in: no conversion missed, every step of time right through all
wraps of the microsecond counter (2**30 us, 17.9 minutes), the store's account of its room, memory that does not grow.
Ends with status 1 where something of that does not hold. Needs the MicroPython interpreter.
"""

import asyncio
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.append(str(ROOT / "host"))

from breakyard.device.client.client import Client  # noqa: E402
from breakyard.run import read_run  # noqa: E402
from breakyard.simulate import logger as virtual  # noqa: E402
from breakyard.wire.frame import frame  # noqa: E402

STEP_US = 6667
BLOCK = 4096
RESERVED = 6  # blocks that the store keeps free, and bytes of a block that littlefs needs: flash_store.py
POINTERS = 8


async def record(hours: float, heap: str, folder: str, capacity: int) -> dict:  # type: ignore[type-arg]
    """Record so long; what the host kept, the status every 20 s, and what the store says at the end."""
    usual = virtual.interpreter_command

    def limited(name=None):  # type: ignore[no-untyped-def]
        return [f"heapsize={heap}" if word.startswith("heapsize") else word for word in usual(name)]

    virtual.interpreter_command = limited
    kept = bytearray()
    statuses = []
    options = ("--interval-us", str(STEP_US), "--idle-counts", "12345", "--driver", "pio")
    more = ("--runs", folder, "--capacity", str(capacity), "--memory", "1")
    async with (
        virtual.VirtualLogger("micropython", options=options + more) as logger,
        Client(logger.link(), first_index=1, answer_timeout_s=600) as host,
    ):
        await host.hello()
        await logger.run(3)
        await host.stream_status(True)
        await logger.run(2)
        before = host.status
        run = await host.start()
        reading = asyncio.create_task(
            host.read_run(run, keep=lambda raw: kept.extend(frame(raw)), follow=True)
        )
        left = hours * 3600
        while left > 0:
            await logger.run(min(20, left))
            left -= 20
            statuses.append(host.status)
        await host.stop()
        while not reading.done():
            await logger.run(1)
        await logger.run(2)
        end = await reading
        after = host.status
        size = sum(one.size_bytes for one in await host.runs())
    return {
        "end": end,
        "before": before,
        "after": after,
        "statuses": statuses,
        "kept": bytes(kept),
        "size": size,
    }


def checks(found: dict, folder: str, capacity: int) -> list[tuple[str, bool]]:  # type: ignore[type-arg]
    """What must hold, and whether it does; prints the figures."""
    end, statuses = found["end"], found["statuses"]
    run = read_run(found["kept"])
    steps = np.diff(np.rint(run.time_s * 1e6).astype(np.int64))
    drift = (run.time_s[-1] - run.time_s[0]) * 1e6 - (len(run.counts) - 1) * STEP_US
    free = [status.free_memory for status in statuses]
    tenth = max(1, len(free) // 10)
    files = [path.stat().st_size for path in Path(folder).iterdir()]
    in_use = sum(-(-size // BLOCK) for size in files)
    room = (capacity // BLOCK - in_use - RESERVED) * (BLOCK - POINTERS)
    print(f"  samples {end.samples}, missed {end.missed}, not stored {end.samples_not_stored}")
    print(
        f"  wraps of the counter {int(run.time_s[-1] * 1e6) >> 30}, steps {steps.min()} to {steps.max()} us,"
    )
    print(
        f"  last sample {drift:.0f} us from where it must be; most samples waiting in the ring {end.ring_high}"
    )
    print(f"  free memory after collection: first {free[tenth]}, last {free[-1]}, lowest {min(free)}")
    print(
        f"  store: {found['size']} bytes in records, room {found['before'].free_bytes} to {found['after'].free_bytes}"
    )
    return [
        (
            "complete over the link, no gap",
            run.loss.complete and not run.gaps and len(run.counts) == end.samples,
        ),
        ("no conversion missed, none left out", end.missed == 0 and end.samples_not_stored == 0),
        ("times rise by the converter's step", abs(steps - STEP_US).max() <= 20 and abs(drift) <= 20),
        ("what the host has is what the store holds", found["size"] == len(found["kept"]) in files),
        ("room is that of the blocks that are left", found["after"].free_bytes == room),
        ("memory does not grow", free[-1] >= free[tenth] - 1024),
    ]


def measure(hours: float, heap: str) -> int:
    """Record, print, and count what does not hold."""
    started = time.monotonic()
    capacity = int(hours * 3600 * 150 * 5.6 * 1.05) + 40 * BLOCK
    with tempfile.TemporaryDirectory() as folder:
        found = asyncio.run(record(hours, heap, folder, capacity))
        print(
            f"{hours:g} hours at {1e6 / STEP_US:.0f}/s, heap {heap}, {time.monotonic() - started:.0f} s here"
        )
        held = checks(found, folder, capacity)
    for what, good in held:
        print("ok  " if good else "FAIL", what)
    return sum(not good for _, good in held)


if __name__ == "__main__":
    words = sys.argv[1:] + ["10", "480k"][len(sys.argv) - 1 :]
    sys.exit(1 if measure(float(words[0]), words[1]) else 0)
