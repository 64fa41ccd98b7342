"""What a load may depend on, as the columns of a design: days' shifts, factors with their levels, conditions.

Every level gets a column of its own, which is more than any set of specimens can tell apart. What can be found follows
from the columns alone (estimable functions; Searle, Linear Models, 1971, 5.4): a sum of effects is known where it is a
sum of the design's rows.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from breakyard.comparison.observations import Observation

Floats = NDArray[np.float64]
Kind = Literal["block", "factor", "condition", "together"]

SAME: Final = 1e-8
"""A column whose part that is new is shorter than this share of it adds nothing."""


@dataclass(frozen=True, slots=True)
class PulledSpecimen:
    """One specimen: its load, its level of every factor and block, and its conditions as numbers."""

    pull: Observation
    levels: Mapping[str, str]
    conditions: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause: a block (days), a factor, a condition (a number), or two factors together."""

    name: str
    kind: Kind
    factors: tuple[str, ...] = ()
    """The two factors of a "together"."""


Label = tuple[str, ...]
"""A column: ("",) the level of all, (factor, level), (condition,), (factor, level, factor, level)."""


class Design:
    """The columns of some terms for some rows, and what they can tell apart."""

    def __init__(self, rows: Sequence[PulledSpecimen], terms: Sequence[Cause]) -> None:
        self.rows, self.terms = tuple(rows), tuple(terms)
        self.labels: list[Label] = [("",)]
        self.owner = [-1]
        columns = [np.ones(len(rows))]
        for number, term in enumerate(terms):
            for label, column in _columns(rows, term):
                self.labels.append(label)
                self.owner.append(number)
                columns.append(column)
        self.full: Floats = np.column_stack(columns)
        self.kept = _independent(self.full)
        self.matrix: Floats = self.full[:, self.kept]
        # Every row of the full design as a sum of the kept columns: full = matrix @ back.
        self.back, *_ = np.linalg.lstsq(self.matrix, self.full, rcond=None)
        self.place = {label: number for number, label in enumerate(self.labels)}

    def columns_of(self, term: Cause) -> list[int]:
        """Which columns of the matrix are the term's: as many as it has degrees of freedom here.

        They are fewer than it asks for where other terms take them.
        """
        number = self.terms.index(term)
        return [place for place, column in enumerate(self.kept) if self.owner[column] == number]

    def asked_of(self, term: Cause) -> int:
        """Degrees of freedom that the term would have if every combination had been pulled."""
        if term.kind == "condition":
            return 1
        if term.kind == "together":
            return int(np.prod([len(levels_of(self.rows, name)) - 1 for name in term.factors]))
        return len(levels_of(self.rows, term.name)) - 1

    def sum_of(self, shares: Mapping[Label, float]) -> Floats | None:
        """A sum of effects as weights of the kept columns; None where these specimens cannot tell it."""
        wanted = np.zeros(len(self.labels))
        for label, share in shares.items():
            place = self.place.get(label)
            if place is None:
                return None
            wanted[place] += share
        # wanted = weights @ back has a solution only where the rows can make it.
        weights, *_ = np.linalg.lstsq(self.back.T, wanted, rcond=None)
        if np.abs(weights @ self.back - wanted).max() > 1e-6:
            return None
        return np.asarray(weights)


def levels_of(rows: Sequence[PulledSpecimen], name: str) -> tuple[str, ...]:
    """Levels of a factor or block in the order in which they first appear."""
    return tuple(dict.fromkeys(row.levels[name] for row in rows))


def _columns(rows: Sequence[PulledSpecimen], term: Cause) -> list[tuple[Label, Floats]]:
    if term.kind == "condition":
        values = np.array([row.conditions[term.name] for row in rows])
        return [((term.name,), values - values.mean())]
    if term.kind == "together":
        one, other = term.factors
        both = dict.fromkeys((row.levels[one], row.levels[other]) for row in rows)
        return [
            (
                (one, a, other, b),
                np.array([float(row.levels[one] == a and row.levels[other] == b) for row in rows]),
            )
            for a, b in both
        ]
    return [
        ((term.name, level), np.array([float(row.levels[term.name] == level) for row in rows]))
        for level in levels_of(rows, term.name)
    ]


def _independent(full: Floats) -> list[int]:
    """Columns that are no sum of columns before them (Gram and Schmidt, twice for exactness)."""
    kept: list[int] = []
    base = np.empty((full.shape[0], 0))
    for number in range(full.shape[1]):
        column = full[:, number]
        rest = column - base @ (base.T @ column)
        rest = rest - base @ (base.T @ rest)
        length = float(np.linalg.norm(rest))
        if length > SAME * max(float(np.linalg.norm(column)), 1e-300):
            kept.append(number)
            base = np.column_stack([base, rest / length])
    return kept


def why_lost(design: Design, term: Cause) -> str:
    """Why a term has fewer degrees of freedom than it asks for, as a sentence."""
    rows = design.rows
    said = _said(term)
    for other in design.terms:
        if other is term or other.kind in ("condition", "together"):
            continue
        if _constant(rows, term, other):
            what = "value" if term.kind == "condition" else "level"
            inside = f"each {other.name}" if other.kind == "block" else f"each level of {other.name}"
            return f"{said} has one {what} in {inside}, so its effect cannot be separated from that of {other.name}."
    whole = "only partly" if design.columns_of(term) else "not"
    return (
        f"The effect of {said} can {whole} be separated from the others: some combinations were not pulled."
    )


def _said(term: Cause) -> str:
    return " and ".join(term.factors) + " together" if term.kind == "together" else term.name


def _constant(rows: Sequence[PulledSpecimen], term: Cause, within: Cause) -> bool:
    if term.kind == "together":
        return False
    seen: dict[str, set[str | float]] = {}
    for row in rows:
        value: str | float = row.conditions[term.name] if term.kind == "condition" else row.levels[term.name]
        seen.setdefault(row.levels[within.name], set()).add(value)
    return all(len(values) == 1 for values in seen.values())
