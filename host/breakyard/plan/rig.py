"""Rig check: is the specimen the weakest part, does everything hold, what is stored in the line, where may people be.

The check says what the numbers say. It never says that a rig is safe.
"""

from dataclasses import dataclass, field, replace
from typing import ClassVar, Final, NamedTuple

from breakyard.document import NOT_IN_JSON, Document
from breakyard.errors import UsageError
from breakyard.plan import rules
from breakyard.plan.anchors import Anchor, AnchorCheck, check_anchor
from breakyard.plan.elements import Element, ElementCheck, check_element
from breakyard.plan.energy import LineStretch, StoredEnergy, stored_energy
from breakyard.plan.quantities import Finding, count_findings
from breakyard.plan.rig_findings import rig_findings
from breakyard.plan.rules import DEFAULT_MARGIN, LOADINGS, Loading, Rule
from breakyard.plan.standoff import StandOff, stand_off
from breakyard.plan.stop import StopLoad, stop_load, strongest_pull_n
from breakyard.shown import Form, Mode, Picture, notebook

CAUTIONS: Final = (
    "Local codes and qualified people come first: this check does not replace them and makes nothing safe.",
    "Nobody in the line of fire, in the bight of a turned line, or over the line, from slack to slack.",
    "Cover or damp the line with something heavy; keep it short and of low stretch; tether the cell and the box.",
    "Break the pull off at the stop load, whatever the specimen seems to do.",
    "Take up the slack first, by hand signals from the side, then load slowly; stop if anything moves or sounds.",
    "Eye protection, gloves, boots, helmet; a shield around a specimen that may shatter.",
    "Nobody approaches a loaded line; lower the load to zero before anyone touches the rig.",
    "No number here says that a part may lift or hold people.",
)
"""Said with every result."""


@dataclass(frozen=True, slots=True)
class Rig:
    """Everything in the line between what holds and what pulls. Raises: UsageError."""

    expected_low_n: float
    expected_high_n: float
    elements: tuple[Element, ...] = ()
    lines: tuple[LineStretch, ...] = ()
    anchors: tuple[Anchor, ...] = ()
    loading: Loading = LOADINGS["winch"]
    dynamic: tuple[float, float] | None = None
    """Dynamic factor where stated; else that of the loading."""
    margin: float = DEFAULT_MARGIN
    paid_out_m: float | None = None
    stop_n: float | None = None
    """Load on the specimen at which the pull is broken off, where stated."""
    specimen: str = "specimen"

    def __post_init__(self) -> None:
        if not 0.0 < self.expected_low_n <= self.expected_high_n < 1e12:
            raise UsageError("the expected peak must be more than zero, its lower end first")
        if self.dynamic is not None and not 1.0 <= self.dynamic[0] <= self.dynamic[1] <= 20.0:
            raise UsageError("a dynamic factor is 1 to 20, the lower first")
        if not 1.0 <= self.margin <= 20.0:
            raise UsageError(f"a margin of {self.margin:g}: give 1 to 20 (2 is common practice)")
        if self.paid_out_m is not None and not 0.0 <= self.paid_out_m <= 2000.0:
            raise UsageError(f"{self.paid_out_m:g} m paid out: give metres, up to 2000")
        if self.stop_n is not None and not 0.0 < self.stop_n < 1e12:
            raise UsageError("a stop load must be more than zero")

    @property
    def dynamic_factor(self) -> tuple[float, float]:
        """Low and high: as stated, else by the loading (rule of thumb)."""
        return self.dynamic or self.loading.dynamic

    @property
    def peak_n(self) -> float:
        """The load that everything must bear: upper expected peak times upper dynamic factor."""
        return self.expected_high_n * self.dynamic_factor[1]


class WeakestPart(NamedTuple):
    """The rated part with the least margin, by its name."""

    name: str
    margin: float | None


@dataclass(frozen=True, slots=True, repr=False)
class RigCheck(Document):
    """The answer. Elements and anchors are in the order of the description."""

    SCHEMA: ClassVar = "breakyard.rig/1"
    NOUN: ClassVar = "rig check"
    CAUTIONS: ClassVar = CAUTIONS
    ALSO_IN_JSON: ClassVar = {
        "ok": "ok",
        "specimen": "rig.specimen",
        "expected_low_n": "rig.expected_low_n",
        "expected_high_n": "rig.expected_high_n",
        "loading": "rig.loading.name",
        "dynamic_low": "rig.dynamic_factor.0",
        "dynamic_high": "rig.dynamic_factor.1",
        "peak_n": "rig.peak_n",
        "margin_wanted": "rig.margin",
        "weakest": "_weakest",
        "cautions": "CAUTIONS",
        "rules": "rules",
    }

    rig: Rig = field(metadata=NOT_IN_JSON)
    elements: tuple[ElementCheck, ...]
    anchors: tuple[AnchorCheck, ...]
    energy: StoredEnergy | None
    distances: StandOff | None
    specimen_is_weakest: bool | None
    """By the margin; None where a part has no rating, so that it cannot be shown."""
    stop: StopLoad | None = None
    strongest_pull_n: float | None = None
    """What the puller can do at most; None where nothing is said of it."""
    findings: tuple[Finding, ...] = ()

    def __repr__(self) -> str:
        found = count_findings(
            self.findings, "nothing found against the pull", "something speaks against the pull"
        )
        return f"RigCheck for a peak of {self.rig.peak_n:.5g} N: {found}"

    def _repr_html_(self) -> str:
        html: str = notebook().findings_html(repr(self), self.findings)
        return html

    def plot(self, *, mode: Mode = "light", form: Form = "wide") -> Picture:
        """Draw the rig from above, with where nobody may stand. Raises: UsageError (no length of line, mode, form)."""
        picture: Picture = notebook().rig_picture(self, mode=mode, form=form)
        return picture

    @property
    def ok(self) -> bool:
        """Nothing found that speaks against the pull. Not a statement that it is safe."""
        return all(finding.level != "no" for finding in self.findings)

    @property
    def weakest(self) -> ElementCheck | None:
        """The rated part with the least margin."""
        rated = [check for check in self.elements if check.margin is not None]
        return min(rated, key=lambda check: check.margin or 0.0, default=None)

    @property
    def _weakest(self) -> WeakestPart | None:
        part = self.weakest
        return None if part is None else WeakestPart(part.element.name, part.margin)

    @property
    def rules(self) -> tuple[Rule, ...]:
        """Every rule that was used, once."""
        used = [rules.MARGIN, rules.DYNAMIC] if self.rig.dynamic is None else [rules.MARGIN]
        for part in (*self.elements, *self.anchors, self.energy, self.distances):
            used.extend(part.rules if part is not None else ())
        return tuple(dict.fromkeys(used))


def check_rig(rig: Rig, *, unit: str = "N") -> RigCheck:
    """Check a rig against its expected peak; `unit` is for the sentences only."""
    elements = tuple(check_element(element, rig.peak_n) for element in rig.elements)
    anchors = tuple(check_anchor(anchor, rig.peak_n) for anchor in rig.anchors)
    energy = stored_energy(rig.lines, rig.peak_n)
    distances = None
    if energy is not None:
        length_m = sum(line.length_m for line in rig.lines)
        distances = stand_off(length_m, rig.paid_out_m, energy.stretch_high_m)
    margins = [check.margin for check in elements]
    weakest: bool | None = None
    if any(margin is not None and margin < rig.margin for margin in margins):
        weakest = False
    elif margins and all(margin is not None for margin in margins):
        weakest = True
    stop = stop_load(elements, rig.peak_n, rig.stop_n)
    strongest = strongest_pull_n(elements, anchors, rig.peak_n)
    bare = RigCheck(rig, elements, anchors, energy, distances, weakest, stop, strongest)
    return replace(bare, findings=rig_findings(bare, unit))
