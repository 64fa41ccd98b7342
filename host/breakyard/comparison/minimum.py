"""Groups held against a load that was asked for: how many bore it, and whether that may be claimed of the next ones.

The claim is the tolerance bound of the group's scatter (95 % of such parts, with 95 % confidence; tolerance.py). A
group in which nothing broke has no scatter to go by; what n of n that held show is the success run (share_surviving).
"""

from dataclasses import dataclass
from typing import Final, Literal

from breakyard.comparison.groups import Group
from breakyard.comparison.results import Comparison
from breakyard.comparison.tolerance import share_surviving
from breakyard.errors import UsageError

Outcome = Literal["shown", "not_shown", "broke_below"]

CLAIM: Final = "95/95"
"""The bound that the claim rests on, by its name in `BOUNDS`."""


@dataclass(frozen=True, slots=True)
class AgainstMinimum:
    """One group against a load; in newtons, or as parts of what each specimen had to bear."""

    group: str
    minimum_n: float
    n: int
    above: int
    """Bore it, beyond the pull's own interval."""
    below: int
    """Broke below it, beyond the pull's own interval."""
    bound_n: float | None
    """95 % of such parts bear this much, 95 % sure; None where too few broke."""
    share_shown: float | None
    """Share of such parts that bear it, 95 % sure, where nothing broke below and no bound is known."""
    outcome: Outcome


def against_minimum(comparison: Comparison, minimum_n: float) -> tuple[AgainstMinimum, ...]:
    """Hold each group against a load. Raises: UsageError for a load that is not above nothing."""
    if not 0.0 < minimum_n < float("inf"):
        raise UsageError(f"a load of {minimum_n:g} N cannot be asked for: give one above 0")
    return tuple(_group(group, minimum_n) for group in comparison.groups)


def _group(group: Group, minimum_n: float) -> AgainstMinimum:
    above = sum(pull.sure_n >= minimum_n for pull in group.pulls)
    below = sum(pull.value_n + pull.half_n < minimum_n for pull in group.pulls if not pull.at_least)
    bound = next(one.value_n for one in group.bounds if one.name == CLAIM)
    share = share_surviving(group.n, 0.95) if bound is None and above == group.n else None
    outcome: Outcome = "not_shown"
    if below:
        outcome = "broke_below"
    elif bound is not None and bound >= minimum_n:
        outcome = "shown"
    return AgainstMinimum(group.name, minimum_n, group.n, above, below, bound, share, outcome)


@dataclass(frozen=True, slots=True)
class AgainstReference:
    """A group's load as a share of a reference group's, against the share that was asked for."""

    group: str
    reference: str
    minimum: float
    share: float | None
    low: float | None
    high: float | None
    outcome: Literal["shown", "not_shown", "less"]


def against_reference(comparison: Comparison, minimum: float) -> tuple[AgainstReference, ...]:
    """Hold each group against a share of the reference group, as for what strength is left after wear.

    Raises: UsageError without a reference group, or for a share out of range.
    """
    if comparison.reference is None:
        raise UsageError("a share is of another group: name it with --reference")
    if not 0.0 < minimum < 10.0:
        raise UsageError(f"a share of {minimum:g} cannot be asked for: give one above 0, as 80%")
    made: list[AgainstReference] = []
    for pair in comparison.pairs:
        low, high = pair.ratio_low, pair.ratio_high
        outcome: Literal["shown", "not_shown", "less"] = "not_shown"
        if low is not None and low >= minimum:
            outcome = "shown"
        elif high is not None and high < minimum:
            outcome = "less"
        made.append(AgainstReference(pair.first, pair.second, minimum, pair.ratio, low, high, outcome))
    return tuple(made)
