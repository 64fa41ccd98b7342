"""Lengths and marks in words, in the unit in which they were written down."""

from typing import Final

from breakyard.pull.extension import UNSTATED
from breakyard.pull.results import Extension, Summary
from breakyard.report.words.values import decimals_for, fixed, load_text
from breakyard.units import FORCE_UNITS, force_unit

IN_ONE: Final = {"m": 1.0, "cm": 0.01, "mm": 0.001, "um": 1e-6, "in": 0.0254, "ft": 0.3048}
"""Metres in one of each unit of length."""

MOST_TOLD: Final = 12


def length_text(value_m: float, unit: str) -> str:
    """A length with its unit."""
    return f"{value_m / IN_ONE[unit]:.4g} {unit}"


def extension_lines(summary: Summary, unit: str) -> list[tuple[str, str]]:
    """What the lengths and the marks say, as (name, text); empty texts for what is not known. Raises: UnitError."""
    lines: list[tuple[str, str]] = []
    found = summary.extension
    if found is not None:
        lines += [
            ("Extension", _extension(found)),
            ("Stiffness", _stiffness(found, unit)),
            (
                "First movement",
                ""
                if found.first_movement_n is None
                else f"from {load_text(found.first_movement_n, unit)} {unit} on",
            ),
            (
                "Left afterwards",
                "" if found.permanent_m is None else length_text(found.permanent_m, found.unit),
            ),
            ("Creep", _creep(found)),
        ]
    slip = _after_slip(summary, unit)
    told = [
        f'"{one.text}" at {one.time_s:.1f} s, {load_text(one.load_n, unit)} {unit}'
        for one in summary.marks[:MOST_TOLD]
    ]
    more = f"; and {len(summary.marks) - MOST_TOLD} more" if len(summary.marks) > MOST_TOLD else ""
    return [*lines, ("After a slip", slip), ("Marks", "; ".join(told) + more)]


def _extension(found: Extension) -> str:
    shares = (
        (10, found.at_10_percent_m),
        (50, found.at_50_percent_m),
        (100, found.at_peak_m),
    )
    told = [
        f"{length_text(value, found.unit)} at {share} % of the peak"
        for share, value in shares
        if value is not None
    ]
    text = ", ".join(told) or f"{found.points} lengths, none of them at the peak or before it"
    if found.gauge_m is not None and found.at_peak_m is not None:
        text += (
            f" ({100 * found.at_peak_m / found.gauge_m:.2f} % of {length_text(found.gauge_m, found.unit)})"
        )
    return f"{text}; {found.points} lengths"


def _stiffness(found: Extension, unit: str) -> str:
    slope = found.stiffness
    if slope is None:
        return ""
    factor = FORCE_UNITS[force_unit(unit)] / IN_ONE[found.unit]
    value, low, high = slope.value / factor, slope.low / factor, slope.high / factor
    places = decimals_for(max((high - low) / 2.0, 1e-9 * abs(value)))
    scale = "assumed" if found.accuracy is None else "stated"
    accuracy = UNSTATED if found.accuracy is None else found.accuracy
    return (
        f"{fixed(value, places)} ({fixed(low, places)} to {fixed(high, places)}) {unit}/{found.unit}, between 10 and "
        "40 % of the peak; what the line through the lengths, the load's scale and that of the lengths "
        f"({100 * accuracy:g} %, {scale}) leave open"
    )


def _creep(found: Extension) -> str:
    slope = found.creep_m_per_decade
    if slope is None:
        return ""
    low, high = (f"{value / IN_ONE[found.unit]:.3g}" for value in (slope.low, slope.high))
    return f"{length_text(slope.value, found.unit)} per decade of time ({low} to {high}), in the longest hold"


def _after_slip(summary: Summary, unit: str) -> str:
    """What it still held after its largest partial drop."""
    if not summary.drops:
        return ""
    drop = max(summary.drops, key=lambda one: one.from_n - one.to_n)
    share = 100 * drop.to_n / drop.from_n if drop.from_n > 0 else 0.0
    return f"{load_text(drop.to_n, unit)} {unit} were left of {load_text(drop.from_n, unit)} {unit} ({share:.0f} %)"
