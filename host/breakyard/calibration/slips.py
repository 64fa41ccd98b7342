"""One slip of the pen that would explain why points miss their own line: which single change makes them fit.

Two loads written in each other's place, one load ten times too large or small or in the other unit of mass, one
point that touched something. Only a change that leaves a far better line, and a good one, is named.
"""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from breakyard.calibration.fit import Floats

FITS: Final = 0.005
"""Of the highest known load: a line that points miss by less than this fits."""
BETTER: Final = 4.0
"""With a change, points must lie this many times nearer to their line than without."""
MOST_POINTS: Final = 40
"""With more, only loads that hung one after the other are exchanged in trial."""
FEWEST: Final = 4
"""Three points and a change always fit."""

FACTORS: Final = (
    (0.1, "a tenth of what was written"),
    (10.0, "ten times what was written"),
    (0.45359237, "in pounds, not kilograms"),
    (1.0 / 0.45359237, "in kilograms, not pounds"),
)


def single_slip(loads: Floats, counts: Floats, texts: Sequence[str]) -> str | None:
    """What would make the points (loads in newtons, counts, what hung) fit a line, as the end of a sentence.

    None where no single change does, or where several do equally well.
    """
    n = len(loads)
    if n < FEWEST:
        return None
    enough = min(FITS, off_the_line(loads, counts) / BETTER)
    # A change that is known explains more than a point that is left out.
    for tried in (_changes(loads, counts, texts), _without_one(loads, counts, texts)):
        found = sorted(
            (off_the_line(changed, seen), words)
            for changed, seen, words in tried
            if len(np.unique(changed)) > 1 and np.ptp(seen) > 0.0
        )
        good = [words for missed, words in found if missed <= min(enough, 2.0 * found[0][0])]
        if good:
            return good[0] if len(good) == 1 else None
    return None


def _changes(loads: Floats, counts: Floats, texts: Sequence[str]) -> Iterator[tuple[Floats, Floats, str]]:
    n = len(loads)
    for i in range(n):
        for j in range(i + 1, n if n <= MOST_POINTS else min(i + 2, n)):
            if loads[i] != loads[j]:
                changed = loads.copy()
                changed[i], changed[j] = loads[j], loads[i]
                yield (
                    changed,
                    counts,
                    f"if what hung at {i + 1} and {j + 1} was written in each other's place",
                )
    for text in dict.fromkeys(texts):
        members = [i for i in range(n) if texts[i] == text and loads[i] != 0.0]
        for chosen in [[i] for i in members] + ([members] if len(members) > 1 else []):
            for factor, words in FACTORS:
                changed = loads.copy()
                changed[chosen] *= factor
                yield changed, counts, f'if "{text}" at {_numbers(chosen)} was {words}'


def _without_one(loads: Floats, counts: Floats, texts: Sequence[str]) -> Iterator[tuple[Floats, Floats, str]]:
    n = len(loads)
    for i in range(n if n > FEWEST else 0):
        rest = np.arange(n) != i
        yield loads[rest], counts[rest], f'without point {i + 1}, "{texts[i] or "0"}"'


def _numbers(places: Sequence[int]) -> str:
    return " and ".join(str(i + 1) for i in places)


def off_the_line(loads: Floats, counts: Floats) -> float:
    """Largest distance of a point from the straight line through all, of the highest load."""
    x = (counts - counts.mean()) / np.ptp(counts)
    y = loads - loads.mean()
    slope = float(x @ y) / float(x @ x)
    return float(np.max(np.abs(y - slope * x))) / float(np.max(np.abs(loads)))
