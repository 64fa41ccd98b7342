"""The stop load: the reading at which a pull is broken off, so that no rating in the line is ever passed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from breakyard.plan.anchors import AnchorCheck
from breakyard.plan.elements import Element, ElementCheck


@dataclass(frozen=True, slots=True)
class StopLoad:
    """Loads on the specimen in newtons. `by` is the part that sets the limit."""

    load_n: float
    """As stated, but no more than the limit."""
    limit_n: float
    """Where the first rating is met: a part's working load limit as rigged, a cell's safe overload."""
    by: str
    stated: bool
    """Whether one was stated, even if it is too high."""


def stop_load(parts: Sequence[ElementCheck], peak_n: float, stated_n: float | None) -> StopLoad | None:
    """The stop load of a line under `peak_n`; None where no part has a rating."""
    limits = [
        (part.wll_n * _allowed(part.element) * peak_n / part.load_n, part.element.name)
        for part in parts
        if part.wll_n is not None and part.element.kind not in ("winch", "anchor")
    ]
    if not limits:
        return None
    limit_n, by = min(limits)
    load_n = limit_n if stated_n is None else min(stated_n, limit_n)
    return StopLoad(load_n, limit_n, by, stated_n is not None)


def _allowed(element: Element) -> float:
    return element.safe_overload if element.kind == "cell" else 1.0


def strongest_pull_n(
    parts: Sequence[ElementCheck], anchors: Sequence[AnchorCheck], peak_n: float
) -> float | None:
    """What the puller can do to the specimen at most, newtons; None where nothing is said of it.

    A winch by its own rating, and no more than what carries it holds; a vehicle by the upper friction of its tyres.
    """
    found = []
    for part in parts:
        own = part.element.wll_n or part.element.breaking_n
        if part.element.kind == "winch" and own is not None:
            found.append(own * peak_n / part.load_n)
    found += [
        held.holds_high_n * peak_n / held.load_n if held.load_n > 0.0 else math.inf
        for held in anchors
        if held.anchor.role == "pull"
    ]
    return min(found, default=None)
