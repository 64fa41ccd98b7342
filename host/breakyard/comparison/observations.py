"""Summary -> Observation: what one pull says about its group, its doubts kept beside it.

An observation that is only "at least" is censored: the specimen bears that much or more. Nothing is ever dropped
here because of its size; a pull leaves only where the asked quantity does not exist, and then it is named.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from breakyard.comparison.instrument import SharedTerm, is_shared
from breakyard.errors import DataError, UsageError
from breakyard.pull.results import BudgetLine, Summary

Quantity = Literal["strength", "first_peak", "settled"]
QUANTITIES: Final[tuple[Quantity, ...]] = ("strength", "first_peak", "settled")

NOT_DOUBTS: Final = frozenset({"no_break"})
"""Flags that are a finding about the specimen and no doubt about the number: "at least" says it already."""


@dataclass(frozen=True, slots=True)
class Observation:
    """One specimen's value in newtons (or newtons per unit of what it was divided by)."""

    group: str
    specimen: str
    value_n: float
    at_least: bool = False
    own_n: float = 0.0
    """Standard uncertainty that belongs to this pull alone: zero, noise, sampling."""
    shared: tuple[SharedTerm, ...] = ()
    """Standard uncertainties that every pull with the same calibration has in common."""
    flags: tuple[str, ...] = ()
    run: str = ""
    half_n: float = 0.0
    """Half the width of the pull's own interval, by which its load is rounded wherever it is shown; 0: not known."""
    low_n: float = 0.0
    """Lower end of the pull's own interval; 0: as far below as above."""

    def __post_init__(self) -> None:
        if not (0.0 < self.value_n < float("inf")):
            raise DataError(
                f"{self.specimen or self.run or self.group}: a load of {self.value_n:g} N cannot be compared; "
                "look at the pull's curve, or leave it out"
            )

    @property
    def sure_n(self) -> float:
        """What it bore beyond its own doubt."""
        return self.low_n if self.low_n > 0.0 else self.value_n - self.half_n

    @property
    def doubts(self) -> tuple[str, ...]:
        """The flags that are a reason to look at the pull again."""
        return tuple(flag for flag in self.flags if flag not in NOT_DOUBTS)


def observe(
    summary: Summary, *, group: str, specimen: str = "", of: Quantity = "strength", per: float | None = None
) -> Observation | None:
    """Take one pull's value, censoring and uncertainties from its summary.

    per: mass, price or area of this specimen; the value and all uncertainties are divided by it.
    Returns None where the pull has no such quantity (nothing settled after its peak).
    Raises: UsageError if `per` is not positive.
    """
    if per is not None and not 0.0 < per < float("inf"):
        raise UsageError(
            f"{specimen or summary.run.name}: cannot divide a load by {per:g}; give a number above 0"
        )
    found = _value(summary, of)
    if found is None:
        return None
    value, at_least = found
    budget, half_n = _doubt(summary, of, value, at_least)
    divisor = 1.0 if per is None else per
    calibration = summary.run.calibration_hash or summary.run.calibration or "stated"
    shared = tuple(
        SharedTerm(calibration, line.source, line.standard_n / divisor)
        for line in budget
        if is_shared(line.source) and line.standard_n > 0.0
    )
    own = math.hypot(*(line.standard_n for line in budget if not is_shared(line.source)))
    return Observation(
        group=group,
        specimen=specimen or summary.run.name,
        value_n=value / divisor,
        at_least=at_least,
        own_n=own / divisor,
        shared=shared,
        flags=summary.flags,
        run=summary.run.name,
        half_n=half_n / divisor,
        low_n=_low(summary, of, value, half_n) / divisor,
    )


def _doubt(
    summary: Summary, of: Quantity, value: float, at_least: bool
) -> tuple[tuple[BudgetLine, ...], float]:
    """The budget of the asked load, and half the width of its interval.

    A first peak has its own. Else the peak's is carried over: a scale error keeps its share of any load, and what is
    the pull's own keeps its size.
    """
    first = summary.first_peak
    if of == "first_peak" and first is not None and first.budget:
        if at_least or first.low_n is None or first.high_n is None:
            return first.budget, 2.0 * math.hypot(*(line.standard_n for line in first.budget))
        return first.budget, (first.high_n - first.low_n) / 2.0
    share = value / summary.peak.estimate_n if summary.peak.estimate_n > 0.0 else 1.0
    budget = tuple(
        replace(line, standard_n=line.standard_n * share) if is_shared(line.source) else line
        for line in summary.budget
    )
    strength = summary.strength
    if at_least or strength.high_n is None:
        return budget, 2.0 * share * math.hypot(*(line.standard_n for line in summary.budget))
    return budget, share * (strength.high_n - strength.low_n) / 2.0


def _value(summary: Summary, of: Quantity) -> tuple[float, bool] | None:
    if of == "strength":
        # Where the peak itself is a bound, only its lower end is certain; a pull that was let go held its peak.
        certain = summary.peak.bound == "lower"
        strength = summary.strength
        return (strength.low_n if certain and strength.low_n > 0.0 else strength.value_n), strength.at_least
    if of == "first_peak":
        first = summary.first_peak
        if first is None:  # it had not come when the recording ended: at least the peak
            return summary.peak.low_n, True
        if (
            first.low_n is not None and first.high_n is None and first.low_n > 0.0
        ):  # a bound, as the peak may be
            return first.low_n, True
        is_peak = first.load_n >= 0.999 * summary.peak.estimate_n
        return first.load_n, is_peak and summary.strength.at_least
    return None if summary.settled is None else (summary.settled.load_n, False)


def _low(summary: Summary, of: Quantity, value: float, half_n: float) -> float:
    """The lower end of the asked load's own interval."""
    first = summary.first_peak
    if of == "strength":
        return summary.strength.low_n
    if of == "first_peak" and first is not None and first.low_n is not None:
        return first.low_n
    return value if of == "first_peak" and first is None else value - half_n


def one_per_specimen(observations: Iterable[Observation]) -> tuple[tuple[Observation, ...], tuple[str, ...]]:
    """Keep one observation per specimen, and say in sentences which pulls that joins.

    A specimen pulled again after it was let go is one specimen, not two: its break counts, else its highest bound.
    """
    by_specimen: dict[tuple[str, str], list[Observation]] = {}
    for observation in observations:
        by_specimen.setdefault((observation.group, observation.specimen), []).append(observation)
    kept, notes = [], []
    for (_, specimen), pulls in by_specimen.items():
        chosen = _joined(pulls)
        kept.append(chosen)
        if len(pulls) > 1:
            notes.append(
                f"{specimen} was pulled {len(pulls)} times and counts once, with {chosen.run or 'one of them'}"
            )
    return tuple(kept), tuple(notes)


def _joined(pulls: Sequence[Observation]) -> Observation:
    broken = [pull for pull in pulls if not pull.at_least]
    if not broken:
        return max(pulls, key=lambda pull: pull.value_n)
    chosen = min(broken, key=lambda pull: pull.value_n)
    if len(broken) > 1:
        return replace(chosen, flags=(*chosen.flags, "broke_more_than_once"))
    return chosen
