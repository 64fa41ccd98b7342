"""A virtual logger whose cell is pulled when somebody asks: what stands in for a yard when there is only a computer."""

import random
from pathlib import Path
from typing import Final

from breakyard.simulate import recipes
from breakyard.simulate.cell import Cell
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import Converter
from breakyard.simulate.feed import write_feed
from breakyard.simulate.logger import VirtualLogger
from breakyard.simulate.phases import Hold, Phase
from breakyard.simulate.pull import pull
from breakyard.simulate.releases import Hang

_KGF: Final = 9.80665
_G: Final = 9.81

RIG: Final = recipes.Rig(quiet_s=2.0, bumps=0, slack_s=1.0, line_n=1.2 * _KGF)


class PullsOnDemand:
    """Pulls of invented specimens, each another one: brittle, progressive, yielding, or let go again.

    Args:
        logger: running.
        folder: gets the feeds.
        cell, converter: what the session's calibration was made with.
        seed: the first pull's; the same seed gives the same pulls.
    """

    def __init__(
        self, logger: VirtualLogger, folder: Path, cell: Cell, converter: Converter, seed: int = 1
    ) -> None:
        self._logger, self._folder = logger, folder
        self._cell, self._converter = cell, converter
        self._seed = seed

    async def quiet(self) -> None:
        """Let the converter deliver an unloaded cell, with its noise, and from then on its mean."""
        await self._play([Hold(5.0)], 0)

    async def pull(self) -> None:
        """Begin a pull: it rises two to three seconds from now."""
        draw = random.Random(self._seed)
        await self._play(_phases(draw), self._seed)
        self._seed += 1

    async def hang(self) -> None:
        """Hang something that swings on slings: these alone for 12 s, then 80 to 200 kg for half a minute."""
        draw = random.Random(self._seed)
        phases: list[Phase] = [
            Hang(5.0 * _G, take_s=0.5, hold_s=12.0, swing_rad=0.02),
            Hang((5.0 + draw.uniform(80.0, 200.0)) * _G, take_s=2.0, hold_s=30.0, swing_rad=0.08),
        ]
        await self._play(phases, self._seed)
        self._seed += 1

    async def _play(self, phases: list[Phase], seed: int) -> None:
        feed = self._folder / "pull.feed"
        truth = pull(phases, seed=seed, clear=True)
        write_feed(feed, measure(truth, self._cell, self._converter, seed=seed))
        await self._logger.load(feed)


def _phases(draw: random.Random) -> list[Phase]:
    k = _KGF
    rate = draw.uniform(50, 120) * k
    match draw.choice(("brittle", "brittle", "progressive", "yielding", "let go")):
        case "brittle":
            return recipes.brittle(RIG, peak_n=draw.uniform(380, 520) * k, rate_n_per_s=rate)
        case "progressive":
            first = draw.uniform(280, 330) * k
            return recipes.progressive(
                RIG, drops=((first, 40 * k), (1.15 * first, 60 * k)), last_n=1.25 * first, rate_n_per_s=rate
            )
        case "yielding":
            peak = draw.uniform(600, 800) * k
            return recipes.yielding(RIG, yield_n=0.75 * peak, peak_n=peak, rate_n_per_s=rate, soften_n=45 * k)
        case _:
            return recipes.let_go(RIG, peak_n=draw.uniform(300, 400) * k, rate_n_per_s=rate)
