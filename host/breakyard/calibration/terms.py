"""Terms of an uncertainty budget and how they combine.

Owns: the arithmetic of the GUM (JCGM 100:2008), clauses 5 and G.4. Knows nothing of cells or counts. The
interval that terms of different shapes make together is in `propagate`.
All terms are standard uncertainties in newtons and are taken as independent; whoever builds them
must put what is correlated into one term.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from breakyard.document import NOT_IN_JSON
from breakyard.errors import UsageError

Shape = Literal["normal", "rectangular", "one-sided", "tabulated", "several"]
"""What is known of a term besides its size (JCGM 101:2008, 6.4). normal: a Gaussian, or Student's t where its
degrees of freedom are finite. rectangular: anywhere within +- sqrt(3) times the standard uncertainty. one-sided:
anywhere from nothing to sqrt(3) times it upwards. tabulated: by its table. several: the sum of its parts."""


@dataclass(frozen=True, slots=True)
class Term:
    """One source of doubt: a standard uncertainty in newtons, how well it is itself known, and its shape.

    `kind` is the GUM's: "A" from repeated readings, "B" from anything else. The standard uncertainty is the
    root mean square of true value less estimate, so that it holds what was not corrected (JCGM 100, F.2.4.5).
    """

    source: str
    standard_n: float
    degrees_of_freedom: float = math.inf
    kind: Literal["A", "B"] = "B"
    shape: Shape = "normal"
    table: "Distribution | None" = field(default=None, compare=False, repr=False, metadata=NOT_IN_JSON)
    parts: tuple["Term", ...] = field(default=(), metadata=NOT_IN_JSON)


@dataclass(frozen=True, slots=True, eq=False)
class Distribution:
    """A distribution of true value less estimate: newtons and their weights, both (n,), weights summing to 1."""

    values_n: NDArray[np.float64]
    weights: NDArray[np.float64]

    @property
    def standard_n(self) -> float:
        """Root mean square."""
        return math.sqrt(float(self.weights @ self.values_n**2))


def limits(source: str, half_n: float, kind: Literal["A", "B"] = "B") -> Term:
    """A term known only to lie within +- half_n (JCGM 100, 4.3.7)."""
    return Term(source, abs(half_n) / math.sqrt(3.0), kind=kind, shape="rectangular")


def tabulated(source: str, table: Distribution, kind: Literal["A", "B"] = "B") -> Term:
    """A term with the distribution of a table."""
    return Term(source, table.standard_n, kind=kind, shape="tabulated", table=table)


def together(source: str, parts: Iterable[Term]) -> Term:
    """One line of a budget for several independent terms."""
    listed = tuple(part for part in parts if part.standard_n > 0.0)
    if len(listed) == 1:
        return replace(listed[0], source=source)
    return Term(source, math.hypot(*(part.standard_n for part in listed)), shape="several", parts=listed)


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
