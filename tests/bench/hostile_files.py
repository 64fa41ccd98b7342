"""Files made to take long to read: the time for each, as a multiple of a sound file of that size.

    python tests/bench/hostile_files.py [--mb 64] [--only NAME]

The aim is under 10. Read as `breakyard` reads any file: decoded, sorted into runs, each with samples, gaps and totals.
"""

import argparse
import random
import struct
import time
import zlib
from collections.abc import Callable, Iterator
from functools import cache

from breakyard.errors import DataError
from breakyard.run import read_runs
from breakyard.wire.frame import frame
from breakyard.wire.layout import Kind

Blocks = Iterator[bytes]
STEP = 543
"""Of 20 us: 92 samples a second."""


def record(kind: Kind, run: int, index: int, payload: bytes) -> bytes:
    body = struct.pack("<BBHI", kind, 1, run, index) + payload
    return frame(body + struct.pack("<I", zlib.crc32(body)))


@cache
def block(many: int, counts: int) -> bytes:
    """So many samples, with their number before them."""
    out = bytes([many])
    for i in range(many):
        out += struct.pack("<i", counts + i)[:3] + struct.pack("<H", STEP if i else 0)
    return out


def samples(run: int, index: int, first: int, many: int = 46, counts: int = 0) -> bytes:
    seconds, us = divmod(first * STEP * 20, 1_000_000)
    payload = struct.pack("<II", first, seconds) + struct.pack("<I", us)[:3] + block(many, counts)
    return record(Kind.SAMPLES, run, index, payload)


def sound() -> Blocks:
    """One run after another, of 40 000 records each."""
    run = 1
    while True:
        yield begin(run)
        for index in range(1, 40_000):
            yield samples(run, index, 46 * (index - 1))
        run += 1


def begin(run: int) -> bytes:
    payload = (
        struct.pack("<IBIIII", 1, 1, 0, 0, 0, 0) + bytes(3) + struct.pack("<IB5I", 92000, 1, 0, 0, 0, 0, 0)
    )
    return record(Kind.RUN_BEGIN, run, 0, payload)


def one_record_runs() -> Blocks:
    number = 0
    while True:
        number += 1
        yield samples(number % 65535 + 1, number // 65535, 0, 1)


def windows() -> Blocks:
    index = 0
    while True:
        head = struct.pack("<BBI", 0, 1, index) + bytes(3) + struct.pack("<III", index * 7, index, 0)
        yield record(Kind.PEAK_WINDOW, 1, index, head + block(43, 0))
        index += 1


def one_index_in_many_bytes() -> Blocks:
    number = 0
    while True:
        yield samples(1, 5, number, 1 + number % 46)
        number += 1


def marks() -> Blocks:
    index = 0
    while True:
        yield record(Kind.MARK, 1, index, struct.pack("<IIBB", index, 0, 0, 0))
        index += 1


def backwards() -> Blocks:
    index = 40_000_000
    while True:
        index -= 1
        yield samples(1, index, 46 * (index % 1_000_000))


def single_samples() -> Blocks:
    index = 0
    while True:
        yield samples(1, index, index, 1)
        index += 1


def far_numbers() -> Blocks:
    index = 0
    while True:
        yield samples(1, index, (index * 2_654_435_761) % 4_000_000_000, 46)
        index += 1


def ends() -> Blocks:
    index = 0
    while True:
        yield record(Kind.RUN_END, 1, index, b"\1" + bytes(80))
        index += 1


def noise() -> Blocks:
    draw = random.Random(1)
    while True:
        yield draw.randbytes(4096)


def crumbs() -> Blocks:
    while True:
        yield b"\1\0" * 2048


def delimiters() -> Blocks:
    while True:
        yield bytes(4096)


def no_delimiters() -> Blocks:
    while True:
        yield b"\x55" * 4096


HOSTILE: tuple[Callable[[], Blocks], ...] = (
    one_record_runs, windows, one_index_in_many_bytes, marks, backwards, single_samples, far_numbers, ends, noise,
    crumbs, delimiters, no_delimiters,
)  # fmt: skip


def filled(make: Callable[[], Blocks], size: int) -> bytes:
    """So many bytes; what repeats itself in the large is made once."""
    out = bytearray()
    for block in make():
        out += block
        if len(out) >= size:
            return bytes(out[:size])
    raise AssertionError


def seconds(data: bytes) -> tuple[float, str]:
    began = time.perf_counter()
    try:
        said = f"{len(read_runs(data))} runs"
    except DataError as error:
        said = str(error)[:60]
    return time.perf_counter() - began, said


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mb", type=float, default=64.0)
    parser.add_argument("--only")
    options = parser.parse_args()
    size = int(options.mb * 1e6)
    base, said = seconds(filled(sound, size))
    print(f"{'sound':26}{base:8.2f} s  {'1.0':>6}  {said}", flush=True)
    for make in HOSTILE:
        if options.only in (None, make.__name__):
            took, said = seconds(filled(make, size))
            print(f"{make.__name__:26}{took:8.2f} s  {took / base:6.1f}  {said}", flush=True)


if __name__ == "__main__":
    main()
