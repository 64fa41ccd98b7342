"""A small whole run for the stream vectors: ten records, 24 samples, invented."""

import hashlib
import itertools
from dataclasses import dataclass, field

from . import pack
from .valid import EXAMPLE, IDENTITY, RUN_BEGIN, RUN_END, SETTINGS

PERIOD = 625  # units of 20 us: 12.5 ms
FIRST_S = 100


@dataclass
class SmallRun:
    """The records of a run, and what a reader should get out of all of them."""

    number: int
    records: list = field(default_factory=list)  # bytes, in order of index
    held: list = field(default_factory=list)  # for each record: numbers of the samples it holds
    counts: dict = field(default_factory=dict)  # by sample number
    time_us: dict = field(default_factory=dict)  # by sample number, from the first sample
    quality: dict = field(default_factory=dict)  # by sample number, where it is not GOOD
    means: list = field(default_factory=list)  # of the latest MEANS record, as a reader gives them

    def add(self, name, values, samples=(), version=1, extra=b""):
        self.records.append(pack.record(name, self.number, len(self.records), values, version, extra))
        self.held.append(list(samples))

    def add_samples(self, numbers, name="SAMPLES", **more):
        numbers = list(numbers)
        first = FIRST_S * 1000000 + self.time_us[numbers[0]]
        times = [self.time_us[n] for n in numbers]
        steps = [0, *((b - a) // 20 for a, b in itertools.pairwise(times))]
        block = [
            (self.counts[n], step, self.quality.get(n, 0)) for n, step in zip(numbers, steps, strict=True)
        ]
        values = {
            "first_sample": numbers[0],
            "first_s": first // 1000000,
            "first_us": first % 1000000,
            "samples": block,
        }
        self.add(name, values | more, numbers)

    def add_window_of(self, numbers, *, scale=1, shift_us=0, rank=0, of=1):
        """A PEAK_WINDOW, its counts times `scale` and its times later than the samples' own."""
        numbers = list(numbers)
        first = FIRST_S * 1000000 + self.time_us[numbers[0]] + shift_us
        values = {
            "rank": rank,
            "of": of,
            "peak_sample": numbers[0],
            "peak_counts": self.counts[numbers[0]] * scale,
            "first_sample": numbers[0],
            "first_s": first // 1000000,
            "first_us": first % 1000000,
            "samples": [(self.counts[n] * scale, PERIOD if i else 0, 0) for i, n in enumerate(numbers)],
        }
        self.add("PEAK_WINDOW", values, numbers)

    def add_means(self, numbers, each):
        """A MEANS record over those samples, so many to a mean."""
        numbers = list(numbers)
        groups = [numbers[i : i + each] for i in range(0, len(numbers), each)]
        first = FIRST_S * 1000000 + self.time_us[numbers[0]]
        means, before = [], numbers[0]
        for group in groups:
            counts = [self.counts[n] for n in group]
            step_ms = (self.time_us[group[0]] - self.time_us[before]) // 1000
            means.append((len(group), 0, step_ms, sum(counts) // len(counts), min(counts), max(counts)))
            before = group[0]
        values = {
            "first_sample": numbers[0],
            "first_s": first // 1000000,
            "first_us": first % 1000000,
            "means": means,
        }
        self.add("MEANS", values)
        self.means = [
            {
                "first_sample": group[0],
                "number": mean[0],
                "mean": mean[3],
                "lowest": mean[4],
                "highest": mean[5],
                "time_us": first - FIRST_S * 1000000 + sum(one[2] for one in means[: i + 1]) * 1000,
            }
            for i, (group, mean) in enumerate(zip(groups, means, strict=True))
        ]
        return self.means

    def set_times(self, step, before):
        """Plan the samples with other steps, in units of 20 us, before some of them."""
        time_us = 0
        for n in self.counts:
            time_us += (step if n in before else PERIOD) * 20 if n else 0
            self.time_us[n] = time_us

    def shift(self, numbers, by_us):
        """Plan some samples for another time."""
        for n in numbers:
            self.time_us[n] += by_us

    def fill(self, first=0, **changes):
        """The samples from `first` on, a peak window and the end."""
        for n in range(first, 24, 6):
            self.add_samples(range(n, n + 6))
        add_window(self)
        return self.finish(**changes)

    def finish(self, **changes):
        last = max(self.counts)
        end = FIRST_S * 1000000 + self.time_us[last]
        digest = hashlib.sha256(b"".join(self.records)).digest()
        totals = {
            "cause": 1,
            "end_s": end // 1000000,
            "end_us": end % 1000000,
            "samples": len(self.counts),
            "missed": 0,
            "doubtful": 0,
            "lowest_counts": min(self.counts.values()),
            "highest_counts": max(self.counts.values()),
            "peak_windows": sum(record[0] == 6 for record in self.records),
            "sha256": digest,
        }
        self.add("RUN_END", RUN_END | totals | changes)
        return self

    def frames(self):
        return [pack.frame(data) for data in self.records]


def begin(number=4, missed_before=(), scale=1000, boot=0x5EA51DE5, rate_mhz=80000, first_us=0):
    """A run with its first three records and 24 samples planned, one conversion missed before some of them."""
    run = SmallRun(number)
    time_us = 0
    for n in range(24):
        if n:
            time_us += PERIOD * 20 * (2 if n in missed_before else 1)
        run.counts[n] = -31000 + scale * min(n * n, (n - 20) ** 2 * 9)
        run.time_us[n] = time_us
    moment = {"first_s": FIRST_S, "first_us": first_us, "trigger_s": FIRST_S, "trigger_us": 25000}
    run.add("RUN_BEGIN", RUN_BEGIN | moment | {"boot": boot, "cause": 1, "rate_mhz": rate_mhz})
    run.add("IDENTITY", IDENTITY | {"boot": boot})
    run.add("SETTINGS", SETTINGS)
    return run


def whole(number=4, missed_before=(), scale=1000, boot=0x5EA51DE5):
    """A complete run: 3 records, 4 SAMPLES of 6, a MARK between them, a PEAK_WINDOW, RUN_END."""
    run = begin(number, missed_before, scale, boot)
    run.add_samples(range(6))
    run.add_samples(range(6, 12))
    run.add("MARK", {"mark_s": FIRST_S, "mark_us": 140000, "code": 0, "text": "tap"})
    run.add_samples(range(12, 18))
    run.add_samples(range(18, 24))
    add_window(run)
    return run.finish(missed=len(missed_before))


def example():
    """The shortest run that shows everything: three samples."""
    run = SmallRun(1)
    run.counts = {n: sample[0] for n, sample in enumerate(EXAMPLE["samples"])}
    run.time_us = {0: 0, 1: 12500, 2: 25000}
    begin_ = {
        "first_s": 61,
        "first_us": 250000,
        "trigger_s": 61,
        "trigger_us": 200000,
        "cause": 1,
        "rate_mhz": 80000,
    }
    run.add("RUN_BEGIN", RUN_BEGIN | begin_)
    run.add("IDENTITY", IDENTITY)
    run.add("SETTINGS", SETTINGS)
    run.add("SAMPLES", EXAMPLE, range(3))
    return run.finish(end_s=61, end_us=275000, peak_windows=0)


def add_window(run):
    peak = max(run.counts, key=lambda n: abs(run.counts[n] - run.counts[0]))
    more = {"rank": 0, "of": 1, "peak_sample": peak, "peak_counts": run.counts[peak]}
    run.add_samples(range(peak - 3, peak + 4), "PEAK_WINDOW", **more)
