"""Faults of converter and wires, and flash stalls, done to the whole firmware with each of its three drivers."""

import random
import struct

import pytest

from breakyard.run import read_run
from breakyard.wire.frame import frame

ARM, START, STOP, STREAM = 3, 4, 5, 11
STATUS, LOG = 8, 11
IDLE, ARMED, RECORDING, FAULT = range(4)
DRIVERS = ("gpio", "pio", "spi")
ZERO = 300_000  # counts of the unloaded cell; a shifted or missing bit would look like a load
THRESHOLD = 20_000

NAMED = {
    "stopped": "data line stays high",
    "stuck_high": "data line stays high",
    "stuck_low": "data line stays low",
    "no_clock": "clock does not reach the converter",
    "all_ones": "data line is not driven",
    "shifted": "out of step",
    "doubled": "out of step",
    "rail_high": "high rail",
    "rail_low": "low rail",
    "slow": "wrong rate: 23",
    "slower": "wrong rate: 5.7",
    "fast": "wrong rate: 36",
}


def write_feed(path, counts, step_us):
    with path.open("wb") as file:
        for i, value in enumerate(counts):
            file.write(struct.pack("<Ii", (i + 1) * step_us, value))
    return path


@pytest.fixture(scope="module")
def quiet(tmp_path_factory):
    """An unloaded cell for some minutes, with the noise of the data sheet at 80/s. Invented data."""
    draw = random.Random(3)
    counts = [ZERO + round(draw.gauss(0, 39)) for _ in range(30_000)]
    return write_feed(tmp_path_factory.mktemp("feed") / "quiet.feed", counts, 10870)


def lines(logger, start):
    """Texts of the LOG records since a place."""
    return [one[18 : 18 + one[17]].decode() for one in logger.records(start) if one[0] == LOG]


def state(logger):
    return [one for one in logger.records() if one[0] == STATUS][-1][8]


@pytest.mark.parametrize("driver", DRIVERS)
def test_a_fault_is_named_within_two_seconds_and_is_over_when_it_is(start, quiet, driver):
    """Not armed: the log names each fault, STATUS says FAULT; well again, it is IDLE and says so."""
    logger = start(None, "--driver", driver)
    logger.command(STREAM, b"\x01")
    logger.do(do="load", path=str(quiet))
    logger.run(3000)
    assert lines(logger, 0) == []
    for fault, name in NAMED.items():
        before = len(logger.link_bytes)
        logger.do(do="converter", fault=fault)
        logger.run(2000)

        assert state(logger) == FAULT, fault
        assert [name in line for line in lines(logger, before)][:1] == [True], (fault, lines(logger, before))
        before = len(logger.link_bytes)
        logger.do(do="converter", fault=None)
        logger.run(3000)
        assert state(logger) == IDLE, fault
        assert lines(logger, before)[-1] == "converter delivers again"


@pytest.mark.parametrize("driver", DRIVERS)
def test_no_fault_makes_a_load(start, quiet, driver):
    """Armed: a fault is named all the same, and no sample that counts as usable is farther from zero than noise."""
    logger = start(None, "--driver", driver)
    logger.command(STREAM, b"\x01")
    logger.do(do="load", path=str(quiet))
    logger.run(1000)
    usable = 0
    for fault, name in NAMED.items():
        logger.command(ARM)
        logger.run(3000)
        assert state(logger) == ARMED
        before = len(logger.link_bytes)
        logger.do(do="converter", fault=fault)
        logger.run(2000)
        assert any(name in line for line in lines(logger, before)), (fault, lines(logger, before))
        logger.do(do="converter", fault=None)
        logger.run(3000)
        began = [int(line.split()[1]) for line in lines(logger, before) if line.endswith(" began")]
        logger.command(STOP)
        logger.run(500)
        assert len(began) == (1 if fault.startswith("rail") else 0), fault
        for number in began:
            run = read_run(b"".join(frame(one) for one in logger.download(number)))
            counts = run.counts[run.usable]
            usable += len(counts)
            assert abs(counts - ZERO).max() < 400
            assert run.clipped.any()
    assert usable > 100


@pytest.mark.parametrize("driver", DRIVERS)
def test_faults_while_recording_are_named_and_marked(start, quiet, driver):
    """One run through all faults: each is named within two seconds, and what counts as usable is the unloaded cell."""
    logger = start(None, "--driver", driver)
    logger.command(STREAM, b"\x01")
    logger.do(do="load", path=str(quiet))
    logger.run(2000)
    logger.command(START)
    for fault, name in NAMED.items():
        logger.run(3000)
        before = len(logger.link_bytes)
        logger.do(do="converter", fault=fault)
        logger.run(2000)
        assert any(name in line for line in lines(logger, before)), (fault, lines(logger, before))
        logger.do(do="converter", fault=None)
    logger.run(3000)
    logger.command(STOP)
    run = read_run(b"".join(frame(one) for one in logger.download(1)))

    assert run.loss.complete
    assert run.usable.sum() > 92 * 3 * len(NAMED) * 0.8
    assert abs(run.counts[run.usable] - ZERO).max() < 400
    assert (run.quality == 4).sum() > 500
    assert run.clipped.any()


@pytest.mark.parametrize("interpreter", ["micropython", "cpython"])
@pytest.mark.parametrize("driver", DRIVERS)
def test_flash_stalls_in_a_run(start, tmp_path, driver, interpreter):
    """Stalls of 45 and 400 ms: with PIO the run has every conversion at its time; else it has gaps that add up."""
    draw = random.Random(4)
    counts = list(range(0, 60_000, 10))
    step_us = 6670
    logger = start(interpreter, "--driver", driver)
    logger.do(do="load", path=str(write_feed(tmp_path / "ramp.feed", counts, step_us)))
    logger.run(1000)
    logger.command(START)
    for _ in range(20):
        logger.run(draw.randrange(300, 1500))
        logger.do(do="stall", ms=draw.choice((45, 400)))
    logger.run(1500)
    logger.command(STOP)
    run = read_run(b"".join(frame(one) for one in logger.download(1)))
    steps = (run.counts[1:] - run.counts[:-1]) // 10

    assert run.loss.complete
    assert len(run.counts) > 2000
    assert run.end.missed == sum(steps - 1)
    if driver == "pio":
        assert set(steps.tolist()) == {1}
        assert run.gaps == ()
        true_s = (run.counts - run.counts[0]) * (step_us * 1e-7)
        assert abs(run.time_s - true_s).max() < 25e-6  # half a step of the record, and the micros
        assert set(run.quality.tolist()) == {0}
    else:
        assert len(run.gaps) == 20
        # The host has only the times, and after a stall they are up to a period late; the logger's total is exact.
        assert 0 <= sum(gap.missing for gap in run.gaps) - run.end.missed <= 20
        assert {gap.cause for gap in run.gaps} == {"conversion"}


def stalled_run(start, tmp_path, rate, stalls):
    """A run with a stall of so many milliseconds every 300 of them; the run and what was said. PIO and DMA go on."""
    logger = start("cpython", "--driver", "pio")
    feed = write_feed(tmp_path / "ramp.feed", list(range(0, 80_000, 10)), 1_000_000 // rate)
    logger.do(do="load", path=str(feed))
    logger.run(2000)
    logger.command(START)
    for milliseconds in stalls:
        logger.run(300)
        logger.do(do="stall", ms=milliseconds)
    logger.run(3000)
    logger.command(STOP)
    return read_run(b"".join(frame(one) for one in logger.download(1))), lines(logger, 0)


@pytest.mark.parametrize("rate", [80, 150])
@pytest.mark.parametrize("milliseconds", [45, 90, 180, 400, 1400])
def test_stalls_close_together_lose_nothing_and_are_no_fault(start, tmp_path, rate, milliseconds):
    """Erases as slow as the data sheet of the flash allows, one after another; 1.4 s is what a ring of 256 bears."""
    run, said = stalled_run(start, tmp_path, rate, [milliseconds] * 12)

    assert set((run.counts[1:] - run.counts[:-1]).tolist()) == {10}
    assert run.end.missed == run.end.samples_not_stored == 0
    assert run.loss.complete
    assert not [line for line in said if "converter" in line]


@pytest.mark.parametrize("rate", [80, 150])
def test_what_a_stall_beyond_the_ring_loses_is_counted(start, tmp_path, rate):
    """Ten seconds: all but half a ring is lost, more than fit into the byte that a sample has for it."""
    run, said = stalled_run(start, tmp_path, rate, [10_000])
    steps = (run.counts[1:] - run.counts[:-1]) // 10

    assert run.end.missed == sum(steps - 1) > 600
    assert not [line for line in said if "converter" in line]
