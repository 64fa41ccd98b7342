"""The whole firmware as a process, from the pins of the converter to the bytes of the link."""

import hashlib
import random
import struct

import pytest

from breakyard.run import read_run
from breakyard.wire.frame import frame
from breakyard.wire.layout import EndCause

INTERPRETERS = ("micropython", "cpython")
HELLO, SET, ARM, START, STOP, MARK, LIST, READ, TIME, SET_CLOCK, STREAM, ERASE = range(1, 13)


def write_feed(path, counts, steps_us):
    time_us = 0
    with path.open("wb") as file:
        for value, step in zip(counts, steps_us, strict=True):
            time_us += step
            file.write(struct.pack("<Ii", time_us, value))
    return path


@pytest.fixture
def pull(tmp_path):
    """Quiet, a ramp to 1.2 million counts, a break, quiet; every step a little different. Invented data."""
    draw = random.Random(1)
    counts = [0] * 900 + [i * 2000 for i in range(600)] + [0] * 1500
    counts = [value + draw.randrange(-40, 41) for value in counts]
    steps = [11000 + draw.randrange(-30, 31) for _ in counts]
    return write_feed(tmp_path / "pull.feed", counts, steps), counts, steps


def record_pull(logger, feed, seconds=36):
    logger.command(HELLO)
    logger.command(STREAM, b"\x01")
    logger.do(do="load", path=str(feed))
    logger.run(1000)
    logger.command(ARM)
    for _ in range(seconds):
        logger.run(1000)
    return logger.download(1)


@pytest.mark.parametrize("interpreter", INTERPRETERS)
def test_a_run_holds_the_samples_of_the_feed(start, pull, interpreter):
    """Every sample once, with its count and its time to half a step; the hash agrees; through a counter wrap."""
    feed, counts, steps = pull
    logger = start(interpreter)
    records = record_pull(logger, feed)
    run = read_run(b"".join(frame(one) for one in records))

    assert run.loss.complete
    assert run.end.cause == EndCause.HANG
    assert run.end.sha256 == hashlib.sha256(b"".join(records[:-1])).digest()
    assert run.end.missed == 0
    found = run.counts.tolist()
    first = next(i for i in range(len(counts)) if counts[i : i + len(found)] == found)
    times = [sum(steps[: first + i + 1]) for i in range(len(found))]
    for i in range(len(found)):
        assert abs(run.time_s[i] * 1e6 - (times[i] - times[0])) <= 11
    over = next(i for i in range(900, len(counts)) if counts[i] > 20000)
    assert 4.98 <= (sum(steps[: over + 1]) - times[0]) / 1e6 <= 5.0
    trigger_us = (
        (run.begin.trigger_s - run.begin.first_s) * 1000000 + run.begin.trigger_us - run.begin.first_us
    )
    assert trigger_us == sum(steps[: over + 1]) - times[0]
    assert logger.close() == 0


def test_both_interpreters_send_the_same_bytes(start, pull):
    """The same input gives the same bytes: STATUS, log lines, answers and all records."""
    sent = []
    for interpreter in INTERPRETERS:
        logger = start(interpreter, "--interpreter", "any")
        record_pull(logger, pull[0])
        sent.append((logger.link_bytes, [event.get("now_ms") for event in logger.events]))
        logger.close()

    assert len(sent[0][0]) > 20000
    assert sent[0] == sent[1]


@pytest.mark.parametrize("interpreter", INTERPRETERS)
def test_the_same_input_gives_the_same_bytes_twice(start, pull, interpreter):
    """Nothing depends on how fast the computer is."""
    sent = []
    for _ in range(2):
        logger = start(interpreter)
        record_pull(logger, pull[0], 20)
        sent.append(logger.link_bytes)

    assert sent[0] == sent[1]


@pytest.mark.parametrize("interpreter", INTERPRETERS)
class TestFaults:
    """What goes wrong on a board, done to the virtual one."""

    def test_a_busy_board_misses_conversions_and_says_so(self, start, pull, interpreter):
        """A stall of 50 ms in a run: the missed conversions are counted and stand as a gap."""
        logger = start(interpreter)
        logger.do(do="load", path=str(pull[0]))
        logger.run(1000)
        logger.command(START)
        logger.run(2000)
        logger.do(do="stall", ms=50)
        logger.run(2000)
        logger.command(STOP)
        run = read_run(b"".join(frame(one) for one in logger.download(1)))

        assert run.loss.complete
        assert run.end.missed in (3, 4)
        assert [gap.cause for gap in run.gaps] == ["conversion"]
        assert run.gaps[0].missing == run.end.missed

    def test_a_converter_that_stops_is_a_fault(self, start, interpreter):
        """State FAULT within about a second, IDLE when it is back."""
        logger = start(interpreter)
        logger.command(STREAM, b"\x01")
        logger.run(500)
        logger.do(do="converter", fault="stopped")
        logger.run(1500)
        assert [one for one in logger.records() if one[0] == 8][-1][8] == 3
        logger.do(do="converter", fault=None)
        logger.run(300)
        assert [one for one in logger.records() if one[0] == 8][-1][8] == 0

    def test_shifted_bits_are_marked(self, start, interpreter):
        """Samples whose bits may be shifted are out of step, before and after they are good."""
        logger = start(interpreter, "--idle-counts", 1000)
        logger.run(500)
        logger.command(START)
        logger.run(500)
        logger.do(do="converter", fault="shifted")
        logger.run(300)
        logger.do(do="converter", fault=None)
        logger.run(500)
        logger.command(STOP)
        run = read_run(b"".join(frame(one) for one in logger.download(1)))

        quality = run.quality.tolist()
        shifted = [i for i, value in enumerate(quality) if value == 4]
        assert 36 <= len(shifted) <= 46  # 300 ms, and 16 more that are doubted for the company they keep
        assert shifted == list(range(shifted[0], shifted[-1] + 1))
        assert set(run.counts[run.quality == 0].tolist()) == {1000}

    def test_a_cut_link_loses_what_was_under_way_and_nothing_else(self, start, pull, interpreter):
        """The run goes on; STATUS is off afterwards; the download begun again is complete."""
        logger = start(interpreter)
        logger.command(HELLO)
        logger.command(STREAM, b"\x01")
        logger.do(do="load", path=str(pull[0]))
        logger.run(1000)
        logger.command(ARM)
        logger.run(12000)
        logger.do(do="cut_link")
        before = len(logger.link_bytes)
        logger.run(20000)
        assert logger.link_bytes[before:] == b""
        run = read_run(b"".join(frame(one) for one in logger.download(1)))
        assert run.loss.complete
        assert [one for one in logger.records(before) if one[0] == 8] == []

    def test_a_small_store_keeps_the_peak(self, start, pull, interpreter):
        """The store fills in the quiet time; the peak and the totals are there all the same."""
        logger = start(interpreter, "--capacity", 4500)
        records = record_pull(logger, pull[0])
        run = read_run(b"".join(frame(one) for one in records))

        assert run.end.cause == EndCause.STORE_FULL
        assert run.end.highest_counts == max(pull[1])
        assert max(run.counts) == max(pull[1])
        assert run.peak_windows[0].peak_counts == max(pull[1])

    def test_power_off_ends_the_process_at_once(self, start, interpreter):
        """Status 3."""
        logger = start(interpreter)
        logger.do(do="power_off")
        assert logger.process.wait(timeout=30) == 3

    def test_a_crash_is_told(self, start, interpreter):
        """An error event before the process ends with status 1."""
        logger = start(interpreter)
        logger.do(do="load", path="/no/such/feed")
        event = logger.wait("error")
        assert event["what"]
        assert logger.process.wait(timeout=30) == 1

    def test_nothing_is_sent_before_the_host_spoke(self, start, interpreter):
        """A terminal that merely opens the port sees nothing."""
        logger = start(interpreter)
        logger.run(3000)
        assert logger.link_bytes == b""

    def test_the_clock_can_follow_the_real_one(self, start, interpreter):
        """In that mode answers come without time being granted."""
        logger = start(interpreter)
        logger.do(do="realtime")
        logger.send(bytes.fromhex("0003090101020101010206014dbb67cc00"))  # damaged
        assert logger.link_bytes == b""
        before = logger.events[-1]["now_ms"]
        for _ in range(3):  # three at once: each is told when its time is over
            logger.put(0, bytes.fromhex("00030901010201010106014dbb67cc00"))
        for _ in range(3):
            logger.wait("idle")
        assert [one[0] for one in logger.records()] == [1, 2, 10] * 3
        assert logger.events[-1]["now_ms"] >= before + 100
