"""The same question as calibration_coverage.py, through the logger: feed, firmware, protocol, file, calibration.

    python tests/bench/calibration_through_logger.py [--seeds 1000] [--jobs 2] [--first 0] [--keep FILE]

The firmware runs in the MicroPython interpreter (CPython where there is none) in front of the simulated converter;
the run is begun by command, fetched over the link, and calibrated from its file. One logger serves many seeds, as
in a yard; each run is erased once it was fetched. With --keep a stopped benchmark goes on where it was.
"""

import argparse
import asyncio
import json
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

import numpy as np
from calibration_coverage import ASKED_KGF, Case, calibrated, make_case, report

from breakyard.calibration import Calibration
from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.run import read_run
from breakyard.simulate.feed import write_feed
from breakyard.simulate.logger import VirtualLogger

SEEDS_PER_LOGGER = 20
TIMEOUT_S = 120.0


async def recorded(logger: VirtualLogger, client: Client, case: Case, folder: Path) -> Path:
    """A: START, then the masses are hung.  B: the logger samples.  A: STOP, fetch, erase."""
    feed, path = folder / "calibration.feed", folder / "calibration.run"
    path.unlink(missing_ok=True)
    write_feed(feed, case.conversions)
    await logger.load(feed)
    run = await client.start()
    await logger.run(float(case.conversions.time_s[-1]))
    await client.stop()
    end = await fetch(client, run, path)
    assert end is not None
    await client.erase(run, end.sha256)
    return path


async def through_logger(seeds: list[int]) -> list[list[tuple[float, float]]]:
    """(error, half width) for each seed and load asked, all with one logger."""
    answers = []
    with tempfile.TemporaryDirectory() as folder:
        async with (
            VirtualLogger() as logger,
            Client(logger.link(), first_index=1, answer_timeout_s=TIMEOUT_S) as client,
        ):
            await client.hello()
            for seed in seeds:
                case = make_case(seed)
                path = await recorded(logger, client, case, Path(folder))
                run = read_run(path.read_bytes(), name=path.stem)
                assert run.loss.complete, seed
                made: Calibration = calibrated(run, case)
                answers.append(case.judge(made))
    return answers


def some(seeds: list[int]) -> list[list[tuple[float, float]]]:
    """One process's share."""
    return asyncio.run(through_logger(seeds))


def main() -> int:
    """Print the figures; 1 if the coverage or the width misses the aim."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="one line per seed; seeds that are in it are not run again")
    arguments = parser.parse_args()
    seeds = range(arguments.first, arguments.first + arguments.seeds)
    found: dict[int, list[tuple[float, float]]] = {}
    if arguments.keep and arguments.keep.exists():
        found = dict(map(json.loads, arguments.keep.read_text().splitlines()))
    left = [seed for seed in seeds if seed not in found]
    shares = [left[at : at + SEEDS_PER_LOGGER] for at in range(0, len(left), SEEDS_PER_LOGGER)]
    with ProcessPoolExecutor(arguments.jobs) as pool:
        working = {pool.submit(some, share): share for share in shares}
        for done in as_completed(working):
            new = list(zip(working[done], done.result(), strict=True))
            found.update(new)
            if arguments.keep:
                with arguments.keep.open("a") as file:
                    file.writelines(json.dumps(line) + "\n" for line in new)
    results = np.array([found[seed] for seed in seeds])
    assert results.shape == (len(seeds), len(ASKED_KGF), 2)
    return int(report(results))


if __name__ == "__main__":
    sys.exit(main())
