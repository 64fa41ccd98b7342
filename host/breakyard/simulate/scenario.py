"""The boatyard: a small yard pulls a deck fitting off, fixed in four ways. INVENTED from end to end.

Bonded (brittle), screwed (progressive), riveted and through-bolted (both yield, then break), three specimens each,
pulled in a random order fixed once. The loads are such that each verdict of a comparison is met: through-bolted carries
more, bonded and riveted show no difference, and of screwed beside bonded too few were broken to tell. Three pulls are
spoilt in the ways that pulls are spoilt: B2 is a snatch, far too short for the rate; T2 is stronger than the
converter's range and clips; S3 is let out again without a break.
"""

from dataclasses import dataclass, replace
from typing import Final

from breakyard.simulate import recipes
from breakyard.simulate.cell import Cell
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import Conversions, Converter
from breakyard.simulate.phases import Phase
from breakyard.simulate.pull import PullTruth, pull
from breakyard.simulate.recipes import Rig
from breakyard.simulate.weights import Weights, stack

SEED: Final = 20_260_503
INVENTED: Final = "invented: simulated pulls of simulated specimens, for demonstration only"

_KGF: Final = 9.80665

GROUPS: Final = ("bonded", "screwed", "riveted", "through-bolted")


@dataclass(frozen=True, slots=True)
class SimulatedRecording:
    """One recording of the day, as a feed for the virtual logger, with its truth."""

    id: str
    """Specimen, or "calibration"."""
    group: str
    """One of GROUPS; "" for the calibration."""
    order: int
    """Place in the day; 0 is the calibration."""
    conversions: Conversions
    truth: PullTruth
    cell: Cell
    notes: str
    spoilt: str
    """"" | "snatch" | "clipped" | "let go"."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """The day at the yard."""

    pulls: tuple[SimulatedRecording, ...]
    """Twelve, in the order in which they were made."""
    calibration: SimulatedRecording
    """Begun and ended by command: its first step is the empty hook. Its truth's `holds` are the steps."""
    weights: Weights
    """What the user states of the masses and the place, and the truth."""
    cell: Cell
    converter: Converter
    place: str
    invented: str = INVENTED

    @property
    def recordings(self) -> tuple[SimulatedRecording, ...]:
        """All thirteen, the calibration first."""
        return (self.calibration, *self.pulls)


_CELL: Final = Cell(
    capacity_n=1000 * _KGF,
    rated_output_mv_v=3.0114,
    nonlinearity=0.0003,
    quadratic=-0.00014,
    cubic=0.00002,
    hysteresis=0.0001,
    zero_mv_v=0.0231,
    zero_drift_per_s=3e-7,
    plate_output_mv_v=3.0,
)
"""1000 kgf, 3 mV/V: at gain 128 the converter's range ends at 130 % of the capacity, within the safe overload."""

_CONVERTER: Final = Converter(rate_hz=91.7, filter_order=4, phase=0.37)

_RIG: Final = Rig(quiet_s=9.0, bumps=2, bump_n=0.8 * _KGF, line_n=1.2 * _KGF)
"""Knocks and line stay below 20 000 counts (3.1 kgf), the logger's trigger."""


def _specimens() -> dict[str, tuple[list[Phase], str, str]]:
    """Phases, what spoilt the pull, and notes of each specimen."""
    k = _KGF
    return {
        "B1": (recipes.brittle(_RIG, peak_n=450 * k, rate_n_per_s=90 * k), "", "clean break in the glue"),
        "B2": (
            recipes.snatch(_RIG, peak_n=512 * k, duration_s=0.05, breaks=True),
            "snatch",
            "the winch took up the slack in one go; the fitting was off before anyone saw it",
        ),
        "B3": (
            recipes.brittle(_RIG, peak_n=458 * k, rate_n_per_s=140 * k),
            "",
            "half the glue stayed on deck",
        ),
        "S1": (
            recipes.progressive(
                _RIG,
                drops=((342 * k, 41 * k), (391 * k, 63 * k)),
                last_n=437 * k,
                rate_n_per_s=40 * k,
                residual_n=14 * k,
            ),
            "",
            "screws let go one after another",
        ),
        "S2": (
            recipes.progressive(
                _RIG,
                drops=((318 * k, 36 * k), (428 * k, 72 * k), (397 * k, 49 * k)),
                last_n=352 * k,
                rate_n_per_s=60 * k,
                residual_n=9 * k,
            ),
            "",
            "carried less after the second screw",
        ),
        "S3": (
            recipes.let_go(_RIG, peak_n=343 * k, rate_n_per_s=50 * k, hold_s=3.0, unload_s=6.0),
            "let go",
            "stopped: the anchor began to move; nothing broke",
        ),
        "T1": (
            recipes.yielding(_RIG, yield_n=910 * k, peak_n=1246 * k, rate_n_per_s=70 * k, soften_n=52 * k),
            "",
            "washer pulled into the deck, then the bolt tore out",
        ),
        "T2": (
            recipes.yielding(_RIG, yield_n=1050 * k, peak_n=1392 * k, rate_n_per_s=110 * k, soften_n=70 * k),
            "clipped",
            "backing plate was larger than in the others",
        ),
        "T3": (
            recipes.yielding(_RIG, yield_n=945 * k, peak_n=1274 * k, rate_n_per_s=85 * k, soften_n=47 * k),
            "",
            "as T1",
        ),
        "R1": (
            recipes.yielding(_RIG, yield_n=372 * k, peak_n=449 * k, rate_n_per_s=60 * k, soften_n=24 * k),
            "",
            "rivets drawn through the deck",
        ),
        "R2": (
            recipes.yielding(_RIG, yield_n=380 * k, peak_n=461 * k, rate_n_per_s=75 * k, soften_n=26 * k),
            "",
            "as R1, one head off",
        ),
        "R3": (
            recipes.yielding(_RIG, yield_n=377 * k, peak_n=455 * k, rate_n_per_s=50 * k, soften_n=22 * k),
            "",
            "as R1",
        ),
    }


_ORDER: Final = ("S2", "B1", "R2", "T3", "B2", "T1", "R1", "S3", "B3", "T2", "R3", "S1")


def boatyard() -> Scenario:
    """The whole day; the same bytes every time."""
    weights = stack(
        (20.0, 20.0, 20.0),
        (0.007, -0.011, 0.004),
        standard_kg=0.01,
        latitude_deg=54.31,
        height_m=3.0,
        anomaly=1.2e-5,
    )
    specimens = _specimens()
    groups = {"B": GROUPS[0], "S": GROUPS[1], "R": GROUPS[2], "T": GROUPS[3]}
    pulls = []
    for order, specimen in enumerate(_ORDER, start=1):
        phases, spoilt, notes = specimens[specimen]
        pulls.append(_record(specimen, groups[specimen[0]], order, phases, notes, spoilt))
    hung = recipes.hanging(weights, hold_s=12.0, swing_rad=0.05)
    calibration = _record("calibration", "", 0, hung, "three cast-iron weights of 20 kg, weighed", "")
    return Scenario(tuple(pulls), calibration, weights, _CELL, _CONVERTER, "slipway (invented)")


def _record(
    name: str, group: str, order: int, phases: list[Phase], notes: str, spoilt: str
) -> SimulatedRecording:
    seed = SEED + order
    truth = pull(phases, seed=seed, clear=spoilt != "snatch")
    # The zero wanders between pulls by a few millionths of the rated output.
    cell = replace(_CELL, zero_mv_v=_CELL.zero_mv_v + 2e-5 * ((order * 7) % 10 - 5))
    conversions = measure(truth, cell, _CONVERTER, seed=seed)
    return SimulatedRecording(name, group, order, conversions, truth, cell, notes, spoilt)
