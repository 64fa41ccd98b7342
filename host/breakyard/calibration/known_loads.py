"""Known loads: what hangs on the cell, as it was stated, and the force that it makes.

A load keeps the facts (pieces, uncertainties, lever) and turns into newtons only with a gravity and
an air, so that a calibration can be recomputed later with a better place. What two loads share (the
same piece, the same gravity, the same lever) is shown by the names of their sources: equal name, fully
correlated; different name, independent.

How far a limit is common to several masses (one scale, one foundry) and how far each errs for itself, nobody knows.
Such a piece has both sources at the full limit, and the larger of the two effects counts, never both: for every
mixture of the two the variance lies between them.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final, Literal

from breakyard.calibration.weight import CONVENTIONAL_DENSITY, Air, Gravity, buoyancy_factor
from breakyard.document import face
from breakyard.errors import CalibrationError

Basis = Literal["certificate", "weighed", "marked"]
"""How masses are known: each by its certificate; all weighed on one scale; only by what is cast or printed on them."""

ASSUMED_MASS_LIMIT: Final = 0.03
"""Of a mass that is only marked (plates of a gym, bags, cans): 2 to 5 % off are common (common practice, no source)."""

UNSTATED_LIMITS: Final[Mapping[Basis, float]] = MappingProxyType(
    {"certificate": 0.0005, "weighed": 0.01, "marked": ASSUMED_MASS_LIMIT}
)
"""Relative limits where nothing else was said. certificate: the widest class of weights in trade, M3 of OIML R 111-1,
10 g on 20 kg. weighed: a luggage or bathroom scale (common practice, no source); a scale verified for trade keeps
0.1 to 0.2 % (class III in service: twice 0.5 to 1.5 e; UK SI 1995/1907, schedule 2, which repeats OIML R 76)."""

ASSUMED_SOURCE: Final = "mass (assumed)"
"""The common source of masses whose limit was assumed."""

COMMON_SOURCE: Final = "mass (one limit for all)"
"""That of masses that were given one limit together."""

SCALE_SOURCE: Final = "mass (weighed on one scale)"
"""That of masses that state their own limits and were weighed on one scale."""

EACH: Final = " / "
"""Parts the name of a common source from what one piece errs by for itself."""

WAYS_OUT: Final = (
    "To know them better: weigh each on a good scale and write what it shows (20.13 kg +- 0.02 kg); or hang a "
    "container of water that was weighed in parts on a kitchen scale; or put a second, certified cell into the same "
    "line (--transfer)."
)


@dataclass(frozen=True, slots=True)
class Piece:
    """One thing that hangs: its mass and standard uncertainty (kg), its density (kg/m3), its name.

    `source` names what its mass is uncertain by; pieces with equal source err together. `conventional`
    marks a mass read from a scale, which has the buoyancy of 8000 kg/m3 whatever it is made of.
    """

    kilograms: float
    standard_kg: float
    source: str
    density_kg_m3: float = CONVENTIONAL_DENSITY
    assumed: bool = False
    limited: bool = field(default=False, metadata=face(sparse=True))
    """Whether only limits of the mass are known (a rectangle), not a standard uncertainty."""
    each: str = field(default="", metadata=face(sparse=True))
    """Where `source` is common to several pieces: the source of what this one may err by for itself, up to as much."""


@dataclass(frozen=True, slots=True)
class Force:
    """A known force in newtons and the newtons that one standard uncertainty of each source adds."""

    newtons: float
    sources: Mapping[str, float]

    @property
    def standard_n(self) -> float:
        """Combined standard uncertainty of this one force."""
        return math.hypot(*larger_only(self.sources).values())


def larger_only(sizes: Mapping[str, float]) -> dict[str, float]:
    """Of each common source and what its pieces err by for themselves, only the larger; the others as they are."""
    apart: dict[str, float] = {}
    for name, size in sizes.items():
        family, parted, _ = name.partition(EACH)
        if parted:
            apart[family] = math.hypot(apart.get(family, 0.0), size)
    kept = {}
    for name, size in sizes.items():
        family, parted, _ = name.partition(EACH)
        together = abs(sizes.get(family, 0.0)) >= apart.get(family, 0.0)
        if family not in apart or together != bool(parted):
            kept[name] = size
    return kept


@dataclass(frozen=True, slots=True)
class KnownLoad:
    """What was on the cell: masses, or the force of a reference, perhaps through a lever or sheaves.

    `text` is what the user wrote. `ratio` multiplies the weight of the pieces (lever 5:1 -> 5).
    `reference_n` is a force measured by a calibrated cell in series; its independent part has the
    standard uncertainty `reference_standard_n`, the part shared by all its points is relative.
    """

    text: str
    pieces: tuple[Piece, ...] = field(default=(), metadata=face(sparse=True))
    ratio: float = field(default=1.0, metadata=face("lever.ratio", sparse=True))
    ratio_standard: float = field(default=0.0, metadata=face("lever.standard", sparse=True))
    ratio_assumed: bool = field(default=False, metadata=face("lever.assumed", sparse=True))
    reference_n: float = field(default=0.0, metadata=face("reference.force_n", sparse=True))
    reference_standard_n: float = field(default=0.0, metadata=face("reference.standard_n", sparse=True))
    reference_shared: float = field(default=0.0, metadata=face("reference.shared_relative", sparse=True))
    reference_name: str = field(default="", metadata=face("reference.name", sparse=True))

    def __post_init__(self) -> None:
        numbers = (self.ratio, self.ratio_standard, self.reference_n, self.reference_standard_n)
        if not all(math.isfinite(number) for number in numbers) or self.ratio <= 0.0:
            raise CalibrationError(f'"{self.text}": a ratio must be positive and a force must be a number')
        if self.ratio_standard < 0.0 or self.reference_standard_n < 0.0 or self.reference_shared < 0.0:
            raise CalibrationError(f'"{self.text}": an uncertainty cannot be negative')
        for piece in self.pieces:
            if not (math.isfinite(piece.kilograms) and piece.kilograms >= 0.0 and piece.standard_kg >= 0.0):
                raise CalibrationError(f'"{self.text}": a mass and its uncertainty cannot be negative')
        # What is said of a lever or a reference that does nothing is nothing: equal loads, equal documents.
        if self.ratio == 1.0 and not self.ratio_standard:
            object.__setattr__(self, "ratio_assumed", False)
        if not (self.reference_n or self.reference_standard_n):
            object.__setattr__(self, "reference_shared", 0.0)
            object.__setattr__(self, "reference_name", "")

    @property
    def kilograms(self) -> float:
        """Sum of the pieces, before any lever."""
        return math.fsum(piece.kilograms for piece in self.pieces)

    @property
    def nothing(self) -> bool:
        """True for an unloaded cell."""
        return self.kilograms == 0.0 and self.reference_n == 0.0

    def force(self, gravity: Gravity, air: Air) -> Force:
        """The force on the cell with this gravity and air; F = ratio x sum of m g (1 - air/density)."""
        sources: dict[str, float] = {}

        def add(source: str, newtons: float) -> None:
            if newtons != 0.0:
                sources[source] = sources.get(source, 0.0) + newtons

        weight = 0.0
        for piece in self.pieces:
            left = buoyancy_factor(air.density, piece.density_kg_m3)
            weight += piece.kilograms * gravity.value * left
            add(piece.source, self.ratio * piece.standard_kg * gravity.value * left)
            if piece.each:
                add(piece.each, self.ratio * piece.standard_kg * gravity.value * left)
            lifted = piece.kilograms * gravity.value / piece.density_kg_m3
            add("air density", -self.ratio * lifted * air.standard)
        add("gravity", self.ratio * weight * gravity.standard / gravity.value)
        add("lever ratio", weight * self.ratio_standard)
        if self.reference_n or self.reference_standard_n:
            name = self.reference_name or "reference cell"
            add(name, self.reference_n * self.reference_shared)
            add(f"{name}: {self.text}", self.reference_standard_n)
        return Force(self.ratio * weight + self.reference_n, sources)


def mass_load(kilograms: float, limit_kg: float | None = None, *, name: str = "") -> KnownLoad:
    """One mass as read from a scale; `limit_kg` is how far off it may be (a rectangle).

    Raises: CalibrationError for a negative mass.
    """
    text = f"{kilograms:g} kg"
    if kilograms == 0.0:
        return KnownLoad("0")
    if limit_kg is None:
        standard = abs(kilograms) * ASSUMED_MASS_LIMIT / math.sqrt(3.0)
        each = f"{ASSUMED_SOURCE}{EACH}{name or text} no. 1"
        return KnownLoad(
            text, (Piece(kilograms, standard, ASSUMED_SOURCE, assumed=True, limited=True, each=each),)
        )
    source = f"mass {name or text}"
    return KnownLoad(text, (Piece(kilograms, limit_kg / math.sqrt(3.0), source, limited=True),))


def reference_load(
    force_n: float, standard_n: float, *, shared: float = 0.0, name: str = "reference cell"
) -> KnownLoad:
    """A force from a calibrated cell in series: `standard_n` differs from point to point, `shared` is
    the relative standard uncertainty that all its readings have in common (its certificate).

    Raises: CalibrationError for a negative uncertainty.
    """
    return KnownLoad(
        f"{force_n:g} N",
        reference_n=float(force_n),
        reference_standard_n=float(standard_n),
        reference_shared=float(shared),
        reference_name=name,
    )
