"""What holds: a parked vehicle or a block on the ground, kept by friction alone.

On a slope that falls by `slope_deg` towards the pull, with a line that rises by `rise_deg` towards it, a mass m slides
at

    P = m g (mu s cos(slope) - sin(slope)) / (cos(rise) + mu s sin(rise))

with s the share of the weight on braked wheels (statics; rise counted from the ground). A line that rises lifts the
anchor; one that falls presses it down.
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
from breakyard.units import STANDARD_GRAVITY

AnchorKind = Literal["vehicle", "block"]
Role = Literal["hold", "pull"]

SURFACES: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "dry asphalt": (0.6, 0.8),
        "wet asphalt": (0.4, 0.6),
        "dry concrete": (0.6, 0.8),
        "wet concrete": (0.4, 0.6),
        "gravel": (0.3, 0.5),
        "dry grass": (0.3, 0.5),
        "wet grass": (0.15, 0.3),
        "dry earth": (0.3, 0.5),
        "mud": (0.1, 0.3),
        "sand": (0.2, 0.4),
        "snow": (0.1, 0.25),
        "ice": (0.03, 0.1),
        "unknown": (0.03, 0.8),
    }
)
"""Friction of tyres or a rough block, low and high: rule of thumb."""

BRAKED: Final = MappingProxyType({"all": (1.0, 1.0), "one axle": (0.4, 0.6)})


@dataclass(frozen=True, slots=True)
class Anchor:
    """A mass on the ground that holds one end. Ranges are (low, high)."""

    name: str
    kind: AnchorKind
    mass_kg: float
    friction: tuple[float, float]
    braked_share: tuple[float, float] = (1.0, 1.0)
    slope_deg: float = 0.0
    rise_deg: float = 0.0
    role: Role = "hold"
    share: float = 1.0
    """Load on the anchor per load on the specimen (a purchase in between)."""
    attach_height_m: float | None = None
    base_m: float | None = None
    """Length of the base along the pull; with the height of the attachment it tells when a block tips."""
    assumed: tuple[str, ...] = ()
    """What was not stated and taken from a rule of thumb."""

    def __post_init__(self) -> None:
        where = f'"{self.name}"'
        if self.kind not in ("vehicle", "block"):
            raise UsageError(
                f'{where}: unknown kind of anchor "{self.kind}"; use vehicle or block, and describe a '
                'rated point as an element of kind "anchor"'
            )
        if self.role not in ("hold", "pull"):
            raise UsageError(f'{where}: unknown role "{self.role}"; an anchor is there to hold or to pull')
        if not 0.0 < self.mass_kg < 1e6:
            raise UsageError(f"{where}: a mass of {self.mass_kg:g} kg is not possible")
        if not 0.0 <= self.friction[0] <= self.friction[1] <= 1.5:
            raise UsageError(f"{where}: friction is 0 to 1.5, the lower first")
        if not 0.0 < self.braked_share[0] <= self.braked_share[1] <= 1.0:
            raise UsageError(f"{where}: the braked share is above 0 and up to 1, the lower first")
        if not -45.0 <= self.slope_deg <= 45.0:
            raise UsageError(
                f"{where}: a slope of {self.slope_deg:g} degrees; give -45 to 45, above 0 if it falls towards the pull"
            )
        if not -60.0 <= self.rise_deg <= 60.0:
            raise UsageError(f"{where}: the line rises by {self.rise_deg:g} degrees; give -60 to 60")
        if not 0.0 < self.share <= 1000.0:
            raise UsageError(f"{where}: share is the load on the anchor per load on the specimen, as 0.5")
        for size in (self.attach_height_m, self.base_m):
            if size is not None and not 0.0 < size < 100.0:
                raise UsageError(f"{where}: heights and lengths are metres, above 0")


@dataclass(frozen=True, slots=True)
class AnchorCheck:
    """An anchor against the pull; `use` is of the lower end of what it holds, infinite where that is nothing."""

    ALSO_IN_JSON: ClassVar = {
        "name": "anchor.name",
        "kind": "anchor.kind",
        "role": "anchor.role",
        "mass_kg": "anchor.mass_kg",
        "friction_low": "anchor.friction.0",
        "friction_high": "anchor.friction.1",
        "assumed": "anchor.assumed",
    }

    anchor: Anchor = field(metadata=NOT_IN_JSON)
    load_n: float
    holds_low_n: float
    holds_high_n: float
    tips_n: float | None
    use: float
    verdict: Literal["holds", "may slide", "slides", "may tip"]
    rules: tuple[Rule, ...] = field(metadata=face(names=True))

    @property
    def ok(self) -> bool:
        """It holds even with the lower friction."""
        return self.verdict == "holds"


def holding_n(
    mass_kg: float,
    friction: float,
    *,
    slope_deg: float = 0.0,
    rise_deg: float = 0.0,
    braked_share: float = 1.0,
) -> float:
    """Pull in newtons at which the mass slides; 0 where it slides by itself, infinite where it cannot (statics)."""
    slope, rise = math.radians(slope_deg), math.radians(rise_deg)
    grip = friction * braked_share
    kept = mass_kg * STANDARD_GRAVITY * (grip * math.cos(slope) - math.sin(slope))
    drive = math.cos(rise) + grip * math.sin(rise)
    if kept <= 0.0:
        return 0.0
    return kept / drive if drive > 0.0 else math.inf


def check_anchor(anchor: Anchor, peak_n: float) -> AnchorCheck:
    """Hold an anchor against `peak_n`, the load on the specimen with the dynamic factor in it."""
    load_n = peak_n * anchor.share
    low, high = (
        holding_n(
            anchor.mass_kg,
            friction,
            slope_deg=anchor.slope_deg,
            rise_deg=anchor.rise_deg,
            braked_share=share,
        )
        for friction, share in zip(anchor.friction, anchor.braked_share, strict=True)
    )
    tips = _tips_n(anchor)
    verdict: Literal["holds", "may slide", "slides", "may tip"] = "holds"
    if high < load_n:
        verdict = "slides"
    elif low < load_n:
        verdict = "may slide"
    elif tips is not None and tips < load_n:
        verdict = "may tip"
    used = (rules.FRICTION, rules.BRAKED) if "braked" in anchor.assumed else (rules.FRICTION,)
    return AnchorCheck(
        anchor=anchor,
        load_n=load_n,
        holds_low_n=low,
        holds_high_n=high,
        tips_n=tips,
        use=load_n / low if low > 0.0 else math.inf,
        verdict=verdict,
        rules=used,
    )


def _tips_n(anchor: Anchor) -> float | None:
    """Level pull that tips the mass about its edge, its centre being over the middle of the base (statics)."""
    if anchor.attach_height_m is None or anchor.base_m is None:
        return None
    return anchor.mass_kg * STANDARD_GRAVITY * anchor.base_m / (2.0 * anchor.attach_height_m)
