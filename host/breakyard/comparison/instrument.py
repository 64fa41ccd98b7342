"""What the instrument adds: an error that all pulls of one calibration share is no independent scatter.

A shared error shifts every specimen alike. It cancels in the ratio of two groups measured with the same calibration,
does not shrink with more specimens, and is added to every absolute claim (JCGM 100:2008, 5.2 on correlation).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from breakyard.comparison.observations import Observation

OWN_SOURCES: Final = frozenset(
    {"zero", "noise", "sampling", "drift", "filter", "break", "peak", "gap", "recovery"}
)
"""Words in a budget line's name that make it the pull's own. Any other line is taken as shared: a shared error taken
for an independent one would promise too much."""

CHANGES_WITH_LOAD: Final = ("linear", "hyster", "creep", "extrapol")
"""Parts of names of shared errors that are alike at like loads only; the others are a common scale factor."""

CHANGES_BETWEEN_PULLS: Final = (
    "misalign",
    "bending",
    "temperature",
    "remount",
    "converter",
    "friction",
    "inertia",
)
"""Parts of names of errors that may be another at each pull, or all alike in one group and not in the next (a warm
afternoon, another angle). They shift a group's level like a shared error, and cancel in no ratio."""


@dataclass(frozen=True, slots=True)
class SharedTerm:
    """A standard uncertainty in newtons that all pulls of one calibration have in common."""

    calibration: str
    source: str
    standard_n: float


def is_shared(source: str) -> bool:
    """Whether a budget line belongs to the calibration (or the other instrument's stated accuracy)."""
    words = source.lower().replace("-", " ").replace("_", " ").split()
    return "return" in words or not OWN_SOURCES.intersection(
        words
    )  # "zero return" is the cell's, not the pull's


def shared_relative(observations: Sequence["Observation"]) -> dict[tuple[str, str], float]:
    """Per calibration and source: the relative standard uncertainty it puts on the group's mean.

    Within one calibration the errors add with one sign. A group measured half with one calibration and half with
    another gets half of each.
    """
    total = sum(observation.value_n for observation in observations)
    sums: dict[tuple[str, str], float] = {}
    for observation in observations:
        for term in observation.shared:
            key = (term.calibration, term.source)
            sums[key] = sums.get(key, 0.0) + term.standard_n / total
    return sums


def shared_standard(observations: Sequence["Observation"]) -> float:
    """Relative standard uncertainty of the group's absolute level, from everything shared; 0 for no observations."""
    return math.hypot(*shared_relative(observations).values())


def own_standard_n(observations: Sequence["Observation"]) -> float:
    """Root mean square of the pulls' own standard uncertainties, in newtons; 0 for no observations."""
    if not observations:
        return 0.0
    return math.hypot(*(observation.own_n for observation in observations)) / math.sqrt(len(observations))


def ratio_standard(first: Sequence["Observation"], second: Sequence["Observation"]) -> float:
    """Relative standard uncertainty that the instrument leaves on the ratio of two groups' means.

    Same calibration: a scale error cancels; what may change between pulls (CHANGES_BETWEEN_PULLS) does not; an error
    that changes with the load (CHANGES_WITH_LOAD) is taken as fully correlated at equal loads, falling in proportion to
    none where one load is nothing of the other (an assumption: such errors are smooth over the range). Other
    calibration: nothing cancels.
    """
    mean_a = sum(o.value_n for o in first) / max(len(first), 1)
    mean_b = sum(o.value_n for o in second) / max(len(second), 1)
    alike = min(mean_a, mean_b) / max(mean_a, mean_b) if max(mean_a, mean_b) > 0.0 else 1.0
    return _left_over(shared_relative(first), shared_relative(second), alike)


def ratio_by_weights(
    observations: Sequence["Observation"], weights: "Sequence[float] | NDArray[np.float64]"
) -> float:
    """The same for a ratio whose logarithm is a weighted sum of the loads' logarithms.

    What has positive weights stands against what has negative ones, as two groups do in `ratio_standard`.
    """
    sides: list[dict[tuple[str, str], float]] = [{}, {}]
    level = [0.0, 0.0]
    for observation, weight in zip(observations, weights, strict=True):
        side = 0 if weight > 0.0 else 1
        level[side] += abs(weight) * math.log(observation.value_n)
        for term in observation.shared:
            key = (term.calibration, term.source)
            part = abs(weight) * term.standard_n / observation.value_n
            sides[side][key] = sides[side].get(key, 0.0) + part
    return _left_over(sides[0], sides[1], math.exp(-abs(level[0] - level[1])))


def _left_over(a: dict[tuple[str, str], float], b: dict[tuple[str, str], float], alike: float) -> float:
    """What is left of shared errors a and b in a ratio; alike: the smaller load over the larger."""
    variance = 0.0
    for key in sorted(a.keys() | b.keys()):
        u, v = a.get(key, 0.0), b.get(key, 0.0)
        name = key[1].lower()
        correlation = alike if any(part in name for part in CHANGES_WITH_LOAD) else 1.0
        if any(part in name for part in CHANGES_BETWEEN_PULLS):
            correlation = 0.0
        variance += max(u * u + v * v - 2.0 * correlation * u * v, 0.0)
    return math.sqrt(variance)
