"""What would narrow an interval most: the largest doubts that somebody can do something about, and what to do."""

import math
from collections.abc import Sequence
from typing import Final

from breakyard.pull.results import Summary

MOST: Final = 2
WORTH: Final = 0.1
"""Of the whole variance: what takes less of it narrows nothing that anybody would see."""

REMEDIES: Final[tuple[tuple[tuple[str, ...], str], ...]] = (
    (
        ("known masses",),
        "weigh each mass on a good scale, or hang certified ones (calibrate --masses-known)",
    ),
    (
        ("extrapolation", "non-linearity"),
        "calibrate with higher loads: a second, certified cell in the line (calibrate --transfer), or a proof load",
    ),
    (("misalignment", "bending"), "sight along the line and the cell, and state the angle (--misalignment)"),
    (
        ("temperature", "gain of the converter"),
        "state the cell's temperature, at the calibration and at the pulls (--temperature)",
    ),
    (("remounting",), "take the cell out and put it back three times under one mass (check --remount)"),
    (
        ("creep",),
        "let one mass hang for half an hour (check --hold), or state the sheet's creep (calibrate --creep)",
    ),
    (("gravity",), "say where the calibration was made (calibrate --latitude --height)"),
    (
        ("calibration fit", "lever ratio"),
        "calibrate again with more steps, up and down, and nothing touching",
    ),
    (("hysteresis", "zero return"), "hang the calibration's loads in rising order, from the empty hook"),
    (
        ("friction of blocks", "inertia of blocks"),
        "put the cell next to the specimen, with no block between them",
    ),
    (
        ("stated accuracy", "accuracy not stated"),
        "find the instrument's certificate (--accuracy)",
    ),
    (
        ("recovery of the peak", "sampling and filter"),
        "measure the converter's answer to a step (breakyard step), or pull more slowly",
    ),
    (("resolution",), "let the other instrument show or store finer steps"),
    (("zero",), "record ten seconds of the empty line before and after each pull"),
)
"""Lines of a budget that one deed narrows together, and the deed."""


def narrowing(summaries: Sequence[Summary]) -> tuple[str, ...]:
    """One sentence with the two things that would narrow these intervals most; none where nothing stands out."""
    shares = [_shares(summary) for summary in summaries if summary.peak.estimate_n > 0.0 and summary.budget]
    if not shares:
        return ()
    mean = [math.fsum(one[i] for one in shares) / len(shares) for i in range(len(REMEDIES))]
    chosen = sorted((i for i in range(len(REMEDIES)) if mean[i] >= WORTH), key=lambda i: -mean[i])[:MOST]
    if not chosen:
        return ()
    told = "; ".join(f"{REMEDIES[i][1]} ({100 * mean[i]:.0f} % of the variance)" for i in chosen)
    return (f"To narrow this most: {told}.",)


def _shares(summary: Summary) -> list[float]:
    total = math.fsum(line.standard_n**2 for line in summary.budget)
    return [
        math.fsum(line.standard_n**2 for line in summary.budget if line.source in sources) / total
        if total
        else 0.0
        for sources, _ in REMEDIES
    ]
