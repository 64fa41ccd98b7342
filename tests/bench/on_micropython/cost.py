"""Microseconds per step of a sample and of a record in this interpreter; prints them. Needs tests/firmware on its path.

The files below the store are in memory, so flash is not in it. Counts are those of an unloaded cell a little off
zero (usual), or zeros, which byte stuffing dislikes most. Each figure is the best of five means.
"""

import gc
import time

from firmware_support import Logger
from test_flash_store import Files

from logger.core import cobs, layout
from logger.core.flash_store import FlashStore

STEP_US = 6667


class Nowhere(Files):
    """Takes what is written and forgets it."""

    def append(self, name, data):
        pass


class Bench:
    """A recorder on a store, in the state that the steps need."""

    def __init__(self, counts, files):
        self.counts = counts
        self.logger = Logger(store=FlashStore(files), step_us=STEP_US)
        self.recorder = self.logger.recorder
        self.logger.samples(counts, 200)
        self.buffer = bytearray(layout.MAX_RECORD)
        self.frame = bytearray(layout.MAX_FRAME)

    def push(self, number):
        push = self.recorder.push
        ticks = self.logger.ticks
        counts = self.counts
        for i in range(number):
            ticks = (ticks - 0x3FFFFFFF - 1 + STEP_US) & 0x3FFFFFFF
            push(counts + (i & 31), ticks, 0, 0)
        self.logger.ticks = ticks

    def record(self):
        self.recorder.start(self.logger.ticks)
        self.logger.samples(self.counts, 30)

    def take(self, number):
        take = self.recorder.writer.take
        for _ in range(number):
            take()

    def begin_a_record(self):
        ring = self.recorder.ring
        self.take(ring.head - ring.tail)
        while self.recorder.writer._samples.count:
            self.push(1)
            self.take(1)

    def fill_but_one(self):
        self.push(layout.MAX_SAMPLES)
        self.take(layout.MAX_SAMPLES - 1)

    def close_and_push(self):
        self.take(1)
        self.push(layout.MAX_SAMPLES)

    def back(self, number):
        store = self.recorder.store
        run = store.last_run
        last = store.records(run) - number
        for index in range(last, last + number):
            store.read(run, index, self.buffer)

    def stuff(self, number):
        for _ in range(number):
            cobs.frame(self.buffer, 250, self.frame)


def least(function, number, rounds=20, before=None):
    """Microseconds of one of so many: the best of five means over some rounds."""
    best = 1000000000
    for _ in range(5):
        gc.collect()
        took = 0
        for _ in range(rounds):
            if before:
                before()
            started = time.ticks_us()
            function(number)
            took += time.ticks_diff(time.ticks_us(), started)
        if took < best:
            best = took
    return best / (rounds * number)


def measure(what, counts):
    """Print each step's time."""
    bench = Bench(counts, Nowhere(blocks=4000))
    print(f"{what}: sample, idle: time, faults, ring: {least(bench.push, 100):.1f}")
    bench.record()
    bench.push(100)
    bench.take(100)
    print(f"{what}: sample, recording, also trigger and peaks: {least(bench.push, 100):.1f}")
    bench.begin_a_record()
    bench.fill_but_one()
    sample = least(bench.take, layout.MAX_SAMPLES - 1, before=bench.close_and_push)
    print(f"{what}: sample, into its record: {sample:.1f}")
    bench.take(1)
    whole = least(bench.take, 1, 60, bench.fill_but_one)
    print(f"{what}: record, closed, hashed, stuffed, into the store: {whole - sample:.0f}")
    bench = Bench(counts, Files(blocks=4000))
    bench.record()
    bench.push(1000)
    bench.take(1000)
    bench.recorder.store.commit()
    print(f"{what}: record read back for a link: {least(bench.back, 10):.0f}")
    print(f"{what}: record stuffed for a link: {least(bench.stuff, 10):.0f}")


measure("usual", 81237)
measure("zeros", 0)
