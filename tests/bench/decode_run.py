"""How much slower than the least that anyone could do: decode and calibrate an hour of samples.

    python tests/bench/decode_run.py [--profile] [--cold] [--json]

The run has 288 000 samples (one hour at 80/s) of invented but realistic counts: long rests near zero and eighteen
pulls, noise of 39 counts, steps of about 12.5 ms that jitter by one unit. Two things it is compared with, all timed in
this process by turns, best of several:

    floor     one numpy.frombuffer view that is read once plus one zlib.crc32 over the whole file
    records   what a reader of undamaged, unstuffed records of one size could not leave out either: a numpy.frombuffer
              of the samples as integers, a zlib.crc32 for each record, the SHA-256 of the run

The decoder makes new arrays of 10 MB each time, the floor none. Where the system takes freed memory back at once, page
faults are most of what is measured; so a larger array is made and freed first, as any longer session does (--cold
leaves that out).
"""

import argparse
import cProfile
import hashlib
import json
import time
import zlib

import numpy as np

from breakyard.run import read_run
from breakyard.wire.frame import frame
from breakyard.wire.records import Identity, RunBegin, RunEnd, Samples, Settings, build

SAMPLES = 288_000
RATE_HZ = 80
PER_RECORD = 46
SEED = 20260503
FRAME = 253  # bytes of a full SAMPLES record with its framing
COEFFICIENTS = (1.5, 4.656612873077393e-3)  # newtons of counts: a 10 kN cell of 2 mV/V at gain 128


def make_counts() -> np.ndarray:
    """Counts of one hour: zero at about 31 000, pulls of 20 s up to 60 % of a 2 mV/V cell at gain 128."""
    rng = np.random.default_rng(SEED)
    time_s = np.arange(SAMPLES) / RATE_HZ
    counts = np.full(SAMPLES, 31_000.0)
    for begin in range(100, 3600, 200):
        phase = (time_s - begin) / 20.0
        counts += np.where((phase > 0) & (phase < 1), 2_500_000 * np.clip(phase, 0, 1) ** 1.5, 0.0)
    return np.round(counts + rng.normal(0.0, 39.0, SAMPLES)).astype(np.int32)


def make_run_file() -> bytes:
    """The same hour as a run file."""
    counts = make_counts()
    rng = np.random.default_rng(SEED + 1)
    step_us = (625 + rng.integers(-1, 2, SAMPLES)).astype(np.int32) * 20
    step_us[0] = 0
    device_us = 7_000_000 + np.cumsum(step_us, dtype=np.int64)
    begin = RunBegin(
        run=1, index=0, boot=0xB0A7, cause=1, first_s=7, first_us=0, trigger_s=7, trigger_us=0,
        baseline_counts=31_000, rate_mhz=80_000, input=1, clock_device_s=5, clock_device_us=0,
        clock_utc_s=1_777_800_000, clock_utc_us=0, clock_uncertainty_us=4_000,
    )  # fmt: skip
    identity = Identity(
        run=1, index=1, serial=b"INVENTED", boot=0xB0A7, protocol=1,
        board="bench", firmware="0", interpreter="none",
    )  # fmt: skip
    settings = Settings(
        run=1, index=2, threshold_counts=20_000, trigger_samples=2, pre_trigger_ms=5_000, hang_ms=5_000,
        input=1, status_ms=100, commit_ms=900,
    )  # fmt: skip
    records = [build(begin), build(identity), build(settings)]
    for first in range(0, SAMPLES, PER_RECORD):
        part = slice(first, first + PER_RECORD)
        seconds, microseconds = divmod(int(device_us[first]), 1_000_000)
        step = step_us[part].copy()
        step[0] = 0
        samples = Samples(
            run=1, index=len(records), first_sample=first, first_s=seconds, first_us=microseconds,
            counts=counts[part], step_us=step, quality=np.zeros(len(step), np.uint8),
        )  # fmt: skip
        records.append(build(samples))
    seconds, microseconds = divmod(int(device_us[-1]), 1_000_000)
    end = RunEnd(
        run=1, index=len(records), cause=1, end_s=seconds, end_us=microseconds, samples=SAMPLES,
        samples_not_stored=0, missed=0, clipped=0, doubtful=0, lowest_counts=int(counts.min()),
        highest_counts=int(counts.max()), peak_windows=0, sha256=hashlib.sha256(b"".join(records)).digest(),
    )  # fmt: skip
    return b"".join(map(frame, [*records, build(end)]))


def product(data: bytes) -> np.ndarray:
    """What is measured: bytes -> Run -> newtons."""
    run = read_run(data)
    load_n = run.counts * COEFFICIENTS[1]
    load_n += COEFFICIENTS[0]
    return load_n


def floor(data: bytes) -> int:
    """The least work that touches every byte the way a decoder must: one view that is read, one checksum."""
    words = np.frombuffer(data, dtype=np.uint8)
    return int(words.max()) + zlib.crc32(data)


def records(data: bytes) -> int:
    """A reader that needs no unstuffing, no headers, no times, and trusts that nothing is missing."""
    frames = data[: len(data) // FRAME * FRAME]
    table = np.frombuffer(frames, dtype=np.uint8).reshape(-1, FRAME)[:, 23:248]
    samples = table.reshape(-1, 5)
    counts = samples[:, 0] | samples[:, 1].astype(np.int32) << 8 | samples[:, 2].astype(np.int32) << 16
    total = int(counts[0])
    for first in range(0, len(frames), FRAME):
        total += zlib.crc32(frames[first + 2 : first + FRAME - 1])
    return total + hashlib.sha256(frames).digest()[0]


def seconds(function, data: bytes) -> float:
    started = time.perf_counter()
    function(data)
    return time.perf_counter() - started


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=40)
    parser.add_argument("--cold", action="store_true", help="let the system take freed memory back each time")
    parser.add_argument("--profile", action="store_true")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    data = make_run_file()
    run = read_run(data)
    assert run.loss.complete, run.loss
    assert np.array_equal(run.counts, make_counts()), "the run does not decode to what was written"
    if options.profile:
        profile = cProfile.Profile()
        profile.runcall(product, data)
        profile.print_stats("tottime")
    if not options.cold:
        np.ones(3_000_000)  # 24 MB; of what is larger than 32 MB glibc learns nothing
    functions = (product, floor, records)
    rounds = [[seconds(function, data) for function in functions] for _ in range(options.rounds)]
    best, least, plain = (min(column) for column in zip(*rounds, strict=True))
    if options.json:
        ratios = {"ratio": best / least, "ratio_to_records": best / plain}
        print(
            json.dumps({"bytes": len(data), "decode_s": best, "floor_s": least, "records_s": plain, **ratios})
        )
    else:
        print(f"{len(data)} bytes, {SAMPLES} samples: {best * 1e3:.2f} ms")
        print(f"floor {least * 1e3:.2f} ms, ratio {best / least:.1f}")
        print(f"records {plain * 1e3:.2f} ms, ratio {best / plain:.1f}")


if __name__ == "__main__":
    main()
