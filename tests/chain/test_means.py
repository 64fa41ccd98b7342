"""Hours of a hold in a store that is small: the firmware itself takes means, the host reads what it took."""

import asyncio
from pathlib import Path

import numpy as np
import pytest
from analysis_cases import calibrated

from breakyard.curve import MEANS, curve_from_run
from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.pull.summarize import summarize
from breakyard.run import Run, read_run
from breakyard.simulate.families import Case, family
from breakyard.simulate.feed import write_feed
from breakyard.simulate.logger import VirtualLogger
from breakyard.wire.layout import Setting


def recorded(folder: Path, case: Case, mean_ms: int) -> tuple[Run, int]:
    """The run of a case's conversions by the firmware, set to means of so many milliseconds; and its bytes."""
    write_feed(folder / "pull.feed", case.conversions)
    path = folder / f"{mean_ms}.run"

    async def story() -> None:
        async with (
            VirtualLogger("micropython") as logger,
            Client(logger.link(), answer_timeout_s=60.0) as client,
        ):
            await client.set(Setting.MEAN_MS, mean_ms)
            await logger.load(folder / "pull.feed")
            run = await client.start()
            await logger.run(float(case.conversions.time_s[-1]))
            await client.stop()
            assert await fetch(client, run, path) is not None

    asyncio.run(story())
    return read_run(path.read_bytes()), path.stat().st_size


@pytest.mark.parametrize("name", ["slow_brittle", "let_go"])
def test_what_the_logger_made_means_of_is_read(name: str, micropython: str, tmp_path: Path) -> None:
    """A mean a second: the largest sample as it was, the truth in the interval, no break where it was let go."""
    case = family(name, 0)
    calibration = calibrated(0, "good", case.cell)
    whole, long = recorded(tmp_path, case, 0)
    means, short = recorded(tmp_path, case, 1000)

    summary = summarize(curve_from_run(means, calibration))
    every = summarize(curve_from_run(whole, calibration))

    assert means.loss.complete
    assert means.means is not None
    assert int(means.means.highest.max()) == int(whole.counts.max())
    sums = means.means.mean * means.means.number
    assert int(means.means.number.sum()) == len(whole.counts)
    assert float(sums.sum()) / len(whole.counts) == pytest.approx(float(np.mean(whole.counts)), abs=0.6)
    assert short < long / 2
    assert MEANS in summary.flags
    assert summary.peak.low_n <= case.truth.peak_n
    assert summary.peak.high_n is None or case.truth.peak_n <= summary.peak.high_n
    assert summary.peak.low_n <= every.peak.estimate_n
    assert summary.strength.at_least == every.strength.at_least
