"""Cycles of one specimen: loaded and let down again and again, then perhaps broken.

Bedding-in cycles before the break are usual for rope (ISO 2307) and for joints with fasteners (EN 12512): the fibres
find their places, and what is then read is the specimen's own.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.noise import noise_of
from breakyard.errors import UsageError
from breakyard.pull.rate import loading_rate
from breakyard.pull.results import Cycle
from breakyard.pull.swings import Swing, find_swings
from breakyard.units import parse_force

Array = NDArray[np.float64]

LET_DOWN: Final = 0.5
"""A cycle comes down to less than this fraction of its top, where no protocol says how far. Common practice."""

SMALLEST: Final = 0.05
"""Smaller falls, as a fraction of the largest load, are ripple, where no protocol says otherwise."""

NEARLY: Final = 0.9
"""The loading that is read is the last that reaches this fraction of the largest load."""

_STEP: Final = re.compile(r"(\d{1,6})\s*[x×*]\s*([\d.,]+)\s*(?:\.\.|-|–|to|\.\.\.)\s*([\d.,]+)\s*([A-Za-z]+)")
_BREAK: Final = re.compile(r"(?:then\s+)?(?:to\s+(?:the\s+)?)?break", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class CycleStep:
    """A number of cycles between two loads."""

    count: int
    low_n: float
    high_n: float


@dataclass(frozen=True, slots=True)
class Protocol:
    """What a person meant to do, as "10 x 20..300 kgf, then break"."""

    text: str
    steps: tuple[CycleStep, ...]
    breaks: bool

    @property
    def count(self) -> int:
        """How many cycles were meant."""
        return sum(step.count for step in self.steps)

    @property
    def least_n(self) -> float:
        """A fall smaller than this is none of the cycles."""
        return 0.5 * min(step.high_n - step.low_n for step in self.steps)


def read_protocol(text: str) -> Protocol:
    """Read "10 x 20..300 kgf, then break". Raises: UsageError, UnitError."""
    steps: list[CycleStep] = []
    breaks = False
    for part in (part.strip() for part in re.split(r"[,;]\s+|\bthen\b", text)):
        if not part:
            continue
        if _BREAK.fullmatch(part):
            breaks = True
            continue
        found = _STEP.fullmatch(part)
        if found is None or breaks:
            raise UsageError(
                f'the protocol "{text}" is not understood at "{part}"; write it as "10 x 20..300 kgf, then break"'
            )
        low, high = (parse_force(f"{value} {found[4]}") for value in (found[2], found[3]))
        if not (low < high and int(found[1]) > 0):
            raise UsageError(f'the protocol "{text}": a cycle goes from a lower to a higher load')
        steps.append(CycleStep(int(found[1]), low, high))
    if not steps:
        raise UsageError(f'the protocol "{text}" names no cycles; write it as "10 x 20..300 kgf, then break"')
    return Protocol(text.strip(), tuple(steps), breaks)


def cycle_swings(load: Array, protocol: Protocol | None) -> list[Swing]:
    """Each loading with the fall that ended it, in order; the last may have been the break.

    load: usable samples, shape (n,), counted from about nothing.
    """
    lowest, highest = float(load.min()), float(load.max())
    noise = noise_of(load)
    if protocol is not None:
        return find_swings(load, max(protocol.least_n, 10.0 * noise))
    swings = find_swings(load, max(SMALLEST * (highest - lowest), 10.0 * noise))
    return [one for one in swings if one.to_n - lowest < LET_DOWN * (one.from_n - lowest)]


def last_loading(load: Array, swings: Sequence[Swing]) -> int:
    """Index of the sample at which the loading that is to be read begins; 0 if there were no cycles before it."""
    if len(swings) < 2:
        return 0
    lowest = float(load.min())
    highest = max(one.from_n for one in swings) - lowest
    last = max(i for i, one in enumerate(swings) if one.from_n - lowest >= NEARLY * highest)
    if not last:
        return 0
    before, this = swings[last - 1], swings[last]
    low = load[before.bottom : this.top]
    # The pause, if there was one, belongs to what is read: it begins where the fall ended.
    near = before.to_n + 0.02 * (this.from_n - before.to_n)
    return before.bottom if not len(low) else before.bottom - _back(load, before, near)


def _back(load: Array, swing: Swing, near: float) -> int:
    """How many samples before its lowest a fall was as good as over."""
    falling = load[swing.top : swing.bottom + 1]
    return len(falling) - 1 - int(np.argmax(falling <= near))


def _tip(load: Array, seen: Array, at: int, way: float) -> float:
    """The outermost sample at a top (way 1) or in a valley (-1), as far as the load could come from the sample before.

    A wrong reading lies beyond that. load: without spikes, which also takes off a tip that lasts for one sample.
    """
    near = slice(max(at - 1, 0), at + 2)
    step = float(np.abs(np.diff(load[max(at - 4, 0) : at + 1])).max(initial=0.0))
    return way * float(min((way * seen[near]).max(), way * load[at] + step))


def find_cycles(
    time: Array, load: Array, seen: Array, swings: Sequence[Swing], period_s: float, extension: Array | None
) -> tuple[Cycle, ...]:
    """A row for each loading.

    time, load, seen: usable samples, zero subtracted, without spikes and as they are, shape (n,); extension in metres,
    of the same shape, or None.
    Hysteresis is the area of the loop: the integral of the load, above that of the valley after it, over the extension
    from valley to valley (so that what is left between its ends counts for nothing).
    """
    found = []
    begin = 0
    for number, swing in enumerate(swings, start=1):
        top, end = swing.top, swing.bottom
        rate = loading_rate(
            time[begin : end + 1], load[begin : end + 1], 0, top - begin, period_s, float(load[top])
        )
        low = begin + int(load[begin : top + 1].argmin())
        loop = None
        if extension is not None and number < len(swings):
            loop = float(np.trapezoid(load[begin : end + 1] - load[end], extension[begin : end + 1]))
        found.append(
            Cycle(
                number=number,
                top_n=_tip(load, seen, top, 1.0),
                top_s=float(time[top]),
                valley_n=_tip(load, seen, low, -1.0) if begin else float(load[low]),
                rate_n_per_s=rate.median_n_per_s,
                hysteresis_j=loop,
                extension_at_top_m=None if extension is None else float(extension[top]),
                extension_at_valley_m=None if extension is None else float(extension[low]),
            )
        )
        begin = end
    return tuple(found)
