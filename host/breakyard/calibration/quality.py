"""How well a cell behaved during its calibration, in the terms of the standards.

ISO 376 (force-proving instruments), ISO 7500-1 (testing machines) and ASTM E74. Definitions and limits are
from memory, the standards not being at hand; only the arithmetic of E74 is anchored, by NIST's Pontius data.
A class named here is what these readings alone would reach. It is no accredited calibration: that needs
traceable loads, rotations, temperature control and a laboratory.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from breakyard.calibration.degree import rising
from breakyard.calibration.fit import Floats, fit_polynomial
from breakyard.units import significant

DISCLAIMER: Final = (
    "Classes are what these readings alone would reach, by limits quoted from memory; "
    "this is no accredited calibration."
)

ISO_376: Final[dict[str, dict[str, float]]] = {
    "00": {
        "repeatability": 0.025,
        "interpolation": 0.025,
        "zero": 0.012,
        "reversibility": 0.07,
        "creep": 0.025,
    },
    "0.5": {
        "repeatability": 0.05,
        "interpolation": 0.05,
        "zero": 0.025,
        "reversibility": 0.15,
        "creep": 0.05,
    },
    "1": {"repeatability": 0.10, "interpolation": 0.10, "zero": 0.050, "reversibility": 0.30, "creep": 0.10},
    "2": {"repeatability": 0.20, "interpolation": 0.20, "zero": 0.10, "reversibility": 0.50, "creep": 0.20},
}
"""ISO 376:2011, Table 2, in percent (from memory): b', fc, f0, v, c. b (with rotation) is not seen here."""

ISO_7500: Final[dict[str, dict[str, float]]] = {
    "0.5": {"accuracy": 0.5, "repeatability": 0.5, "reversibility": 0.75, "zero": 0.05, "resolution": 0.25},
    "1": {"accuracy": 1.0, "repeatability": 1.0, "reversibility": 1.5, "zero": 0.1, "resolution": 0.5},
    "2": {"accuracy": 2.0, "repeatability": 2.0, "reversibility": 3.0, "zero": 0.2, "resolution": 1.0},
    "3": {"accuracy": 3.0, "repeatability": 3.0, "reversibility": 4.5, "zero": 0.3, "resolution": 1.5},
}
"""ISO 7500-1:2018, Table 2, in percent (from memory): q, b, v, f0, a."""

E74_FACTOR: Final = 2.4
E74_CLASS_A: Final = 400.0
E74_CLASS_AA: Final = 2000.0
E74_READINGS: Final = 30

LOADS_FOR_A_CLASS: Final = 0.2
"""Percent, k = 2: the widest uncertainty of calibration forces for which ISO 376 has a class (2; from memory)."""

CREEP_SEEN_S: Final = 60.0
"""A plateau must be this long before its drift says anything about creep."""


@dataclass(frozen=True, slots=True)
class E74:
    """ASTM E74 (from memory): s_m, lower limit factor 2.4 s_m, and the loads from which each class holds."""

    standard_deviation: float
    lower_limit_factor: float
    class_a_from: float
    class_aa_from: float
    readings: int

    @property
    def enough_readings(self) -> bool:
        """E74 wants 30 readings or more."""
        return self.readings >= E74_READINGS


@dataclass(frozen=True, slots=True)
class CalibrationQuality:
    """Largest values over the calibration, in percent; None where the readings do not show it.

    reversibility: down less up, of the load's own reading. hysteresis_span: the same, of the whole span.
    repeatability: spread of equal loads reached the same way. interpolation: rising reading against the
    fit, of the load. zero: last empty reading less first, of the span. creep: drift on a long plateau at the highest
    load, of the span, per plateau. `iso_376`, `iso_7500` name the class, None if beyond the widest.
    """

    reversibility: float | None
    hysteresis_span: float | None
    repeatability: float | None
    interpolation: float | None
    zero: float | None
    creep: float | None
    resolution: float | None
    e74: E74 | None
    iso_376: str | None
    iso_7500: str | None
    not_seen: tuple[str, ...]
    sentences: tuple[str, ...] = field(default=())
    classes_withheld: bool = False
    """True where the known loads are themselves too poorly known for any class to be named."""


def e74(loads: ArrayLike, readings: ArrayLike, degree: int, resolution_n: float = 0.0) -> E74 | None:
    """s_m = sqrt(sum d^2 / (n - m - 1)) of readings against a polynomial of degree m in load; LLF = 2.4 s_m in
    units of load, not below the resolution. None when no degree of freedom is left."""
    fit = fit_polynomial(loads, readings, degree)
    if fit.degrees_of_freedom < 1:
        return None
    raw, _ = fit.raw
    deviation = fit.residual_standard
    limit = max(E74_FACTOR * deviation / abs(float(raw[1])), resolution_n)
    return E74(deviation, limit, E74_CLASS_A * limit, E74_CLASS_AA * limit, len(fit.residuals))


def paired(loads: Floats, readings: Floats, up: Sequence[bool]) -> list[tuple[float, float, float]]:
    """(load, rising reading, falling reading): the k-th rising with the k-th falling at each load."""
    rows = []
    for load in np.unique(loads):
        rises = [r for r, x, u in zip(readings, loads, up, strict=True) if x == load and u]
        falls = [r for r, x, u in zip(readings, loads, up, strict=True) if x == load and not u]
        rows += [(float(load), float(a), float(b)) for a, b in zip(rises, falls, strict=False)]
    return rows


def repeatability_spread(loads: Floats, readings: Floats, up: Sequence[bool]) -> tuple[float, float] | None:
    """(load, largest less smallest reading) where equal loads reached the same way differ most."""
    worst: tuple[float, float] | None = None
    for load in np.unique(loads):
        for way in (True, False):
            same = [r for r, x, u in zip(readings, loads, up, strict=True) if x == load and bool(u) is way]
            if len(same) > 1 and (worst is None or max(same) - min(same) > worst[1]):
                worst = (float(load), float(max(same) - min(same)))
    return worst


def assess(
    loads: ArrayLike,
    counts: ArrayLike,
    degree: int = 1,
    *,
    creep_counts: float | None = None,
    resolution_counts: float = 1.0,
    loads_within: float = 0.0,
) -> CalibrationQuality:
    """Judge a calibration from its points in the order they were taken (loads in newtons, counts).

    `creep_counts` is the drift on a long plateau at the highest load, if there was one. `loads_within` is the relative
    expanded uncertainty (k = 2) of the known loads: beyond LOADS_FOR_A_CLASS no class is named.
    """
    loads, counts = np.asarray(loads, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    up = [bool(way) for way in rising(loads)]
    fit = fit_polynomial(counts, loads, degree)
    slope = abs(float(np.ptp(loads)) / float(np.ptp(counts)))
    span = float(np.max(np.abs(loads)))
    shown = fit.value(counts)
    empty = np.flatnonzero(loads == 0.0)
    base = float(shown[empty].mean()) if len(empty) else 0.0
    pairs = [(x, b - a) for x, a, b in paired(loads, shown, up) if x > 0.0]
    loaded = loads > 0.0
    reversibility = max((abs(d) / x for x, d in pairs), default=None)
    hysteresis = max((abs(d) / span for _, d in pairs), default=None)
    repeat = _worst_repeatability(loads, shown, up)
    rose = loaded & np.array(up)
    off = np.abs(shown[rose] - base - loads[rose]) / loads[rose]
    zero = abs(float(shown[empty[-1]] - shown[empty[0]])) / span if len(empty) > 1 else None
    creep = None if creep_counts is None else abs(creep_counts) * slope / span
    resolution = resolution_counts * slope / float(loads[loaded].min()) if loaded.any() else None
    percent = {
        "reversibility": reversibility,
        "hysteresis_span": hysteresis,
        "repeatability": repeat,
        "interpolation": float(off.max()) if len(off) else None,
        "zero": zero,
        "creep": creep,
        "resolution": resolution,
    }
    values = {name: None if value is None else 100.0 * value for name, value in percent.items()}
    table = {**values, "accuracy": values["interpolation"]}
    judged = ("reversibility", "repeatability", "interpolation", "zero", "creep")
    limits = e74(loads, counts, degree, resolution_counts * slope) if len(loads) > degree + 1 else None
    missing = tuple(name for name in judged if values[name] is None)
    withheld = 100.0 * loads_within > LOADS_FOR_A_CLASS
    iso_376, iso_7500 = (None if withheld else _class(classes, table) for classes in (ISO_376, ISO_7500))
    return CalibrationQuality(
        e74=limits,
        iso_376=iso_376,
        iso_7500=iso_7500,
        not_seen=missing,
        sentences=_sentences(values, limits, iso_376, iso_7500, missing, loads_within if withheld else None),
        classes_withheld=withheld,
        **values,
    )


def _worst_repeatability(loads: Floats, shown: Floats, up: Sequence[bool]) -> float | None:
    """Largest spread of equal loads reached the same way, of the load (of the span at no load: left out)."""
    worst: float | None = None
    for load in np.unique(loads[loads > 0.0]):
        here = loads == load
        spread = repeatability_spread(
            loads[here], shown[here], [u for u, h in zip(up, here, strict=True) if h]
        )
        if spread is not None:
            worst = max(worst or 0.0, spread[1] / float(load))
    return worst


def _class(table: dict[str, dict[str, float]], percent: dict[str, float | None]) -> str | None:
    """The best class whose every limit holds for what was seen; None if not even the widest."""
    for name, limits in table.items():
        seen = [(percent[key], limit) for key, limit in limits.items() if percent[key] is not None]
        if all(value is not None and value <= limit for value, limit in seen):
            return name
    return None


def _sentences(
    values: dict[str, float | None],
    limits: E74 | None,
    iso_376: str | None,
    iso_7500: str | None,
    missing: tuple[str, ...],
    too_unsure: float | None,
) -> tuple[str, ...]:
    said = []
    for name, text in (
        ("reversibility", "Rising and falling readings differ by up to {:.3f} % of the load."),
        ("repeatability", "Equal loads reached the same way repeat within {:.3f} %."),
        ("interpolation", "The readings lie within {:.3f} % of the fit."),
        ("zero", "The empty reading came back within {:.3f} % of the span."),
        ("creep", "At the highest load it crept by {:.3f} % of the span."),
    ):
        value = values[name]
        if value is not None:
            said.append(text.format(value))
    if too_unsure is not None:
        said.append(
            "No class of a standard is named: the known loads are themselves unsure by "
            f"{100.0 * too_unsure:.2g} % (k = 2)."
        )
        return (*said, *([f"Not seen in these readings: {', '.join(missing)}."] if missing else []))
    said.append(
        f"By these it would reach ISO 376 class {iso_376 or 'none'}, ISO 7500-1 class {iso_7500 or 'none'}."
    )
    if missing:
        said.append(f"Not seen in these readings: {', '.join(missing)}.")
    if limits is not None:
        line = (
            f"ASTM E74: lower limit factor {significant(limits.lower_limit_factor, 3)} N, class A from "
            f"{significant(limits.class_a_from, 4)} N"
        )
        short = (
            ""
            if limits.enough_readings
            else f", but E74 wants {E74_READINGS} readings and these are {limits.readings}"
        )
        said.append(line + short + ".")
    said.append(DISCLAIMER)
    return tuple(said)
