"""Terms of an uncertainty budget and how they combine.

Owns: the arithmetic of the GUM (JCGM 100:2008), clauses 5 and G.4. Knows nothing of cells or counts.
All terms are standard uncertainties in newtons and are taken as independent; whoever builds them
must put what is correlated into one term.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from breakyard.errors import UsageError


@dataclass(frozen=True, slots=True)
class Term:
    """One source of doubt: a standard uncertainty in newtons and how well it is itself known.

    `kind` is the GUM's: "A" from repeated readings, "B" from anything else.
    """

    source: str
    standard_n: float
    degrees_of_freedom: float = math.inf
    kind: Literal["A", "B"] = "B"

    def to_json(self) -> dict[str, object]:
        """The term as JSON; infinite degrees of freedom become null."""
        known = math.isfinite(self.degrees_of_freedom)
        return {
            "source": self.source,
            "standard_n": self.standard_n,
            "degrees_of_freedom": self.degrees_of_freedom if known else None,
            "kind": self.kind,
        }


@dataclass(frozen=True, slots=True)
class Combined:
    """The root sum of squares of some terms, with effective degrees of freedom."""

    standard_n: float
    degrees_of_freedom: float

    def half_width_n(self, coverage: float = 0.95) -> float:
        """Half the width of the interval of this coverage, in newtons. Raises: UsageError."""
        return coverage_factor(self.degrees_of_freedom, coverage) * self.standard_n


def combine(terms: Iterable[Term]) -> Combined:
    """Combine independent terms (GUM 5.1.2) with the Welch-Satterthwaite formula (GUM G.2b).

    No terms at all combine to nothing: 0 N with infinite degrees of freedom.
    """
    listed = [term for term in terms if term.standard_n != 0.0]
    standard = math.hypot(*(term.standard_n for term in listed))
    if standard == 0.0:
        return Combined(0.0, math.inf)
    doubt = sum((term.standard_n / standard) ** 4 / term.degrees_of_freedom for term in listed)
    return Combined(standard, 1.0 / doubt if doubt > 0.0 else math.inf)


@lru_cache(maxsize=1024)
def coverage_factor(degrees_of_freedom: float, coverage: float = 0.95) -> float:
    """Student's t for a two-sided interval (GUM G.3); the normal value for infinite degrees.

    Raises: UsageError if the coverage is not between 0 and 1 or the degrees are not positive.
    """
    if not 0.0 < coverage < 1.0:
        raise UsageError(
            f"a coverage of {coverage:g} makes no interval: give a number between 0 and 1, as 0.95"
        )
    if not degrees_of_freedom > 0.0:
        raise UsageError(
            f"{degrees_of_freedom:g} degrees of freedom make no interval: more readings are needed"
        )
    from scipy.special import ndtri, stdtrit

    upper = 0.5 + 0.5 * coverage
    if math.isinf(degrees_of_freedom):
        return float(ndtri(upper))
    return float(stdtrit(degrees_of_freedom, upper))
