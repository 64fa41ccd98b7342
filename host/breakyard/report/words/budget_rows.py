"""The budget of a pull's peak as rows of a table: newtons in the reader's unit, largest first."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from breakyard.pull.results import Summary
from breakyard.report.words.values import rate_text, standard_n

SOURCES: Final[Mapping[str, str]] = {
    "sampling and filter": "how well a few samples and the converter's filter show a slow peak",
    "recovery of the peak": "the fit of ramp and break through the converter's filter",
    "resolution": "steps in which the other instrument shows a load, and its zero",
    "noise": "noise of one sample of the converter",
    "zero": "the unloaded reading before the pull, carried to the peak",
    "calibration fit": "scatter of the known loads about the calibration",
    "air density": "air bears a little of the known masses",
    "gravity": "local gravity, from latitude and height",
    "known masses": "what the known masses are known to",
    "non-linearity": "how far the cell may bend between the known loads",
    "extrapolation": "how far the cell may bend beyond the highest known load",
    "hysteresis": "falling readings among the known loads; the pull rises",
    "zero return": "empty readings after a load among the known loads",
    "temperature": "warmer or colder than at the calibration",
    "stated accuracy": "of the other instrument, as stated when its recording was imported",
    "accuracy not stated": "of the other instrument; nobody stated it",
    "line between cell and specimen": "lever, legs or pulleys: how well their factor is known",
    "remounting": "shackles and pins that sit otherwise than at the calibration",
    "creep": "holding longer or shorter than at the calibration",
    "span from day to day": "another day than the calibration's",
    "gain of the converter": "the converter, warmer or colder than at the calibration",
    "bending": "side force of a line that is not in the cell's axis",
    "friction of blocks": "between cell and specimen, as the rig says",
    "inertia of blocks": "of blocks between cell and specimen when the load changes fast",
    "lever ratio": "of the lever that the known masses hung on",
    "misalignment": "angle between the line of pull and the cell, which then reads too little",
}
"""What a line of the budget means."""

ALL: Final = "all together"


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One source: its standard uncertainty in the unit, in percent of the peak, and what it is."""

    source: str
    size: str
    share: str
    meaning: str


def budget_rows(summary: Summary, unit: str) -> tuple[BudgetRow, ...]:
    """Every line of the budget, the largest first, and the root sum of squares last. Raises: UnitError."""
    peak = summary.peak.estimate_n
    lines = sorted(summary.budget, key=lambda line: -line.standard_n)
    sizes = [(line.source, line.standard_n, meaning_of(line.source)) for line in lines]
    sizes.append((ALL, standard_n(summary), "root of the sum of squares (JCGM 100, 5.1.2)"))
    return tuple(
        BudgetRow(source, rate_text(size, unit), percent_text(size / peak) if peak > 0.0 else "", meaning)
        for source, size, meaning in sizes
    )


def meaning_of(source: str) -> str:
    """What a line of the budget means; nothing for an unknown one."""
    if source.startswith("reference"):
        return "what the reference in the same line, or its certificate, is known to"
    return SOURCES.get(source, "")


def percent_text(share: float) -> str:
    """A share as percent, to two digits."""
    if 0.0 < share < 0.00001:
        return "below 0.001 %"
    return f"{rate_text(100 * share, 'N')} %"
