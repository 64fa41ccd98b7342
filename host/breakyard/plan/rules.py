"""Every factor and rule that the plan uses, each with where it comes from and how sure that is.

A number without a source is marked "practice" (common practice, no source) or "own" (this project's choice) and
every text that uses it says "rule of thumb". `from_memory` marks sources that were not opened when it was typed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import ClassVar, Final, Literal

Basis = Literal["law", "standard", "data sheet", "published", "practice", "own"]


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule with its source. `name` is how results refer to it."""

    ALSO_IN_JSON: ClassVar = {"rule_of_thumb": "is_rule_of_thumb"}

    name: str
    says: str
    source: str
    basis: Basis
    from_memory: bool = False

    @property
    def is_rule_of_thumb(self) -> bool:
        """No standard or publication stands behind the number."""
        return self.basis in ("practice", "own")

    @property
    def mark(self) -> str:
        """How sure, in words for the end of a sentence."""
        if self.is_rule_of_thumb:
            return "rule of thumb"
        return f"{self.source}, from memory" if self.from_memory else self.source


_EU: Final = "Directive 2006/42/EC, Annex I, 4.1.2.5"

WIRE_ROPE: Final = Rule("wire rope", "working coefficient 5", _EU, "law")
CHAIN: Final = Rule("chain", "working coefficient 4 for welded links", _EU, "law")
TEXTILE: Final = Rule(
    "textile", f"working coefficient 7 ({_EU}); 5 in ASME B30.9 (from memory)", f"{_EU}; ASME B30.9", "law"
)
METAL_PART: Final = Rule(
    "metal part of a sling",
    f"working coefficient 4 ({_EU}); 5 in ASME B30.26 and, for forged shackles, EN 13889 (from memory)",
    f"{_EU}; ASME B30.26",
    "law",
)
CELL_LIMITS: Final = Rule(
    "cell limits",
    "safe load limit 150 %, ultimate 300 % of the capacity",
    "OIML R 60:2021, Annex C",
    "standard",
)
ROD_END: Final = Rule(
    "rod end",
    "its static load rating is where its housing begins to bend for good (makers' catalogues), and counts as its "
    "breaking strength; half of it as its working load (own choice)",
    "makers' catalogues of rod ends, DIN ISO 12240-4",
    "own",
)
GIVEN: Final = Rule("given", "stated in the description of the rig", "the user", "own")

KNOTS: Final = Rule(
    "knots and splices",
    "expect 50 to 90 % of the line's strength: published charts disagree",
    "Acta Phys. Pol. A 138, 404 (2020), on the charts of knot handbooks",
    "published",
)
CLIPS: Final = Rule("wire rope clips", "70 to 80 % of the rope", "rigging handbooks", "published", True)
SHACKLE_SIDE: Final = Rule(
    "side load",
    "shackle: 0 to 5 degrees no cut (WAC 296-155-33905), 30 % off to 45, 50 % off beyond (ASME B30.26, from memory); "
    "anything else: 50 % off (rule of thumb)",
    "WAC 296-155-33905; ASME B30.26",
    "law",
)
EYEBOLT_SIDE: Final = Rule(
    "eye bolt off its line",
    "with a shoulder 30 % of its rating up to 45 degrees, 25 % beyond; plain ones in line only",
    "rigging suppliers' tables; ASME B30.26 (plain ones in line only)",
    "published",
)
CHOKER: Final = Rule("choker hitch", "0.8 of the straight rating", "EN 1492, EN 818-6", "standard", True)
TWO_LEGS: Final = Rule(
    "two legs carry",
    "of three or more legs only two are counted: their lengths are never equal",
    "",
    "practice",
)
LEG_FORMULA: Final = Rule(
    "leg formula", "load of a leg = load / (legs x cos angle from the line of pull)", "statics", "published"
)
TURN_FORMULA: Final = Rule(
    "turned line", "load of a block = 2 x load x sin(turn / 2)", "statics", "published"
)
SHEAVE_LOSS: Final = Rule(
    "sheave", "each sheave loses 4 % (roller bearing) to 9 % (plain)", "textbook figures", "published", True
)
MARGIN: Final = Rule(
    "margin", "the specimen is the weakest by a factor of 2 or more", "common practice", "practice"
)
DYNAMIC: Final = Rule(
    "dynamic factor", "how far the load may pass the expected peak, by how it is applied", "", "own"
)
FRICTION: Final = Rule("friction", "ranges of friction of tyres and blocks on the ground", "", "practice")
BRAKED: Final = Rule(
    "braked share", "a parking brake holds one axle: 40 to 60 % of the weight", "", "practice"
)
STRETCH: Final = Rule(
    "stretch at break",
    "nylon 25 to 35 %, polyester 15 to 25 %, polypropylene 20 to 25 %, HMPE about 2 %",
    "rope makers' tables; UK MAIB, Zarga report",
    "published",
)
STRETCH_STEEL: Final = Rule("stretch of steel", "wire rope and chain 1 to 2 %", "", "practice")
STAND_OFF: Final = Rule(
    "stand-off",
    "at least 1.5 times the unstretched length away",
    "fleet safety guide on recovery straps",
    "published",
)
BYSTANDERS: Final = Rule(
    "bystanders", "minimum safe distance 2 times the paid-out cable", "US Army FM 4-30.31", "published"
)
FLOOR: Final = Rule(
    "shortest distance", "never nearer than 10 m: a short line does not make fragments slow", "", "own"
)
SNAP_BACK: Final = Rule(
    "snap-back",
    "fibre lines up to 800 km/h, wire up to 500 km/h; the ends fly past the point of attachment, nearly as far as the "
    "rest of the line is long",
    "P&I club safety alert SA 015",
    "published",
)
EVENT: Final = Rule(
    "shortest event",
    "bandwidth 3/T and 30 times that in data rate for 1 % on the peak of an event of duration T",
    "ASTM STP19268S",
    "published",
)
RAMP: Final = Rule(
    "ramp and break",
    "a ramp r that ends in a sudden break: the largest sample is low by at most r x (order / 2 + 1) conversions, for a "
    "filter of order 3 or 4 that settles in 4 conversions",
    "HX711 data sheet (settling); the filter itself is not in it",
    "data sheet",
)
SAMPLING: Final = Rule(
    "sampling of a ramp", "rate of loading = rate x peak x 1 %", "ISO 6892-1, Annex A", "standard", True
)
NOISE: Final = Rule(
    "converter noise",
    "50 nV at 10/s, 90 nV at 80/s, rms, at gain 128; other rates and gains are not stated and are taken not better",
    "HX711 data sheet",
    "data sheet",
)
RAILS: Final = Rule(
    "rails", "full scale +-0.5 / gain of the excitation over 24 bits", "HX711 data sheet", "data sheet"
)
RATED_OUTPUT: Final = Rule(
    "rated output", "the plate's mV/V holds to 10 % (2.0 +- 0.2)", "OIML R 60:2021, Annex C", "standard"
)
CELL_ERROR: Final = Rule("cell without a sheet", "zero and non-linearity 0.1 % of the capacity", "", "own")
CELL_SIZE: Final = Rule("cell size", "the cell's own error stays below 1 % of the expected load", "", "own")
JERK: Final = Rule(
    "jerk", "from slack to the peak in 0.2 s or less: beyond what this converter can measure", "", "own"
)
LOADING_TIMES: Final = Rule(
    "time to peak", "seconds from slack to the peak, by how the load is applied", "", "own"
)


@dataclass(frozen=True, slots=True)
class Loading:
    """A way to put the load on: dynamic factor and seconds from slack to the peak, both as ranges."""

    name: str
    words: str
    dynamic: tuple[float, float]
    seconds_to_peak: tuple[float, float]


LOADINGS: Final[Mapping[str, Loading]] = MappingProxyType(
    {
        loading.name: loading
        for loading in (
            Loading("hand winch", "hand winch or come-along", (1.0, 1.1), (10.0, 60.0)),
            Loading("winch", "powered winch, line taut before", (1.0, 1.2), (2.0, 20.0)),
            Loading("hoist", "hoist or crane, lifting slowly", (1.0, 1.3), (1.0, 10.0)),
            Loading("slow vehicle", "vehicle creeping, line taut before", (1.1, 1.5), (0.5, 5.0)),
            Loading("jerk", "vehicle or mass with a run-up, slack in the line", (2.0, 3.0), (0.02, 0.2)),
        )
    }
)
"""Rules of thumb (own). A load laid at once on an elastic line reaches twice its size (mechanics); with a run-up it
has no upper limit, so 3 is no bound either."""

DEFAULT_MARGIN: Final = 2.0
ENERGY_CAUTION_J: Final = 200.0
"""Stored energy from which on it is a caution: a sack of 20 kg falling from 1 m (own choice)."""
MINIMUM_LENGTHS: Final = 1.5
BYSTANDER_LENGTHS: Final = 2.0
FLOOR_M: Final = 10.0
