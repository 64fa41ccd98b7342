"""The whole comparison as one frozen value, and its face for programs.

Values are newtons and end in `_n`. Where loads were divided by a mass, a price or an area, `quantity.per` names it and
those values are newtons per that unit.
"""

from dataclasses import dataclass
from typing import ClassVar

from breakyard.comparison.anova import WelchF
from breakyard.comparison.common_scatter import CommonScatter
from breakyard.comparison.groups import Group
from breakyard.comparison.verdict import Pair
from breakyard.document import Document
from breakyard.shown import Mode, Picture, notebook


@dataclass(frozen=True, slots=True)
class Compared:
    """What was compared: strength, first_peak or settled load, and what it was divided by."""

    name: str
    per: str | None
    unit: str
    """ "N", or newtons per the unit of the column divided by."""


@dataclass(frozen=True, slots=True, repr=False)
class Comparison(Document):
    """Groups, every pair of them (or every one against the reference), and what was left out and why.

    Example:
        >>> import breakyard as by
        >>> by.compare({"bonded": [410, 395, 402], "screwed": [310, 330, 321]}, unit="kgf")
        Comparison of strength: bonded (3), screwed (3); 1 pair
    """

    SCHEMA: ClassVar = "breakyard.comparison/2"
    NOUN: ClassVar = "comparison"
    AGAIN: ClassVar = "compare again"

    quantity: Compared
    coverage: float
    matters: float
    """The relative difference worth knowing about."""
    reference: str | None
    groups: tuple[Group, ...]
    pairs: tuple[Pair, ...]
    all_equal: WelchF | None
    """Welch's test that all means are equal; None with two groups, single specimens or bounds."""
    pooled_cv: float | None
    """Scatter within the groups taken together, relative; for planning the next session."""
    pooled_df: int
    scatter: CommonScatter | None
    """The one scatter that the verdicts take for all groups; None where nothing shows any."""
    left_out: tuple[str, ...]
    """Sentences: which pulls are not in here, and why."""
    notes: tuple[str, ...]

    def __repr__(self) -> str:
        what = self.quantity.name.replace("_", " ")
        groups = ", ".join(f"{group.name} ({group.n})" for group in self.groups)
        pairs = "1 pair" if len(self.pairs) == 1 else f"{len(self.pairs)} pairs"
        return f"Comparison of {what}: {groups}; {pairs}"

    def _repr_html_(self) -> str:
        html: str = notebook().comparison_html(self)
        return html

    def plot(self, *, unit: str = "N", mode: Mode = "light") -> Picture:
        """Draw which share of each group holds how much. Raises: UnitError."""
        picture: Picture = notebook().comparison_picture(self, unit=unit, mode=mode)
        return picture

    def group(self, name: str) -> Group:
        """One group by its name."""
        return next(group for group in self.groups if group.name == name)
