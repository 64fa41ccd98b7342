"""The whole comparison as one frozen value, and its face for programs.

Values are newtons and end in `_n`. Where loads were divided by a mass, a price or an area, `quantity.per` names it and
those values are newtons per that unit.
"""

from dataclasses import dataclass, fields
from typing import Any, Final

from breakyard.comparison.anova import WelchF
from breakyard.comparison.common_scatter import Scatter
from breakyard.comparison.groups import Group
from breakyard.comparison.verdict import Pair

SCHEMA: Final = "breakyard.comparison/2"
"""Name and version of the JSON face; fields may be added under the same version, never changed."""


@dataclass(frozen=True, slots=True)
class Compared:
    """What was compared: strength, first_peak or settled load, and what it was divided by."""

    name: str
    per: str | None
    unit: str
    """ "N", or newtons per the unit of the column divided by."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Groups, every pair of them (or every one against the reference), and what was left out and why."""

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
    scatter: Scatter | None
    """The one scatter that the verdicts take for all groups; None where nothing shows any."""
    left_out: tuple[str, ...]
    """Sentences: which pulls are not in here, and why."""
    notes: tuple[str, ...]

    def group(self, name: str) -> Group:
        """One group by its name."""
        return next(group for group in self.groups if group.name == name)

    def to_json(self) -> dict[str, Any]:
        """Return the JSON face as plain dicts, lists, strings and numbers."""
        document: dict[str, Any] = _plain(self)
        return {"schema": SCHEMA} | document


def _plain(value: Any) -> Any:
    if hasattr(value, "__dataclass_fields__"):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    return float(value)
