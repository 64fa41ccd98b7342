"""Several pulls in one recording -> one curve each."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.noise import noise_of
from breakyard.curve import LoadCurve
from breakyard.pull.cycles import cycle_swings, find_cycles, last_loading, read_protocol
from breakyard.pull.glitches import without_spikes
from breakyard.pull.pauses import unloaded_of
from breakyard.pull.polarity import upright
from breakyard.pull.results import Cycle
from breakyard.pull.witnesses import prior_of

Array = NDArray[np.float64]

LOADED: Final = 0.05
"""Above this fraction of the recording's largest load something is being pulled."""

UNLOADED: Final = 0.02
"""Within a pause the load goes below this fraction: what hangs at more is still taut, as between cycles of loading."""

WORTH_A_PULL: Final = 0.1
"""A stretch that never exceeds this fraction is handling. Common practice."""

PAUSE_S: Final = 2.0
"""Pulls are apart when the load stays low for at least this long: longer than any ringing."""

BLOCK_S: Final = 0.25

AT_ONCE_S: Final = 0.5
"""A load that goes from half to a tenth within this time was not let out by a hand."""

CYCLES: Final = "cycles"
"""The flag of pulls that look like one specimen loaded again and again."""


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Loaded blocks, from first to (not with) past."""

    first: int
    past: int


def split_pulls(curve: LoadCurve, *, one_specimen: bool = False) -> tuple[LoadCurve, ...]:
    """Cut a recording in the middle of each pause between two pulls; times stay those of the recording.

    A recording of a single pull comes back as it is. Parts of several get "#1", "#2" ... after the name. A pull that
    never exceeds a tenth of the strongest one's load is taken for handling. A pause is a time without load: a load
    that is held, however long, is none. Pulls all of which but the last were let out slowly get the flag "cycles":
    they may be one specimen's. one_specimen: they are, and stay together.

    Example:
        >>> import breakyard as by
        >>> len(by.split_pulls(by.open_session("demo-session").curve("S1")))
        1
    """
    curve = upright(curve)
    good = np.flatnonzero(curve.usable)
    if len(good) < 2 or one_specimen or curve.one_specimen or curve.protocol:
        return (curve,)
    time, load = curve.time_s[good], without_spikes(curve.load_n[good])
    width = max(3, round(BLOCK_S / curve.period_s))
    blocks = load[: len(load) // width * width].reshape(-1, width)
    if len(blocks) < 2:
        return (curve,)
    low = _unloaded(np.median(blocks, axis=1), curve)
    high = float(load[: len(blocks) * width].max()) - low
    stretches = _stretches(blocks, time, width, low, high, noise_of(load))
    if len(stretches) < 2:
        return (curve,)
    broke = _let_go_at_once(stretches, time, load, width)
    if not any(broke[:-1]):
        prior = prior_of(curve)
        if prior is not None and prior.relative > 0.0 and low - prior.level_n > UNLOADED * high:
            return (curve,)  # an instrument that was zeroed says that it stayed taut
        curve = replace(curve, flags=(*curve.flags, CYCLES))
    cuts = [0]
    for before, after in pairwise(stretches):
        cuts.append(int(good[(before.past + after.first) * width // 2]))
    cuts.append(len(curve.time_s))
    spans = [(float(time[s.first * width]), float(time[s.past * width - 1])) for s in stretches]
    known = unloaded_of(time, load, spans, broke)
    return tuple(
        replace(_part(curve, begin, end, f"{curve.name}#{i}"), unloaded=unloaded)
        for i, ((begin, end), unloaded) in enumerate(zip(pairwise(cuts), known, strict=True), 1)
    )


def last_of(curve: LoadCurve) -> LoadCurve:
    """The last loading of a specimen that was loaded again and again, with what the whole recording says of its zero.

    The curve itself where there was one loading. Raises: UsageError, UnitError (the protocol).
    """
    good = np.flatnonzero(curve.usable)
    if not (curve.one_specimen or curve.protocol) or len(good) < 2:
        return curve
    time, load = curve.time_s[good], without_spikes(curve.load_n[good])
    swings = cycle_swings(load, read_protocol(curve.protocol) if curve.protocol else None)
    begin = last_loading(load, swings)
    if not begin:
        return curve
    known = unloaded_of(
        time, load, [(float(time[begin]), float(time[max(one.top for one in swings)]))], [True]
    )
    part = _part(curve, int(good[begin]), len(curve.time_s), curve.name)
    return replace(part, unloaded=known[0])


def cycles_of(curve: LoadCurve, zero_n: float) -> tuple[Cycle, ...]:
    """Every loading of a specimen that was loaded again and again, counted from this zero."""
    good = np.flatnonzero(curve.usable)
    seen = curve.load_n[good] - zero_n
    load = without_spikes(seen)
    swings = cycle_swings(load, read_protocol(curve.protocol) if curve.protocol else None)
    extension = None if curve.extension_m is None else curve.extension_m[good]
    return find_cycles(curve.time_s[good], load, seen, swings, curve.period_s, extension)


def _unloaded(levels: Array, curve: LoadCurve) -> float:
    """The level of nothing: the lowest that lasts for two blocks.

    If the recording neither begins nor ends there, it may be a hold: then the zero known beforehand, if it lies lower.
    """
    low = float(np.maximum(levels[1:], levels[:-1]).min())
    high = float(levels.max()) - low
    ends = min(float(np.median(levels[:4])), float(np.median(levels[-4:])))
    prior = prior_of(curve)
    if ends > low + LOADED * high and prior is not None:
        return min(low, prior.level_n)
    return low


def _stretches(
    blocks: Array, time: Array, width: int, low: float, high: float, noise: float
) -> list[_Stretch]:
    loaded = (blocks.max(axis=1) - low > LOADED * high).astype(np.int8)
    rest = np.median(blocks, axis=1) - low <= UNLOADED * high + 3.0 * noise
    edges = np.flatnonzero(np.diff(np.concatenate([[0], loaded, [0]])))
    found: list[_Stretch] = []
    for first, past in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        pause = time[first * width] - time[found[-1].past * width - 1] if found else np.inf
        taut = bool(found) and not rest[found[-1].past : first].any()
        if pause < PAUSE_S or taut:
            found[-1] = _Stretch(found[-1].first, past)
        elif blocks[first:past].max() - low > WORTH_A_PULL * high:
            found.append(_Stretch(first, past))
    return found


def _let_go_at_once(stretches: Sequence[_Stretch], time: Array, load: Array, width: int) -> list[bool]:
    """Of each stretch, whether its load went at once, so that something broke, or was let out by a hand.

    The fall is judged down to what lay in the pause after it, which may be a pre-tension.
    """
    found = []
    ends = [*(stretch.first * width for stretch in stretches[1:]), len(load)]
    for stretch, end in zip(stretches, ends, strict=True):
        part = slice(stretch.first * width, end)
        pause = load[min(stretch.past * width, end - 1) : end]
        t, y = time[part], load[part] - float(np.median(pause))
        if y.max() <= 0.0:  # what came after it is as high: nothing went
            found.append(False)
            continue
        last = int(np.flatnonzero(y > 0.5 * y.max())[-1])
        below = np.flatnonzero(y[last:] < 0.1 * y.max())
        found.append(not len(below) or bool(t[last + int(below[0])] - t[last] < AT_ONCE_S))
    return found


def _part(curve: LoadCurve, begin: int, end: int, name: str) -> LoadCurve:
    piece = slice(begin, end)
    return replace(
        curve,
        name=name,
        time_s=curve.time_s[piece],
        load_n=curve.load_n[piece],
        usable=curve.usable[piece],
        clipped=curve.clipped[piece],
        counts=None if curve.counts is None else curve.counts[piece],
        extension_m=None if curve.extension_m is None else curve.extension_m[piece],
        gaps=tuple(
            replace(gap, after_sample=gap.after_sample - begin)
            for gap in curve.gaps
            if begin <= gap.after_sample < end - 1
        ),
    )
