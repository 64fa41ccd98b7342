"""In which order to pull: random, in blocks that hold each group once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from breakyard.errors import UsageError


@dataclass(frozen=True, slots=True)
class PlannedPull:
    """One place in the pulling order."""

    order: int
    block: int
    group: str
    specimen: str


def pulling_order(specimens: Sequence[tuple[str, str]], *, seed: int) -> tuple[PlannedPull, ...]:
    """Order (group, specimen) pairs into blocks that hold each group once, shuffled within each block.

    So warmth, a tiring cell or a learning crew act on all groups alike. A group with fewer specimens is spread evenly
    over the blocks. Which specimen of a group comes first is drawn as well. The same seed gives the same order.
    Raises: UsageError if there are none, or one is listed twice.
    """
    if not specimens:
        raise UsageError("no specimens to order: name the groups and how many of each")
    if len(set(specimens)) < len(specimens):
        raise UsageError("a specimen is listed twice; each is broken once")
    generator = np.random.default_rng(seed)
    by_group: dict[str, list[str]] = {}
    for group, specimen in specimens:
        by_group.setdefault(group, []).append(specimen)
    blocks = max(len(names) for names in by_group.values())
    placed: list[list[tuple[str, str]]] = [[] for _ in range(blocks)]
    for group, names in by_group.items():
        shuffled = [names[i] for i in generator.permutation(len(names))]
        offset = float(generator.random())
        for place, name in enumerate(shuffled):
            placed[int((place + offset) * blocks / len(names)) % blocks].append((group, name))
    planned: list[PlannedPull] = []
    for number, block in enumerate(placed):
        for i in generator.permutation(len(block)):
            planned.append(PlannedPull(len(planned) + 1, number + 1, *block[i]))
    return tuple(planned)
