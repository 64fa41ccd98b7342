"""What lies between cell and specimen: a lever, legs, pulleys. Its factor makes the specimen's load of the cell's.

    load at the specimen = factor x load at the cell

    lever     ratio of the arms, specimen's load over the cell's (equal moments)
    legs      n legs, each at half of the angle between opposite ones from the line: the line carries
              n cos(angle / 2) times what a leg carries (equal shares, statics)
    pulleys   n falls of a tackle whose sheaves each pass on the share e of a rope's load: hauling, the moving block
              carries 1 + e + e^2 + ... + e^(n-1) times the hauled end, lowering the same with 1 / e

Each part's limits either way are taken for a rectangle's (JCGM 100, 4.3.7) and combined as shares.
"""

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any, Final

from breakyard.curve import Line, LoadCurve
from breakyard.errors import DataError
from breakyard.pull.results import AtCell, BudgetLine, Peak, Slope, Strength, Summary

SOURCE: Final = "line between cell and specimen"

LEVER_SHARE: Final = 0.01
"""Limit either way of a lever's ratio where none is said: arms measured with a tape (common practice, no source)."""
ANGLE_DEG: Final = 3.0
"""Limit either way of an angle where none is said (common practice, no source)."""
EFFICIENCY: Final = (0.93, 0.05)
"""Share that a sheave passes on where none is said, and its limit either way: 0.90 to 0.98 for bearings of all kinds in
handbooks of rigging (from memory)."""

_SQRT3: Final = math.sqrt(3.0)
_KEYS: Final = (
    "lever",
    "lever_pm",
    "legs",
    "angle_deg",
    "angle_pm_deg",
    "specimen_is",
    "falls",
    "efficiency",
    "efficiency_pm",
    "direction",
)
LINE, LEG = "the line", "a leg"


def read_line(table: Mapping[str, Any], where: str) -> Line | None:
    """What a table [line] says; None where it says nothing. Raises: DataError, with the key."""
    for name in table:
        if name not in _KEYS:
            raise DataError(f'{where}: unknown key "{name}"; there is {", ".join(_KEYS)}')

    def number(name: str, usual: float, low: float, high: float) -> float:
        said = table.get(name, usual)
        try:
            value = float(str(said).replace(",", "."))
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise DataError(f'{where}: "{name}" must lie between {low:g} and {high:g}, not {said!r}')
        return value

    factor, variance, words = 1.0, 0.0, []
    if "lever" in table:
        ratio = number("lever", 1.0, 0.01, 1000.0)
        off = number("lever_pm", LEVER_SHARE * ratio, 0.0, ratio)
        factor *= ratio
        variance += (off / ratio) ** 2 / 3.0
        words.append(f"lever {ratio:g} +- {off:g}")
    if "legs" in table:
        legs = number("legs", 2, 2, 8)
        angle = number("angle_deg", math.nan, 0.0, 170.0)
        off = number("angle_pm_deg", ANGLE_DEG, 0.0, 90.0)
        share = legs * math.cos(math.radians(angle) / 2.0)
        specimen = str(table.get("specimen_is", LEG))
        if specimen not in (LINE, LEG):
            raise DataError(f'{where}: "specimen_is" must be "{LEG}" or "{LINE}", not {specimen!r}')
        factor *= share if specimen == LINE else 1.0 / share
        # d ln cos(a/2) / da = -tan(a/2) / 2
        variance += (math.tan(math.radians(angle) / 2.0) / 2.0 * math.radians(off)) ** 2 / 3.0
        words.append(
            f"{legs:g} legs with {angle:g} +- {off:g} degrees between them, the specimen being {specimen}"
        )
    if "falls" in table:
        falls = round(number("falls", 1, 1, 12))
        share = number("efficiency", EFFICIENCY[0], 0.3, 1.0)
        off = number("efficiency_pm", EFFICIENCY[1], 0.0, 0.5)
        direction = str(table.get("direction", "hauling"))
        if direction not in ("hauling", "lowering"):
            raise DataError(f'{where}: "direction" must be hauling or lowering, not {direction!r}')
        sign = 1 if direction == "hauling" else -1
        ropes = [share ** (sign * k) for k in range(falls)]
        slope = sum(sign * k * share ** (sign * k - 1) for k in range(1, falls))
        factor *= sum(ropes)
        variance += (slope / sum(ropes) * off) ** 2 / 3.0
        words.append(f"{falls} falls, each sheave passing on {share:g} +- {off:g}, {direction}")
    if not words:
        return None
    return Line(factor, math.sqrt(variance), "; ".join(words))


def at_cell(curve: LoadCurve) -> LoadCurve:
    """The curve as the cell was loaded."""
    assert curve.line is not None
    load = curve.load_n / curve.line.factor
    load.setflags(write=False)
    unloaded = curve.unloaded
    if unloaded is not None:
        f = curve.line.factor
        unloaded = replace(
            unloaded,
            level_n=unloaded.level_n / f,
            standard_n=unloaded.standard_n / f,
            near_n=unloaded.near_n / f,
        )
    cycles = curve.one_specimen or bool(curve.protocol)  # a protocol's loads are the specimen's
    return replace(curve, load_n=load, line=None, unloaded=unloaded, one_specimen=cycles, protocol="")


def at_specimen(summary: Summary, line: Line, curve: LoadCurve) -> Summary:
    """The summary of the load on the cell, as loads of the specimen; the line's own doubt is a term of the budget."""
    scaled = _scaled(replace(summary, curve=None), line.factor)
    assert isinstance(scaled, Summary)
    own = line.relative * scaled.peak.estimate_n
    times = _two_sided(scaled.peak)
    peak = replace(
        scaled.peak,
        low_n=_wider(scaled.peak.estimate_n, scaled.peak.low_n, times * own),
        high_n=None
        if scaled.peak.high_n is None
        else _wider(scaled.peak.estimate_n, scaled.peak.high_n, times * own),
    )
    strength = Strength(
        scaled.strength.value_n,
        peak.low_n,
        None if scaled.strength.high_n is None else peak.high_n,
        scaled.strength.at_least,
    )
    first = scaled.first_peak
    if first is not None and first.low_n is not None:
        more = times * line.relative * first.load_n
        first = replace(
            first,
            low_n=_wider(first.load_n, first.low_n, more),
            high_n=None if first.high_n is None else _wider(first.load_n, first.high_n, more),
            budget=_with_line(first.budget, line.relative * first.load_n) if first.budget else (),
        )
    relative = times * line.relative
    extension, energy = scaled.extension, scaled.energy
    if extension is not None and extension.stiffness is not None:
        extension = replace(extension, stiffness=_wider_slope(extension.stiffness, relative))
    if energy is not None and energy.stiffness is not None:
        energy = replace(energy, stiffness=_wider_slope(energy.stiffness, relative))
    sentence = (
        f"Line: the specimen bears {line.factor:.4g} times the cell's load ({line.words}); all loads here are the "
        "specimen's, the cell's own is told beside the peak."
    )
    return replace(
        scaled,
        peak=peak,
        strength=strength,
        first_peak=first,
        extension=extension,
        energy=energy,
        budget=_with_line(scaled.budget, own),
        assumptions=(*scaled.assumptions, sentence),
        at_cell=AtCell(
            line.factor,
            line.relative,
            summary.peak.estimate_n,
            summary.peak.low_n,
            summary.peak.high_n,
            line.words,
        ),
        protocol=curve.protocol,
        curve=curve,
    )


def _with_line(budget: tuple[BudgetLine, ...], own_n: float) -> tuple[BudgetLine, ...]:
    """A budget with the line's own doubt, the largest first."""
    if not own_n > 0.0:
        return budget
    return tuple(
        sorted((*budget, BudgetLine(SOURCE, own_n, None, "rectangular")), key=lambda one: -one.standard_n)
    )


def _two_sided(peak: Peak) -> float:
    from scipy.special import ndtri

    return float(ndtri(0.5 + peak.coverage / 2.0))


def _wider(middle: float, end: float, more: float) -> float:
    return middle + math.copysign(math.hypot(end - middle, more), end - middle)


def _wider_slope(slope: Slope, relative: float) -> Slope:
    more = relative * abs(slope.value)
    return Slope(slope.value, _wider(slope.value, slope.low, more), _wider(slope.value, slope.high, more))


def _scaled(value: Any, factor: float, name: str = "") -> Any:
    """Every force, loading rate, stiffness and work in frozen values, times the factor."""
    if is_dataclass(value) and not isinstance(value, type):
        if name == "stiffness":
            return type(value)(*(factor * getattr(value, one.name) for one in fields(value)))
        changes = {one.name: _scaled(getattr(value, one.name), factor, one.name) for one in fields(value)}
        return replace(value, **changes)
    is_force = name.endswith(("_n", "_n_per_s", "_n_per_m", "_j"))
    if isinstance(value, tuple):
        return tuple(_scaled(one, factor, name) for one in value)
    if isinstance(value, float) and is_force:
        return factor * value
    return value
