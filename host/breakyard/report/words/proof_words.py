"""Holds in words. A hold says what was held here, once; it rates nothing."""

import math
from typing import Final

from breakyard.pull.proof import Proof
from breakyard.report.words.values import bound_text, load_text
from breakyard.units import from_newtons

NO_RATING: Final = (
    "What was held here was held by this specimen, once. It is no rating, and nobody may trust their weight "
    "to it."
)


def proof_headings(unit: str) -> tuple[str, ...]:
    """Headings for `proof_cells`."""
    return (
        f"Asked [{unit}]",
        "For [s]",
        "Verdict",
        "Above [s]",
        "Surely above [s]",
        f"Lowest in the best window [{unit}]",
    )


def proof_cells(proof: Proof, unit: str) -> tuple[str, ...]:
    """A row's texts. Raises: UnitError."""
    lowest = "none so long" if proof.lowest_n is None else load_text(proof.lowest_n, unit, proof.standard_n)
    return (
        load_text(proof.target_n, unit),
        f"{proof.for_s:g}",
        proof.verdict,
        f"{proof.above_s:.1f}",
        f"{proof.surely_above_s:.1f}",
        lowest,
    )


def proof_sentence(proof: Proof, unit: str) -> str:
    """The verdict with its reason and what to do next. Raises: UnitError."""
    asked = f"{load_text(proof.target_n, unit)} {unit} for {proof.for_s:g} s"
    guard = f"{load_text(proof.guard_n, unit)} {unit}"
    if proof.verdict == "held":
        assert proof.lowest_n is not None
        low = bound_text(proof.lowest_n, proof.standard_n, unit)
        return (
            f"held {asked}: never below {low} {unit}, which is more than the guard band of {guard} above it"
        )
    if proof.verdict == "not held":
        if proof.broke and proof.broke_n is not None:
            return f"not held: asked {asked}; it let go at {load_text(proof.broke_n, unit, proof.standard_n)} {unit}"
        return (
            f"not held: asked {asked}; it was at or above that for {proof.above_s:.1f} s{_aim(proof, unit)}"
        )
    if proof.lowest_n is None or proof.lowest_n < proof.target_n - proof.guard_n:
        return f"not shown: asked {asked}; the recording ends under load after {proof.above_s:.1f} s at or above it"
    return (
        f"not shown: asked {asked}; the lowest load, {load_text(proof.lowest_n, unit, proof.standard_n)} {unit}, lies "
        f"within the guard band of {guard} (probability that it was held: {100 * proof.probability:.0f} %)"
        f"{_aim(proof, unit)}"
    )


def after_sentence(proof: Proof, unit: str) -> str:
    """Zero and length afterwards, as far as they are known. Raises: UnitError."""
    parts = []
    if proof.zero_shift_n is not None:
        parts.append(f"zero {from_newtons(proof.zero_shift_n, unit):+.2g} {unit} from before")
    if proof.lasting_extension_m is not None:
        parts.append(f"{1000 * proof.lasting_extension_m:.2f} mm longer than before")
    return f"afterwards: {', '.join(parts)}" if parts else ""


def _aim(proof: Proof, unit: str) -> str:
    if proof.aim_n is None:
        return ""
    value = from_newtons(proof.aim_n, unit)
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return f"; aim for {math.ceil(value / step) * step:.6g} {unit} next time"
