"""What each part of the line can bear, and how much of it the pull uses.

A part has a working load limit (WLL) or a breaking strength; a design factor joins the two. Where only one is known the
design factor is taken at the end of its range that makes the part look weaker. Knots, side loads, hitches and legs then
change both.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import ClassVar, Final, Literal

from breakyard.document import NOT_IN_JSON, face
from breakyard.errors import UsageError
from breakyard.plan import rules
from breakyard.plan.rules import Rule

Hitch = Literal["straight", "choker"]
_CERTAIN: Final = (1.0, 1.0)
STRAIGHT_DEG: Final = 5.0
"""WAC 296-155-33905: a load within 5 degrees of straight counts as straight."""
STEEPEST_LEG_DEG: Final = 85.0
WIDEST_LEG_DEG: Final = 60.0


@dataclass(frozen=True, slots=True)
class ElementKind:
    """A kind of part: range of design factors with the rule behind it, and the ends assumed where none are stated."""

    name: str
    factor: tuple[float, float] | None
    rule: Rule | None
    ends: str = "none"


KINDS: Final[Mapping[str, ElementKind]] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            ElementKind("shackle", (4.0, 5.0), rules.METAL_PART),
            ElementKind("hook", (4.0, 5.0), rules.METAL_PART),
            ElementKind("ring", (4.0, 5.0), rules.METAL_PART),
            ElementKind("eyebolt", (4.0, 5.0), rules.METAL_PART),
            ElementKind("rod end", (2.0, 2.0), rules.ROD_END),
            ElementKind("swivel", (4.0, 5.0), rules.METAL_PART),
            ElementKind("turnbuckle", (4.0, 5.0), rules.METAL_PART),
            ElementKind("block", (4.0, 5.0), rules.METAL_PART),
            ElementKind("chain", (4.0, 4.0), rules.CHAIN),
            ElementKind("wire rope", (5.0, 5.0), rules.WIRE_ROPE),
            ElementKind("webbing sling", (5.0, 7.0), rules.TEXTILE),
            ElementKind("round sling", (5.0, 7.0), rules.TEXTILE),
            ElementKind("rope", (5.0, 7.0), rules.TEXTILE, ends="knot"),
            ElementKind("cell", (3.0, 3.0), rules.CELL_LIMITS),
            ElementKind("winch", None, None),
            ElementKind("anchor", None, None),
            ElementKind("other", None, None),
        )
    }
)
ENDS: Final[Mapping[str, tuple[tuple[float, float], Rule | None]]] = MappingProxyType(
    {
        "none": (_CERTAIN, None),
        "sewn": (_CERTAIN, None),
        "pressed": (_CERTAIN, None),
        "splice": ((0.7, 0.9), rules.KNOTS),
        "knot": ((0.5, 0.9), rules.KNOTS),
        "bowline": ((0.5, 0.9), rules.KNOTS),
        "clove hitch": ((0.5, 0.75), rules.KNOTS),
        "clips": ((0.7, 0.8), rules.CLIPS),
    }
)
"""Share of the line's strength that its ends keep, and why. Sewn and pressed ends are part of the maker's rating."""


@dataclass(frozen=True, slots=True)
class Element:
    """One part of the line. Ratings are newtons of a single straight leg; a cell's WLL is its capacity, a rod end's
    breaking strength its static load rating.

    `share` is the load on the part per load on the specimen (a purchase or a lever in between); `turn_deg` the
    angle by which a block turns the line (180 for there and back); `leg_angle_deg` is counted from the line of pull.
    """

    name: str
    kind: str
    wll_n: float | None = None
    breaking_n: float | None = None
    design_factor: float | None = None
    ends: str | None = None
    efficiency: tuple[float, float] | None = None
    side_load_deg: float = 0.0
    hitch: Hitch = "straight"
    legs: int = 1
    leg_angle_deg: float = 0.0
    turn_deg: float = 0.0
    share: float = 1.0
    safe_overload: float = 1.5
    """Of a cell only, in capacities."""
    is_link: bool = False
    """Of a cell only: it takes the pins of the shackles itself, without eye bolts or rod ends."""
    between: bool | None = None
    """Of a block only: whether it is between cell and specimen, where its friction is in the result; None: not said."""
    has_shoulder: bool = False
    """Of an eye bolt only: it has a shoulder that sits on the face, so that it may be loaded off its line at all."""

    def __post_init__(self) -> None:
        where = f'"{self.name}"'
        if self.kind not in KINDS:
            raise UsageError(f'{where}: unknown kind "{self.kind}"; use one of {", ".join(KINDS)}')
        if self.ends is not None and self.ends not in ENDS:
            raise UsageError(f'{where}: unknown ends "{self.ends}"; use one of {", ".join(ENDS)}')
        for label, rating in (("wll", self.wll_n), ("breaking strength", self.breaking_n)):
            if rating is not None and not 0.0 < rating < math.inf:
                raise UsageError(f"{where}: a {label} must be more than zero")
        if self.wll_n and self.breaking_n and self.wll_n > self.breaking_n:
            raise UsageError(
                f"{where}: its working load limit is above its breaking strength; one of them is wrong"
            )
        if self.design_factor is not None and not 1.0 <= self.design_factor <= 30.0:
            raise UsageError(f"{where}: a design factor of {self.design_factor:g}; give 1 to 30")
        if self.efficiency is not None and not 0.0 < self.efficiency[0] <= self.efficiency[1] <= 1.0:
            raise UsageError(
                f"{where}: an efficiency is a share of the strength above 0 and up to 1, the lower first"
            )
        if not 0.0 <= self.side_load_deg <= 90.0:
            raise UsageError(f"{where}: a side load of {self.side_load_deg:g} degrees; give 0 to 90")
        if self.hitch not in ("straight", "choker"):
            raise UsageError(f'{where}: unknown hitch "{self.hitch}"; use straight or choker')
        if not 1 <= self.legs <= 8:
            raise UsageError(f"{where}: {self.legs} legs; give 1 to 8")
        if not 0.0 <= self.leg_angle_deg <= STEEPEST_LEG_DEG:
            raise UsageError(
                f"{where}: legs at {self.leg_angle_deg:g} degrees from the line of pull; give 0 to 85 (half the angle "
                "between two legs)"
            )
        if self.leg_angle_deg and self.legs == 1:
            raise UsageError(f"{where}: one leg has no leg angle; give legs = 2 or a side load")
        if not 0.0 <= self.turn_deg <= 180.0:
            raise UsageError(f"{where}: a block turns the line by 0 to 180 degrees, not {self.turn_deg:g}")
        if not 0.0 < self.share <= 1000.0:
            raise UsageError(f"{where}: share is the load on the part per load on the specimen, as 0.5")


@dataclass(frozen=True, slots=True)
class ElementCheck:
    """A part against the pull. None where the part has no rating.

    `load_n` includes the dynamic factor. `margin` is the weaker end of its breaking strength per load: how many times
    the pull it bears at least.
    """

    ALSO_IN_JSON: ClassVar = {
        "name": "element.name",
        "kind": "element.kind",
        "efficiency_low": "efficiency.0",
        "efficiency_high": "efficiency.1",
    }

    element: Element = field(metadata=NOT_IN_JSON)
    load_n: float
    wll_n: float | None
    breaking_low_n: float | None
    breaking_high_n: float | None
    wll_use: float | None
    breaking_use: float | None
    margin: float | None
    efficiency: tuple[float, float] = field(metadata=NOT_IN_JSON)
    design_factor: float | None
    rated: Literal["wll", "breaking", "both", "none"]
    rules: tuple[Rule, ...] = field(metadata=face(names=True))


def check_element(element: Element, peak_n: float) -> ElementCheck:
    """Hold a part against `peak_n`, the load on the specimen with the dynamic factor in it.

    Sources: statics for legs and blocks; each other factor as named in `rules` of the answer.
    """
    kind = KINDS[element.kind]
    used: list[Rule] = []
    low, high = kind.factor or (None, None)
    if element.design_factor is not None:
        low = high = element.design_factor
        used.append(rules.GIVEN)
    elif kind.rule is not None and (element.wll_n is None or element.breaking_n is None):
        used.append(kind.rule)

    breaking_n, wll_n = element.breaking_n, element.wll_n
    factor = None
    if breaking_n is None and wll_n is not None:
        factor = low
        breaking_n = wll_n * (low or 1.0)  # without a factor the rating itself is all that is known to hold
    elif wll_n is None and breaking_n is not None and high is not None:
        factor = high
        wll_n = breaking_n / high

    efficiency = _efficiency(element, kind, used)
    legs = leg_strength(element.legs, element.leg_angle_deg)
    if element.legs > 1:
        used.append(rules.LEG_FORMULA)
    if element.legs > 2:
        used.append(rules.TWO_LEGS)
    load_n = peak_n * element.share * turned_load(element.turn_deg)
    if element.turn_deg:
        used.append(rules.TURN_FORMULA)

    weaker = None if breaking_n is None else breaking_n * efficiency[0] * legs
    stronger = None if breaking_n is None else breaking_n * efficiency[1] * legs
    # The maker's rating of a sling holds for its own ends; whatever is done to it afterwards lowers the limit alike.
    limit = None if wll_n is None else wll_n * efficiency[0] * legs
    return ElementCheck(
        element=element,
        load_n=load_n,
        wll_n=limit,
        breaking_low_n=weaker,
        breaking_high_n=stronger,
        wll_use=load_n / limit if limit else None,
        breaking_use=load_n / weaker if weaker else None,
        margin=weaker / load_n if weaker else None,
        efficiency=efficiency,
        design_factor=factor,
        rated=_rated(element),
        rules=tuple(used),
    )


def leg_strength(legs: int, leg_angle_deg: float) -> float:
    """Load that a bridle bears, in strengths of one leg: legs counted x cos(angle from the line of pull).

    Exact for two legs (statics); of three and more two are counted, because their lengths are never equal.
    """
    if legs == 1:
        return 1.0
    return min(legs, 2) * math.cos(math.radians(leg_angle_deg))


def turned_load(turn_deg: float) -> float:
    """Load on a block per load in the line that it turns: 2 sin(turn / 2), 2 for there and back; 1 for no block."""
    return 2.0 * math.sin(math.radians(turn_deg) / 2.0) if turn_deg else 1.0


def _efficiency(element: Element, kind: ElementKind, used: list[Rule]) -> tuple[float, float]:
    if element.efficiency is not None:
        low, high = element.efficiency
        used.append(rules.GIVEN)
    else:
        (low, high), rule = ENDS[element.ends or kind.ends]
        if rule is not None:
            used.append(rule)
    cut = 1.0
    if element.side_load_deg > STRAIGHT_DEG and element.kind == "eyebolt":
        cut *= 0.3 if element.side_load_deg <= 45.0 else 0.25
        used.append(rules.EYEBOLT_SIDE)
    elif element.side_load_deg > STRAIGHT_DEG:
        cut *= 0.7 if element.side_load_deg <= 45.0 and element.kind == "shackle" else 0.5
        used.append(rules.SHACKLE_SIDE)
    if element.hitch == "choker":
        cut *= 0.8
        used.append(rules.CHOKER)
    return low * cut, high * cut


def _rated(element: Element) -> Literal["wll", "breaking", "both", "none"]:
    if element.wll_n is not None:
        return "both" if element.breaking_n is not None else "wll"
    return "none" if element.breaking_n is None else "breaking"
