"""Flash as slow as a chip's may be, PIO and DMA before it, and a host that fetches an old run all the while."""

import random
import struct

import pytest

from breakyard.run import read_run
from breakyard.wire.frame import frame

SECONDS = 20
START, STOP = 4, 5
RING_S = {80: 3.2, 150: 1.7}
"""What PIO and DMA hold: 256 conversions."""


def conversions(path, rate):
    """Counts of which each is another one than those around it, at that rate. Invented data."""
    draw = random.Random(rate)
    counts = [20000 + 7 * (i % 997) + draw.randrange(7) for i in range(rate * 300)]
    with path.open("wb") as file:
        for i, value in enumerate(counts):
            file.write(struct.pack("<Ii", (i + 1) * 1_000_000 // rate, value))
    return counts


def record(logger, rate, tmp_path, *, erase_ms, stall_ms=0):
    """An old run, then one while that is fetched again and again; returns the latter and how often it was fetched."""
    counts = conversions(tmp_path / "ramp.feed", rate)
    logger.do(do="load", path=str(tmp_path / "ramp.feed"))
    logger.run(1000)
    logger.command(START)
    logger.run(5000)
    logger.command(STOP)
    logger.run(1000)
    logger.do(do="flash", fault=None, erase_ms=erase_ms)
    logger.command(START)
    began = logger.run(100)["now_ms"]
    fetched = 0
    while logger.run(50)["now_ms"] < began + 1000 * SECONDS:
        logger.download(1)
        fetched += 1
        if stall_ms and fetched == 3:
            logger.do(do="stall", ms=stall_ms)
    logger.command(STOP)
    logger.run(3000)
    run = read_run(b"".join(frame(one) for one in logger.download(2)))
    return run, counts, fetched


@pytest.mark.parametrize("erase_ms", [45, 90, 180, 400])
@pytest.mark.parametrize("rate", [80, 150])
def test_nothing_is_lost_while_an_old_run_is_fetched(start, tmp_path, rate, erase_ms):
    """Every conversion of 20 s, in order: typical erase (W25Q16JV: 45 ms) to the longest (400 ms), 80/s to 150/s."""
    logger = start("micropython", "--driver", "pio", "--runs", tmp_path / "flash")

    run, counts, fetched = record(logger, rate, tmp_path, erase_ms=erase_ms)

    found = run.counts.tolist()
    first = counts.index(found[0])
    assert fetched >= 3
    assert run.loss.complete
    assert run.end.missed == 0
    assert found == counts[first : first + len(found)]
    assert len(found) >= rate * SECONDS


@pytest.mark.parametrize("rate", [80, 150])
def test_what_the_ring_cannot_hold_is_counted(start, tmp_path, rate):
    """A stall of 5 s is longer than PIO and DMA bear: what is lost stands in RUN_END and as a gap."""
    logger = start("micropython", "--driver", "pio", "--runs", tmp_path / "flash")

    run, counts, _ = record(logger, rate, tmp_path, erase_ms=45, stall_ms=5000)

    found = run.counts.tolist()
    first = counts.index(found[0])
    made = counts.index(found[-1], first + rate * SECONDS) - first + 1
    assert run.loss.complete
    assert made - len(found) == run.end.missed
    assert abs(sum(gap.missing for gap in run.gaps) - run.end.missed) <= 1  # told from the time
    assert (5 - RING_S[rate]) * rate < run.end.missed <= 5 * rate
