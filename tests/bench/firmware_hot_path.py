"""The firmware's hot path: allocations, time per sample and per record, memory, and an hour at 150 samples a second.

python tests/bench/firmware_hot_path.py [MINUTES]      60 minutes of device time unless told

The projection for a Cortex-M0+ at 125 MHz: the bytecodes of a sample and of a record are counted by tracing the
same files under CPython (whose calls take some more bytecodes than MicroPython's), times 0.5 to 0.8 us each.
These two come from published measurements of a loop of ten bytecodes (load, load, add, store and the loop's six):
62 us on a Cortex-M0 at 16 MHz, so 7.9 us at 125 MHz; 3.44 us on a Cortex-M4 at 168 MHz
(github.com/shaoziyang/micropython_benchmarks, 1.9.4-479), and a Pico takes 19.8/13.0 as long as that board for
another program (scruss.com, tag benchmark), so 5.2 us. C functions (CRC-32, SHA-256, the file system) are not in it.
"""

import asyncio
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
for folder in ("host", "firmware", "firmware/virtual", "tests/firmware"):
    sys.path.append(str(ROOT / folder))

from firmware_support import Logger  # noqa: E402

from breakyard.client.client import Client  # noqa: E402
from breakyard.run import read_run  # noqa: E402
from breakyard.simulate import logger as virtual  # noqa: E402

FAST_US, SLOW_US = 0.5, 0.8
PACKAGE = "@micropython/micropython-webassembly-pyscript"


def bytecodes(function) -> int:
    """Bytecodes carried out by a call, those of the firmware's files only."""
    count = 0

    def trace(frame, event, _):
        nonlocal count
        if "/firmware/logger/" not in frame.f_code.co_filename.replace(os.sep, "/"):
            return None
        frame.f_trace_opcodes = True
        frame.f_trace_lines = False
        count += event == "opcode"
        return trace

    sys.settrace(trace)
    try:
        function()
    finally:
        sys.settrace(None)
    return count


def count_steps() -> list[tuple[str, float]]:
    """Bytecodes of each step of a sample and of a record."""
    from test_flash_store import Files

    from logger.core.flash_store import FlashStore
    from logger.upkeep import Upkeep

    class Bare:
        lamp = None

        def ticks_us(self):
            return logger.ticks

    logger = Logger(store=FlashStore(Files()))
    recorder = logger.recorder
    logger.samples(0, 200)
    found = []

    def push(counts=0):
        logger.ticks = (logger.ticks + 6667) & 0x3FFFFFFF
        recorder.push(counts, logger.ticks, 0, 0)

    found.append(("sample, idle: time, faults, ring", bytecodes(push)))
    recorder.start(logger.ticks)
    logger.samples(100, 30)
    many = bytecodes(lambda: [push(200000 + i * 500) for i in range(10)]) / 10
    found.append(("sample, recording: also trigger and peaks", many))
    take = bytecodes(lambda: [recorder.writer.take() for _ in range(5)]) / 5
    found.append(("sample: into its record", take))
    for _ in range(20):
        recorder.service(logger.ticks)
    found.append(("service, nothing to do", bytecodes(lambda: recorder.service(logger.ticks))))
    upkeep = Upkeep(Bare(), recorder)
    upkeep.step()
    found.append(("service: lamp, button, health", bytecodes(upkeep.step)))
    while recorder.writer._samples.count != 44:
        push()
        recorder.writer.take()
    push()
    found.append(("record: close, hash, stuff into the store", bytecodes(recorder.writer.take) - take))
    recorder.store.commit()
    buffer = bytearray(254)
    last = recorder.store.records(1) - 1
    recorder.store.read(1, last - 1, buffer)
    back = bytecodes(lambda: recorder.store.read(1, last, buffer))
    found.append(("record: read back from flash for a link", back))
    from logger.core import cobs

    frame = bytearray(257)
    found.append(("record: stuff for a link", bytecodes(lambda: cobs.frame(buffer, 250, frame))))
    return found


def interpreters() -> list[tuple[str, list[str]]]:
    """Ways to run a program with firmware/ on its path."""
    beside = Path(sys.executable).parent / "micropython"
    micropython = str(beside) if beside.exists() else shutil.which("micropython")
    found = []
    if micropython:
        found.append(("64-bit", [micropython, "-X", "heapsize=320k"]))
    node = shutil.which("node")
    package = Path(os.environ.get("BREAKYARD_NODE_MODULES", ROOT / "node_modules")) / PACKAGE
    if node and package.exists():
        found.append(("32-bit", [node, str(ROOT / "tests/on_micropython/run_32_bit.mjs"), str(package)]))
    else:
        print(f"32-bit: left out, no node or no {PACKAGE}")
    return found


def run_program(way: str, command: list[str], program: str) -> str:
    """What a program printed."""
    folders = [str(ROOT / "firmware")] if way == "32-bit" else []
    path = os.pathsep.join([str(ROOT / "firmware"), ".frozen"])
    done = subprocess.run(
        [*command, str(ROOT / program), *folders],
        env={**os.environ, "MICROPYPATH": path},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.stdout + done.stderr


async def an_hour(minutes: float, heap: str) -> None:
    """Records at 150/s through the PIO driver's stand-in onto a folder, followed over the link all the time."""
    usual = virtual.interpreter_command

    def limited(name=None):
        words = usual(name)
        return [f"heapsize={heap}" if word.startswith("heapsize") else word for word in words]

    virtual.interpreter_command = limited
    kept = bytearray()
    statuses = []
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        options = ("--interval-us", "6667", "--idle-counts", "12345", "--driver", "pio")
        more = ("--runs", folder, "--capacity", "12000000", "--memory", "1")
        async with virtual.VirtualLogger("micropython", options=options + more) as logger:  # noqa: SIM117
            async with Client(logger.link(), first_index=1, answer_timeout_s=600) as host:
                await host.hello()
                await logger.run(3)
                await host.stream_status(True)
                run = await host.start()
                reading = asyncio.create_task(
                    host.read_run(run, keep=lambda raw: kept.extend(virtual_frame(raw)), follow=True)
                )
                left = minutes * 60
                while left > 0:
                    await logger.run(min(20, left))
                    left -= 20
                    statuses.append(host.status)
                await host.stop()
                while not reading.done():
                    await logger.run(1)
                end = await reading
    decoded = read_run(bytes(kept))
    free = [status.free_memory for status in statuses]
    print(f"{minutes:g} minutes at 150/s, heap {heap}, {time.monotonic() - started:.0f} s here")
    print(f"  samples {end.samples}, missed {end.missed}, not stored {end.samples_not_stored},")
    print(f"  complete over the link: {decoded.loss.complete}, gaps {len(decoded.gaps)}")
    print(f"  most samples waiting in the ring: {end.ring_high}")
    tenth = max(1, len(free) // 10)
    print(f"  free memory after collection: first {free[tenth]}, last {free[-1]}, lowest {min(free)}")


def virtual_frame(raw: bytes) -> bytes:
    from breakyard.wire.frame import frame

    return frame(raw)


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    print(f"{'step':46} bytecodes   us at 125 MHz")
    steps = dict(count_steps())
    for what, number in steps.items():
        print(f"{what:46} {number:9.0f}   {number * FAST_US:.0f} to {number * SLOW_US:.0f}")
    names = list(steps)
    sample = steps[names[1]] + steps[names[2]]
    record = sum(steps[name] for name in names[5:])
    second = sample * 150 + record * 150 / 46 + (steps[names[3]] + steps[names[4]]) * 100
    print(
        f"{'a second at 150/s, stored and followed':46} {second:9.0f}   "
        f"{second * FAST_US / 1e4:.0f} to {second * SLOW_US / 1e4:.0f} % of the processor"
    )
    for way, command in interpreters():
        print(f"{way}, no allocation per sample:")
        said = run_program(way, command, "tests/on_micropython/no_alloc_sample_path.py")
        print("  " + "\n  ".join(said.strip().splitlines()))
        if way == "32-bit":
            continue  # this build collects garbage only between programs, so its heap says nothing
        print(f"{way}, heap in bytes (objects are half as big on a board, bytecode and buffers the same):")
        said = run_program(way, command, "tests/bench/on_micropython/memory.py")
        print("  " + "\n  ".join(said.strip().splitlines()))
    if shutil.which("micropython") or (Path(sys.executable).parent / "micropython").exists():
        asyncio.run(an_hour(minutes, "400k"))


if __name__ == "__main__":
    main()
