"""Many pairs looked at together: what a probability or an interval of one pair means for all of them.

Where the pairs share one scatter: the studentized range (Tukey; for unequal groups Tukey and Kramer, never too small,
Hayter, Ann. Statist. 12, 1984, 61), or Sidak where that is sharper, as with few of many pairs. Elsewhere Sidak.
"""

import math
from dataclasses import dataclass

from breakyard.comparison.studentized import interval_factor, two_sided_probability


@dataclass(frozen=True, slots=True)
class ManyPairs:
    """A family of groups, how many pairs of them are looked at, and the coverage of all intervals together."""

    groups: int = 2
    pairs: int = 1
    coverage: float = 0.95

    @property
    def groups_counted(self) -> int:
        """With one pair alone its own test is exact, however many groups lend their scatter."""
        return self.groups if self.pairs > 1 else 2

    @property
    def of_one(self) -> float:
        """Coverage of one pair with which all keep the coverage asked for (Sidak): coverage^(1 / pairs)."""
        return math.exp(math.log(self.coverage) / self.pairs)

    def probability(self, p: float) -> float:
        """The chance that any of `pairs` pairs shows it (Sidak): 1 - (1 - p)^pairs."""
        return 1.0 if p >= 1.0 else -math.expm1(self.pairs * math.log1p(-p))

    def probability_of_t(self, t: float, freedom: int) -> float:
        """The chance that any pair gives so large a |t| with a scatter that all share."""
        single = two_sided_probability(2, float(freedom), t)
        if self.pairs == 1:
            return single
        together = two_sided_probability(self.groups_counted, float(freedom), t)
        return min(max(together, single), self.probability(single))

    def limit_of_t(self, freedom: int) -> float:
        """Where `probability_of_t` falls below the risk."""
        from scipy import special

        sidak = float(special.stdtrit(freedom, 0.5 + self.of_one / 2.0))
        if self.pairs == 1:
            return sidak
        return min(sidak, interval_factor(self.groups_counted, float(freedom), self.coverage))
