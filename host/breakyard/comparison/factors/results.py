"""What a comparison by factors says, as frozen values and as a document.

Loads are newtons and end in `_n` (newtons per unit of what they were divided by, as `quantity` says).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar, Literal

from breakyard.comparison.log_linear import Family
from breakyard.comparison.results import Compared
from breakyard.comparison.verdict import Verdict
from breakyard.document import Document


@dataclass(frozen=True, slots=True)
class Tested:
    """How much a cause explains beyond all the others ("type II" of the analysis of variance)."""

    name: str
    kind: Literal["block", "factor", "condition", "together"]
    freedom: int
    f: float
    p: float


@dataclass(frozen=True, slots=True)
class FactorRatio:
    """Two levels of one factor, everything else alike: first over second. All intervals hold together."""

    factor: str
    first: str
    second: str
    within: Mapping[str, str]
    """Levels of the factors that act together with this one, at which it holds; none where it holds at all."""
    ratio: float
    ratio_low: float
    ratio_high: float
    p: float
    """Probability of so large a difference by chance, for all ratios that are looked at."""
    verdict: Verdict
    instrument_relative: float
    """Relative standard uncertainty that the instrument leaves on the ratio."""
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class Shift:
    """How much more everything carried on one day (or other block) than on the first; its interval by itself."""

    block: str
    level: str
    first: str
    ratio: float
    ratio_low: float
    ratio_high: float


@dataclass(frozen=True, slots=True)
class ConditionEffect:
    """What a condition does over the range that was seen; its interval by itself."""

    condition: str
    from_value: float
    to_value: float
    ratio: float
    """Load at `to_value` over load at `from_value`."""
    ratio_low: float
    ratio_high: float
    p: float


@dataclass(frozen=True, slots=True)
class ActTogether:
    """Whether two factors act together: whether the effect of one depends on the level of the other."""

    factors: tuple[str, str]
    shown: bool
    p: float | None
    """None where too few combinations or specimens were pulled to look."""
    sentence: str


@dataclass(frozen=True, slots=True)
class Combination:
    """One combination of levels: the load that half of such specimens bear, days and conditions at their middle.

    The interval is by itself, and includes what all pulls share of the instrument.
    """

    levels: Mapping[str, str]
    n: int
    at_least: int
    median_n: float | None
    low_n: float | None
    high_n: float | None

    @property
    def name(self) -> str:
        """Its levels in a line."""
        return ", ".join(self.levels.values())


@dataclass(frozen=True, slots=True)
class FamilyScatter:
    """One curve fitted to all specimens."""

    family: Family
    cv: float
    """Scatter within a combination (SD of the logarithms)."""
    log_likelihood: float


@dataclass(frozen=True, slots=True, repr=False)
class FactorComparison(Document):
    """What each factor, day and condition does to the load, in ratios with intervals."""

    SCHEMA: ClassVar = "breakyard.factors/1"
    NOUN: ClassVar = "comparison by factors"
    AGAIN: ClassVar = "compare again"

    quantity: Compared
    coverage: float
    matters: float
    factors: tuple[str, ...]
    block: str | None
    conditions: tuple[str, ...]
    specimens: int
    breaks: int
    freedom: int
    """Breaks less what was fitted."""
    families: tuple[FamilyScatter, ...]
    """Curves that the loads leave plausible, the likelier first; every interval is the widest of theirs."""
    tests: tuple[Tested, ...]
    together: tuple[ActTogether, ...]
    ratios: tuple[FactorRatio, ...]
    shifts: tuple[Shift, ...]
    slopes: tuple[ConditionEffect, ...]
    combinations: tuple[Combination, ...]
    """The strongest first."""
    cannot_tell: tuple[str, ...]
    """Sentences: effects that these specimens cannot tell apart, and why."""
    left_out: tuple[str, ...]
    notes: tuple[str, ...] = field(default=())

    def __repr__(self) -> str:
        return (
            f"FactorComparison of {self.quantity.name.replace('_', ' ')} by {', '.join(self.factors)}: "
            f"{self.specimens} specimens, {len(self.ratios)} ratios"
        )
