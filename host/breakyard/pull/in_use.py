"""What a pull adds that no calibration shows: angle, warmth, another mounting, creep, other days, blocks in the line.

Each has a wide default, so that saying nothing never gives a narrower interval than saying something: `breakyard check
--remount` and `--hold` put measured values in place of two of them, `--misalignment` and `--temperature` of two more,
the rig's description tells of blocks. All are shares of the load. Sources beside each; where there is none it says so.
"""

import math
from dataclasses import dataclass
from typing import Final

from breakyard.calibration import Calibration
from breakyard.calibration.in_use import REMOUNT, mounting
from breakyard.calibration.terms import Term, limits
from breakyard.units import FORCE_UNITS

MISALIGNMENT_DEG: Final = 3.0
"""Largest angle between the line of pull and the cell's axis where nobody vouches for one. Makers ask for 2 degrees or
less; a line that finds its own way between two eyes lies within 3 (common practice, no source)."""

BENDING: Final = 0.05
"""Of the side force F sin(angle): how much of it the cell may show, either way. Transducers made to stand it keep a
fiftieth (0.1 % for 5 % across the axis, one maker's note on load application); a cheap S-type cell is no such one
(common practice, no source)."""

CREEP: Final = 0.0005
"""Limit either way, of the load, for a hold that is longer or shorter than those of the calibration, where the sheet
states none: industrial cells state 0.03 % in 30 min; OIML R 60, class C3, allows 0.0245 % and class D 0.1 %."""

DAY_TO_DAY: Final = 0.0005
"""Limit either way, of the load, for the span on another day at the same temperature (common practice, no source)."""

CONVERTER_PER_C: Final = 20e-6
"""Limit of the gain of the converter: four times the +-5 ppm/C that its data sheet calls typical (HX711, gain 128)."""

HOLD_MINUTES: Final = 30.0
"""How long OIML R 60 watches creep, and so a hold that is to replace the default."""


@dataclass(frozen=True, slots=True)
class Block:
    """A block or sheave between cell and specimen: the largest share of the load that its friction takes, its mass."""

    name: str
    friction: float
    mass_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class InUse:
    """What is known of a cell in use; None is "nothing, take the default"."""

    remount: float | None = None
    """Standard deviation of one mounting, of the load, from repeated mountings."""
    remount_freedom: float = math.inf
    creep: float | None = None
    """Limit either way, of the load."""
    day_to_day: float | None = None
    warmth: float | None = None
    """Limit either way, of the load, whatever the temperature."""
    converter_per_c: float | None = None
    blocks: tuple[Block, ...] = ()


UNKNOWN: Final = InUse()
"""Nothing is known: every default."""

IDEAL: Final = InUse(0.0, math.inf, 0.0, 0.0, 0.0, 0.0)
"""An instrument that does in use exactly what it did when it was calibrated: for models, not for yards."""


def angle_terms(load_n: float, misalignment_deg: float | None) -> tuple[Term, ...]:
    """What an angle of up to this many degrees does to a cell that shows this load.

    The cell reads F cos(angle), so by this it can only read too little. All directions of the line within a cone of
    that angle are equally likely: then 1 - cos(angle) is rectangular from nothing to its limit. The side force
    F sin(angle) bends the cell, which shows some of it either way.
    """
    angle = math.radians(MISALIGNMENT_DEG if misalignment_deg is None else misalignment_deg)
    cosine = load_n * (1.0 - math.cos(angle))
    return (
        Term("misalignment", cosine / math.sqrt(3.0), shape="one-sided"),
        limits("bending", BENDING * load_n * math.sin(angle)),
    )


def in_use_terms(
    load_n: float, calibration: Calibration, in_use: InUse, temperature_c: float | None
) -> tuple[Term, ...]:
    """Terms of the cell and its converter in use, newtons; those of nothing left out."""
    creep = _or(in_use.creep, _rated_creep(calibration))
    warmth = _or(in_use.warmth, calibration.warmth(temperature_c)[0])
    per_c = _or(in_use.converter_per_c, CONVERTER_PER_C)
    apart = calibration.degrees_apart(temperature_c)
    found = (
        limits("temperature", warmth * load_n),
        mounting(load_n, in_use.remount, in_use.remount_freedom),
        limits("creep", creep * load_n),
        limits("span from day to day", _or(in_use.day_to_day, DAY_TO_DAY) * load_n),
        limits("gain of the converter", per_c * apart * load_n),
    )
    return tuple(term for term in found if term.standard_n > 0.0)


def block_terms(load_n: float, blocks: tuple[Block, ...]) -> tuple[Term, ...]:
    """Friction and inertia of blocks between cell and specimen: nobody says which way, so either.

    Inertia: as much as they weigh, an acceleration of g (common practice, no source).
    """
    friction = 1.0 - math.prod(1.0 - block.friction for block in blocks)
    mass = sum(block.mass_kg for block in blocks)
    found = (
        limits("friction of blocks", friction * load_n),
        limits("inertia of blocks", mass * FORCE_UNITS["kgf"]),
    )
    return tuple(term for term in found if term.standard_n > 0.0)


def angle_sentence(misalignment_deg: float | None) -> str:
    """What was taken for the angle."""
    if misalignment_deg is None:
        return (
            f"Angle: up to {MISALIGNMENT_DEG:g} degrees between line and cell is allowed for, because none was stated "
            "(--misalignment); the side force may bend the cell."
        )
    if misalignment_deg == 0.0:
        return "Angle: the line of pull is taken to lie in the cell's axis, as stated."
    return f"Angle: up to {misalignment_deg:g} degrees between line and cell is allowed for, as stated."


def in_use_sentences(calibration: Calibration, in_use: InUse, temperature_c: float | None) -> tuple[str, ...]:
    """What was taken for warmth, mounting, creep and blocks."""
    said = []
    if in_use.warmth is None:
        said.append(calibration.warmth(temperature_c)[1])
    if in_use.remount is None:
        said.append(
            f"Mounting: another than at the calibration may show {100 * REMOUNT:g} % more or less; three remounts "
            "(breakyard check --remount) would narrow this."
        )
    elif in_use.remount:
        said.append(f"Mounting: {100 * in_use.remount:.2g} % standard, from repeated mountings.")
    if in_use.creep is None:
        limit, rated = (
            _rated_creep(calibration),
            calibration.plate is not None and calibration.plate.creep is not None,
        )
        whose = "as the sheet states" if rated else "because no sheet states it"
        said.append(
            f"Creep: {100 * limit:g} % either way, {whose}; a hold of {HOLD_MINUTES:g} minutes "
            "(breakyard check --hold) would narrow this."
        )
    elif in_use.creep:
        said.append(f"Creep: {100 * in_use.creep:.2g} % either way, from a long hold.")
    return (*said, *block_sentences(in_use.blocks))


def block_sentences(blocks: tuple[Block, ...]) -> tuple[str, ...]:
    """What blocks between cell and specimen were taken to do."""
    if not blocks:
        return ()
    named = ", ".join(f"{block.name} ({100 * block.friction:g} %)" for block in blocks)
    return (f"Blocks between cell and specimen: friction of {named}, either way, as the rig says.",)


def _rated_creep(calibration: Calibration) -> float:
    """Of the load: the sheet's limit is of the capacity, at capacity."""
    stated = None if calibration.plate is None else calibration.plate.creep
    return CREEP if stated is None else stated


def _or(known: float | None, default: float) -> float:
    return default if known is None else known
