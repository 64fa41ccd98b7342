"""What the logger finds out about itself: samples looked back at, a block on flash, the slow rate for a while."""

from firmware_support import Logger

from logger.core import layout
from logger.core.probe import Probe
from logger.core.self_test import square_root

NAMES = (
    "samples",
    "span_ms",
    "missed",
    "late",
    "on_rail",
    "settling",
    "out_of_step",
    "mean",
    "lowest",
    "highest",
    "noise",
    "input",
    "free",
)


def looked_at(logger, seconds):
    """The results of SELF_TEST, by name."""
    logger.recorder.timebase.read(logger.ticks)
    values = Probe(logger.recorder).samples(seconds)
    assert len(values) == len(NAMES) == len(layout.RESULTS[layout.COMMAND_SELF_TEST - 1])
    return dict(zip(NAMES, values))  # noqa: B905 - MicroPython has no strict


class Files:
    """Files in memory; `trouble` makes one call fail, `spoil` changes what is read."""

    def __init__(self, trouble="", spoil=False):
        self.kept = {}
        self.trouble = trouble
        self.spoil = spoil

    def _may(self, what):
        if what == self.trouble:
            raise OSError(5)

    def append(self, name, data):
        self._may("append")
        self.kept[name] = self.kept.get(name, b"") + bytes(data)

    def sync(self):
        self._may("sync")

    def close(self):
        pass

    def read(self, name, offset, buffer):
        self._may("read")
        piece = self.kept[name][offset : offset + len(buffer)]
        buffer[: len(piece)] = piece
        if self.spoil:
            buffer[3] ^= 1
        return len(piece)

    def remove(self, name):
        if name not in self.kept:
            raise OSError(2)
        del self.kept[name]


class Ticks:
    """A counter that goes on by 2 ms per look."""

    def __init__(self):
        self.now = 0x3FFFFFFF

    def __call__(self):
        self.now = (self.now + 2000) & 0x3FFFFFFF
        return self.now


def test_root_is_exact():
    for number in (0, 1, 2, 3, 4, 8, 9, 10**12 - 1, 10**12, (1 << 60) + 12345):
        root = square_root(number)

        assert root * root <= number < (root + 1) * (root + 1)


def test_noise_mean_and_span_of_the_latest_seconds():
    """2, 4 in turn about -20000: mean -19997, deviation 1 (of 100: times root of 100 / 99); older ones are left out."""
    logger = Logger(step_us=10000)
    logger.samples(4000000, 50)
    for i in range(100):
        logger.sample(-20000 + (2 if i % 2 else 4))
    told = looked_at(logger, 1)

    assert told["samples"] == 101  # the one exactly a second old too
    assert told["span_ms"] == 1000
    told = looked_at(logger, 10)
    assert told["samples"] == 150
    logger.idle(20)
    told = looked_at(logger, 1)
    assert told["samples"] == 99
    assert told["mean"] == -19997
    assert (told["lowest"], told["highest"]) == (-19998, -19996)
    assert abs(told["noise"] - 1005) <= 1
    assert told["input"] == layout.INPUT_A128


def test_noise_at_the_ends_of_the_range_is_exact():
    """Counts over half the range: sums beyond what a float of a board holds; beyond u32 the field stays at its end."""
    logger = Logger(step_us=10000)
    for i in range(500):
        logger.sample(-4000000 if i % 2 else 4000001)
    told = looked_at(logger, 10)

    exact = 4000000.5 * (500 / 499) ** 0.5
    assert abs(told["noise"] - exact * 1000) < 1
    for i in range(1000):
        logger.sample(layout.RAIL_LOW if i % 2 else layout.RAIL_HIGH, layout.QUALITY_RAIL)
    told = looked_at(logger, 10)

    assert told["on_rail"] == 1000
    assert told["noise"] == 0xFFFFFFFF


def test_doubtful_samples_are_counted_and_left_out_of_the_mean():
    logger = Logger(step_us=10000)
    logger.samples(700, 40)
    for quality in (layout.QUALITY_LATE, layout.QUALITY_SETTLING, layout.QUALITY_OUT_OF_STEP):
        logger.sample(700 if quality == layout.QUALITY_LATE else 900000, quality, missed=2)
    told = looked_at(logger, 10)

    assert (told["late"], told["settling"]) == (1, 1)
    assert told["out_of_step"] >= 1
    assert told["missed"] == 6
    assert (told["mean"], told["lowest"], told["highest"], told["noise"]) == (700, 700, 700, 0)


def test_no_samples_and_a_ring_that_went_round():
    logger = Logger(step_us=6250)
    told = looked_at(logger, 10)
    assert told["samples"] == told["span_ms"] == told["noise"] == 0
    logger.samples(5, 3000)
    told = looked_at(logger, 10)

    assert told["samples"] == logger.recorder.ring.size == 1024  # at 160/s less than it was asked for
    assert told["span_ms"] == 6393  # 1023 steps of 6.25 ms
    assert looked_at(logger, 5)["samples"] == 801


def test_a_block_is_written_compared_and_removed():
    files = Files()
    files.kept = {"00001.run": b"run", "selftest": b"left by a power cut"}
    tests = Probe(Logger().recorder, Ticks(), files)

    assert tests.store() == (layout.STORE_TEST_SAME, 4096, 2, 2)
    assert files.kept == {"00001.run": b"run"}


def test_each_trouble_of_the_flash_is_told_apart():
    for trouble, spoil, outcome in (
        ("append", False, layout.STORE_TEST_NOT_WRITTEN),
        ("sync", False, layout.STORE_TEST_NOT_WRITTEN),
        ("read", False, layout.STORE_TEST_NOT_READ),
        ("", True, layout.STORE_TEST_DIFFERENT),
    ):
        files = Files(trouble, spoil)

        assert Probe(Logger().recorder, Ticks(), files).store()[0] == outcome
        assert files.kept == {}
    assert Probe(Logger().recorder).store() == (layout.STORE_TEST_NO_FLASH, 0, 0, 0)


def test_slow_for_a_while_and_fast_before_a_run():
    logger = Logger(step_us=10000)
    levels = []

    class Pin:
        set = levels.append

    tests = Probe(logger.recorder, Ticks(), None, Pin())
    assert tests.slow(2) == 1
    assert levels == [0]
    assert logger.recorder.faults.restart
    logger.idle(1900)
    tests.step()
    assert levels == [0]
    logger.idle(200)
    tests.step()
    tests.step()
    assert levels == [0, 1]
    tests.slow(30)
    logger.samples(0, 30)
    logger.recorder.arm()
    tests.step()
    assert levels == [0, 1, 0, 1]
    tests.fast()
    assert levels == [0, 1, 0, 1]
    assert Probe(logger.recorder).slow(5) == 0
