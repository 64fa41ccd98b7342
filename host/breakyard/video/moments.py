"""A moment of a clip that may be the break, found by ear or by eye."""

from dataclasses import dataclass
from typing import Literal

Sense = Literal["sound", "picture"]


@dataclass(frozen=True, slots=True)
class ClipMoment:
    """`time_s` is the clip's; `weight` its strength in parts of the strongest one of the same sense."""

    time_s: float
    weight: float
    sense: Sense
    step_s: float = 0.0
    """Of a picture: the time since the one before it, in which it may have happened."""


def strongest(found: list[tuple[float, float]], apart_s: float, most: int) -> list[tuple[float, float]]:
    """The strongest of (time, strength), each at least this far from a stronger one; the strongest first."""
    kept: list[tuple[float, float]] = []
    for time, strength in sorted(found, key=lambda one: -one[1]):
        if strength > 0.0 and all(abs(time - other) >= apart_s for other, _ in kept):
            kept.append((time, strength))
            if len(kept) == most:
                break
    return kept
