"""Whether a load was held for a stated time, decided with a guard band, so that doubt never counts as held.

A measured lowest load m with standard uncertainty u shows that the true load stayed at or above the target T if
m >= T + w, with the guard band w = 1.645 u: then the risk of calling held what was not is at most 5 % (JCGM 106:2012,
8.3.2, guarded acceptance; the probability of conformity, 7.2.2, is Phi((m - T) / u)). By the same band on the other
side it was not held. Between the two nothing is shown, and it says what to aim for.
"""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from breakyard.curve import LoadCurve
from breakyard.errors import UsageError
from breakyard.pull.glitches import without_spikes
from breakyard.pull.results import Summary

Array = NDArray[np.float64]
Verdict = Literal["held", "not held", "not shown"]

ONE_SIDED: Final = 1.645
"""Quantile of the normal distribution at 95 %."""

LONGEST_GAP_S: Final = 1.0
"""Over a longer pause between samples nobody knows the load: a hold ends there."""


@dataclass(frozen=True, slots=True)
class Proof:
    """A hold against what was asked."""

    target_n: float
    for_s: float
    verdict: Verdict
    probability: float
    """That the load stayed at or above the target for the time, by the normal distribution; 0 without such a window."""
    above_s: float
    """Longest time at or above the target by the reading."""
    surely_above_s: float
    """Longest time at or above target and guard band."""
    lowest_n: float | None
    """Lowest load in the best window of the asked length; None if there was none."""
    window_start_s: float | None
    standard_n: float
    """Standard uncertainty of a load as large as the target."""
    guard_n: float
    aim_n: float | None
    """What to pull to next time, so that the guard band and what the load sagged are allowed for; None if held."""
    sagged_n: float | None
    """By how much the load fell within the window."""
    broke: bool
    broke_n: float | None
    zero_shift_n: float | None
    """Unloaded reading afterwards less before."""
    lasting_extension_m: float | None
    """Extension that was left after it was let down; None where no extension is known."""


@dataclass
class HoldClock:
    """Seconds at or above a load without a break, while it happens; for a live number, which decides nothing."""

    target_n: float
    seconds: float = 0.0
    _since_s: float | None = None

    def seen(self, load_n: float, at_s: float) -> float:
        """Take one load at one moment; returns the seconds so far."""
        if load_n < self.target_n:
            self._since_s, self.seconds = None, 0.0
        else:
            if self._since_s is None:
                self._since_s = at_s
            self.seconds = at_s - self._since_s
        return self.seconds


def prove(
    curve: LoadCurve,
    summary: Summary,
    *,
    target_n: float,
    for_s: float,
    standard_n: Callable[[float], float],
) -> Proof:
    """Hold a pull against a load and a time.

    standard_n: of a load of that size, in newtons. Raises: UsageError for a load or a time that cannot be.
    """
    if not (0.0 < target_n < math.inf and 0.0 < for_s < math.inf):
        raise UsageError("a hold needs a load and a time above 0")
    good = np.flatnonzero(curve.usable)
    time = curve.time_s[good]
    load = without_spikes(curve.load_n[good] - summary.zero.load_n)
    spread = standard_n(target_n)
    guard = ONE_SIDED * spread
    pieces = _pieces(time)
    best = max((_best(time, load, piece, for_s) for piece in pieces), default=(-math.inf, 0, 0))
    lowest, first, _ = best
    found = math.isfinite(lowest)
    # A recording that ends while the load is still on does not tell how long it was held.
    verdict: Verdict = "not shown"
    if found and lowest >= target_n + guard:
        verdict = "held"
    elif lowest < target_n - guard and load[-1] < target_n - guard:
        verdict = "not held"
    start = float(np.median(load[first : first + max(1, round(0.5 / curve.period_s))])) if found else 0.0
    sagged = max(start - lowest, 0.0) if found else None
    broke = summary.failure.manner != "none"
    return Proof(
        target_n=target_n,
        for_s=for_s,
        verdict=verdict,
        probability=_phi((lowest - target_n) / spread)
        if found and spread > 0.0
        else float(verdict == "held"),
        above_s=_longest(time, load, pieces, target_n),
        surely_above_s=_longest(time, load, pieces, target_n + guard),
        lowest_n=lowest if found else None,
        window_start_s=float(time[first]) if found else None,
        standard_n=spread,
        guard_n=guard,
        aim_n=None if verdict == "held" or broke else target_n + guard + (sagged or 0.0),
        sagged_n=sagged,
        broke=broke,
        broke_n=summary.failure.load_n if broke else None,
        zero_shift_n=summary.zero.shift_n,
        lasting_extension_m=None
        if curve.extension_m is None
        else _left(time, load, curve.extension_m[good], summary),
    )


def _pieces(time: Array) -> list[slice]:
    cuts = [0, *(np.flatnonzero(np.diff(time) > LONGEST_GAP_S) + 1).tolist(), len(time)]
    return [slice(begin, end) for begin, end in pairwise(cuts) if end > begin]


def _best(time: Array, load: Array, piece: slice, for_s: float) -> tuple[float, int, int]:
    """The largest of the lowest loads of all windows of this length, with the window; minus infinity without one."""
    best, where = -math.inf, (0, 0)
    lowest: deque[int] = deque()
    begin = piece.start
    for i in range(piece.start, piece.stop):
        while lowest and load[lowest[-1]] >= load[i]:
            lowest.pop()
        lowest.append(i)
        while begin + 1 <= i and time[i] - time[begin + 1] >= for_s:
            begin += 1
        while lowest[0] < begin:
            lowest.popleft()
        if time[i] - time[begin] >= for_s and load[lowest[0]] > best:
            best, where = float(load[lowest[0]]), (begin, i)
    return (best, *where)


def _longest(time: Array, load: Array, pieces: list[slice], level: float) -> float:
    """The longest time without a sample below the level."""
    longest = 0.0
    for piece in pieces:
        above = (load[piece] >= level).astype(np.int8)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], above, [0]])))
        for first, past in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            longest = max(longest, float(time[piece][past - 1] - time[piece][first]))
    return longest


def _left(time: Array, load: Array, extension: Array, summary: Summary) -> float | None:
    """Extension after it was let down less that before; None if it was not let down in the recording."""
    before = time <= summary.onset_s
    top = int(np.argmax(load))
    after = np.arange(len(load)) > top
    after &= load < 0.05 * load[top]
    if not before.any() or not after.any():
        return None
    return float(np.median(extension[after]) - np.median(extension[before]))


def _phi(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
