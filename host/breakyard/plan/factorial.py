"""Which specimen to pull on which day and in which order, so that factors and days can be told apart.

Every combination of levels is spread over the days as evenly as it goes; what is left over is turned from one
combination to the next (as in a Latin square), so that each level meets each day. Whether the days' shifts can then be
told from the factors' effects follows from the rank of the design (Montgomery, Design and Analysis of Experiments,
ch. 4 and 5, on blocks).
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from breakyard.errors import UsageError

MOST = 500
"""Specimens of a plan; more are not pulled outdoors."""


@dataclass(frozen=True, slots=True)
class PlannedSpecimen:
    """One specimen of a campaign: its levels, its day (from 1), and its place in the order of all pulls."""

    specimen: str
    levels: Mapping[str, str]
    day: int
    order: int


def parse_factors(text: str) -> dict[str, tuple[str, ...]]:
    """Read "material=a, b, c; orientation=flat, edge". Raises: UsageError."""
    factors: dict[str, tuple[str, ...]] = {}
    for part in filter(None, (one.strip() for one in text.split(";"))):
        name, sign, listed = (one.strip() for one in part.partition("="))
        levels = tuple(one.strip() for one in listed.split(",") if one.strip())
        if not name or not sign or len(levels) < 2:
            raise UsageError(
                f'"{part}" is no factor; write its name and two levels or more, as "material=oak, ash"'
            )
        if len(set(levels)) < len(levels):
            raise UsageError(f'{name}: a level is named twice in "{listed}"')
        if name in factors:
            raise UsageError(f'the factor "{name}" is named twice')
        factors[name] = levels
    if not factors:
        raise UsageError('name the factors, as "material=oak, ash; direction=along, across"')
    return factors


def campaign(
    factors: Mapping[str, Sequence[str]], *, each: int, days: int, seed: int
) -> tuple[PlannedSpecimen, ...]:
    """Plan `each` specimens of every combination of levels over `days` days, in a random order within each day.

    Raises: UsageError where the days could not be separated from a factor, with the least `each` that would do.
    """
    combinations = list(itertools.product(*factors.values()))
    if each < 1 or days < 1:
        raise UsageError("a campaign has one specimen of each combination and one day, or more")
    if len(combinations) * each > MOST:
        raise UsageError(
            f"{len(combinations)} combinations with {each} specimens each are more than {MOST}; take fewer levels"
        )
    placed = _placed(factors, each, days)
    lost = confounded(factors, placed, days)
    if lost:
        enough = next(
            (
                n
                for n in range(each + 1, each + days + 1)
                if not confounded(factors, _placed(factors, n, days), days)
            ),
            None,
        )
        way = f"take {enough} of each combination" if enough else "take fewer days"
        raise UsageError(
            f"with {each} of each combination over {days} days, {' and '.join(lost)} cannot be separated from the "
            f"days; {way}"
        )
    generator = np.random.default_rng(seed)
    planned: list[PlannedSpecimen] = []
    counts: dict[tuple[str, ...], int] = {}
    for day in range(1, days + 1):
        today = [combination for combination, its_day in placed if its_day == day]
        for number in generator.permutation(len(today)):
            combination = today[number]
            counts[combination] = counts.get(combination, 0) + 1
            planned.append(
                PlannedSpecimen(
                    "-".join([*combination, str(counts[combination])]),
                    dict(zip(factors, combination, strict=True)),
                    day,
                    len(planned) + 1,
                )
            )
    return tuple(planned)


def _placed(factors: Mapping[str, Sequence[str]], each: int, days: int) -> list[tuple[tuple[str, ...], int]]:
    """Each combination with the days on which its specimens are pulled."""
    placed = []
    ranges = [range(len(levels)) for levels in factors.values()]
    levels_of = list(factors.values())
    for places in itertools.product(*ranges):
        combination = tuple(levels[place] for levels, place in zip(levels_of, places, strict=True))
        for number in range(each):
            whole = number < each - each % days
            turn = number if whole else number + sum(places)
            placed.append((combination, turn % days + 1))
    return placed


def confounded(
    factors: Mapping[str, Sequence[str]], placed: Sequence[tuple[Sequence[str], int]], days: int
) -> tuple[str, ...]:
    """Factors whose effect cannot be separated from the days' shifts.

    placed: (levels in the order of the factors, day) of every specimen.
    """
    lost = []
    by_day = np.array([[float(day == one) for one in range(1, days + 1)] for _, day in placed])
    columns = {
        name: np.array(
            [[float(combination[place] == level) for level in levels] for combination, _ in placed]
        )
        for place, (name, levels) in enumerate(factors.items())
    }
    for name, own in columns.items():
        others = [by_day, *(block for other, block in columns.items() if other != name)]
        gained = np.linalg.matrix_rank(np.hstack([*others, own])) - np.linalg.matrix_rank(np.hstack(others))
        if gained < len(factors[name]) - 1:
            lost.append(name)
    return tuple(lost)


def each_for(per_level: int, factors: Mapping[str, Sequence[str]]) -> int:
    """Specimens of each combination that give every level `per_level` specimens or more."""
    combinations = math.prod(len(levels) for levels in factors.values())
    most = max(len(levels) for levels in factors.values())
    return max(1, math.ceil(per_level / (combinations // most)))
