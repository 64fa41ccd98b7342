"""Several pulls in one recording -> one curve each."""

from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.curve import LoadCurve

LOADED: Final = 0.05
"""Above this fraction of the recording's largest load something is being pulled."""

WORTH_A_PULL: Final = 0.1
"""A stretch that never exceeds this fraction is handling. Common practice."""

PAUSE_S: Final = 2.0
"""Pulls are apart when the load stays low for at least this long: longer than any ringing."""


def split_pulls(curve: LoadCurve) -> tuple[LoadCurve, ...]:
    """Cut a recording in the middle of each pause between two pulls; times stay those of the recording.

    A recording of a single pull comes back as it is. Parts of several get "#1", "#2" ... after the name. A pull that
    never exceeds a tenth of the strongest one's load is taken for handling.
    """
    good = np.flatnonzero(curve.usable)
    if len(good) < 2:
        return (curve,)
    time, load = curve.time_s[good], _without_spikes(curve.load_n[good])
    width = max(3, round(0.25 / curve.period_s))
    blocks = load[: len(load) // width * width].reshape(-1, width)
    if len(blocks) < 2:
        return (curve,)
    levels = np.median(blocks, axis=1)
    low = float(np.quantile(levels, 0.05))
    high = float(load[: len(blocks) * width].max()) - low
    loaded = (blocks.max(axis=1) - low > LOADED * high).astype(np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], loaded, [0]])))
    stretches: list[tuple[int, int]] = []
    for first, past in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        pause = time[first * width] - time[stretches[-1][1] * width - 1] if stretches else np.inf
        if pause < PAUSE_S:
            stretches[-1] = (stretches[-1][0], past)
        elif blocks[first:past].max() - low > WORTH_A_PULL * high:
            stretches.append((first, past))
    if len(stretches) < 2:
        return (curve,)
    cuts = [0]
    for (_, past), (first, _) in pairwise(stretches):
        cuts.append(int(good[(past + first) * width // 2]))
    cuts.append(len(curve.time_s))
    return tuple(
        _part(curve, begin, end, f"{curve.name}#{i}") for i, (begin, end) in enumerate(pairwise(cuts), 1)
    )


def _without_spikes(load: NDArray[np.float64]) -> NDArray[np.float64]:
    """Medians of three: one wrong reading must not make all real pulls look small."""
    if len(load) < 3:
        return load
    middle = np.median(np.stack([load[:-2], load[1:-1], load[2:]]), axis=0)
    return np.concatenate([load[:1], middle, load[-1:]])


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
