"""The calibration: counts -> newtons, with what is known of its errors.

A frozen, serialisable value. It holds its points and everything derived from them that is needed to
evaluate it, so a reader of the JSON needs no fit: force = sum of coefficients[k] * z**k with
z = (counts - centre) / scale. `effects` tell by how much one standard uncertainty of each shared source
(a mass, gravity, ...) shifts the coefficients; that keeps every correlation.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, ClassVar, Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from breakyard.calibration.bend import Bends, by_points, departure, errors_of_fit, scale_of, shapes
from breakyard.calibration.degree import REACH, Suspect
from breakyard.calibration.document import believable, derived
from breakyard.calibration.fit import powers
from breakyard.calibration.known_loads import larger_only
from breakyard.calibration.loops import loops
from breakyard.calibration.plate import Plate
from breakyard.calibration.points import Point
from breakyard.calibration.propagate import coverage_interval
from breakyard.calibration.quality import CREEP_SEEN_S, CalibrationQuality, assess
from breakyard.calibration.terms import Distribution, Shape, Term, combine, limits, tabulated, together
from breakyard.calibration.weight import Air, Gravity
from breakyard.document import Document, face
from breakyard.errors import CalibrationError
from breakyard.shown import Form, Mode, Picture, notebook

TEMPERATURE_RANGE_C: Final = 20.0
"""A pull may be this much warmer or colder than the calibration when nothing else is known: a shed in spring, a cell in
the sun or in the frost (common practice, no source)."""

USUAL_SPAN_PER_C: Final = 0.0001
"""Limit per degree C for a cell whose sheet states none: twice the 0.05 % for 10 degrees that sheets of cheap cells
state (typical values, from memory)."""

Vector = tuple[float, ...]


class Effect(NamedTuple):
    """By how much one standard uncertainty of a source shifts the coefficients, in newtons."""

    source: str
    shift_n: Vector


@dataclass(frozen=True, slots=True)
class LoadInterval:
    """A load with its interval, from the calibration and whatever other terms were added."""

    load_n: float
    low_n: float
    high_n: float
    standard_n: float
    degrees_of_freedom: float
    coverage: float
    terms: tuple[Term, ...]
    extrapolation: float


@dataclass(frozen=True, slots=True, repr=False)
class Calibration(Document):
    """Counts to newtons. Made by `calibrate`; read back by `from_json`.

    In the document "derived" repeats in plain terms what follows from the rest (slope, budget at two loads, quality);
    it is not part of the hash and is not read back.

    Example:
        >>> import breakyard as by
        >>> calibration = by.open_session("demo-session").calibration()
        >>> calibration.load_n([100_000, 200_000], zero_counts=100_000).round(1).tolist()[0]
        0.0

    `covariance` is (p, p), `effects` maps each source to a shift of the p coefficients in newtons per
    standard uncertainty, `curvature` holds the fits of load**2 and load**3 (N^2, N^3) over the same points,
    from which the error of a bent cell follows anywhere.
    """

    SCHEMA: ClassVar = "breakyard.calibration/1"
    NOUN: ClassVar = "calibration"
    AGAIN: ClassVar = "calibrate again"
    HASHED: ClassVar = True
    BESIDE: ClassVar = (
        *("derived", "file", "findings", "compared_with", "pictures", "monte_carlo", "loads_understood"),
    )
    """What follows from the rest, and what a command says about it."""
    LAW: ClassVar = (
        "force_n = sum of coefficients_n[k] * z**k with z = (counts - centre) / scale; "
        "load_n = force_n(counts) - force_n(zero counts of the pull)"
    )
    ALSO_IN_JSON: ClassVar = {"fit.law": "LAW", "fit.degree": "degree"}

    name: str
    created: str
    points: tuple[Point, ...]
    gravity: Gravity
    air: Air
    plate: Plate | None
    gain: int | None
    centre: float = field(metadata=face("fit.centre"))
    scale: float = field(metadata=face("fit.scale"))
    coefficients: Vector = field(metadata=face("fit.coefficients_n"))
    covariance: tuple[Vector, ...] = field(metadata=face("fit.covariance_n2"))
    effects: tuple[Effect, ...]
    curvature: tuple[Vector, Vector] = field(metadata=face("fit.curvature"))
    residuals_n: Vector = field(metadata=face("fit.residuals_n"))
    variances_n2: Vector = field(metadata=face("fit.variances_n2"))
    between_n: float = field(metadata=face("fit.between_n"))
    degrees_of_freedom: int = field(metadata=face("fit.degrees_of_freedom"))
    highest_known_n: float
    flags: tuple[str, ...]
    sentences: tuple[str, ...]
    provenance: tuple[tuple[str, str], ...] = field(metadata=face(pairs=True))
    suspects: tuple[Suspect, ...]
    temperature_range_c: float
    temperature_c: float | None = field(default=None, metadata=face(sparse=True))
    """Of the cell when it was calibrated, where someone said so."""
    told_apart: float = field(default=1.0, metadata=face(sparse=True))
    """The part of a limit by which masses may differ from one another, by what the residuals show."""

    def __repr__(self) -> str:
        return (
            f"Calibration {self.name!r}: {len(self.points)} points up to {self.highest_known_n:.5g} N, "
            f"degree {self.degree}, hash {self.content_hash[:8]}"
        )

    def _repr_html_(self) -> str:
        html: str = notebook().calibration_html(self)
        return html

    def plot(self, *, unit: str = "N", mode: Mode = "light", form: Form = "wide") -> Picture:
        """Draw line, interval and residuals. Raises: UnitError."""
        picture: Picture = notebook().calibration_picture(self, unit=unit, mode=mode, form=form)
        return picture

    @property
    def degree(self) -> int:
        """Of the polynomial in counts."""
        return len(self.coefficients) - 1

    def load_n(self, counts: ArrayLike, zero_counts: float) -> NDArray[np.float64]:
        """Newtons that these counts show relative to the pull's own zero: f(counts) - f(zero)."""
        z = (np.asarray(counts, dtype=np.float64) - self.centre) / self.scale
        z_zero = (float(zero_counts) - self.centre) / self.scale
        load = np.zeros_like(z)
        at_zero = 0.0
        for coefficient in reversed(self.coefficients[1:]):
            load = (load + coefficient) * z
            at_zero = (at_zero + coefficient) * z_zero
        return np.asarray(load - at_zero)

    def slope_n_per_count(self, counts: ArrayLike) -> NDArray[np.float64]:
        """Newtons per count at these counts."""
        z = (np.asarray(counts, dtype=np.float64) - self.centre) / self.scale
        slope = np.zeros_like(z)
        for k in range(self.degree, 0, -1):
            slope = slope * z + k * self.coefficients[k]
        return np.asarray(slope / self.scale)

    def counts_at(self, load_n: float, zero_counts: float) -> float:
        """The counts that would show this load: the root next to the mean slope. NaN if there is none."""
        counts = zero_counts + load_n / float(self.slope_n_per_count(zero_counts))
        for _ in range(50):
            slope = float(self.slope_n_per_count(counts))
            step = (float(self.load_n(counts, zero_counts)) - load_n) / slope if slope else math.nan
            counts -= step
            if not math.isfinite(counts):
                return math.nan
            if abs(step) <= 1e-9 * max(1.0, abs(counts)):
                return counts
        return math.nan

    def extrapolation(self, load_n: float) -> float:
        """Load over highest known load: above 1 the load lies beyond what was calibrated."""
        return abs(float(load_n)) / self.highest_known_n

    def counted(self, counts: float, zero_counts: float) -> dict[str, float]:
        """Newtons that one standard uncertainty of each source moves load_n(counts, zero_counts) by; of limits that
        may be common or each mass's own, those that matter more."""
        both = powers((counts, zero_counts), self.centre, self.scale, self.degree)
        gradient = both[0] - both[1]
        return larger_only(
            {source: abs(float(gradient @ np.asarray(shift))) for source, shift in self.effects}
        )

    def reaches(self, load_n: float) -> bool:
        """Whether the fit may be read at this load: a curve is not followed beyond REACH times its last load."""
        return (
            self.degree == 1 or self.extrapolation(load_n) <= 1.01 * REACH
        )  # a load reads a little high at times

    def terms(
        self, counts: float, zero_counts: float, *, temperature_c: float | None = None
    ) -> tuple[Term, ...]:
        """Standard uncertainties of load_n(counts, zero_counts) that come from the calibration.

        Not in here: the converter's noise, the pull's own zero, sampling. Terms are independent of each
        other; all correlation (load with zero, mass with mass) is inside them. `temperature_c` is that of
        the cell when it was read, if known: see `warmth`. Raises: CalibrationError where a curve does not reach.
        """
        both = powers((counts, zero_counts), self.centre, self.scale, self.degree)
        gradient = both[0] - both[1]
        load = float(self.load_n(counts, zero_counts))
        if not self.reaches(load):
            raise CalibrationError(
                f"the calibration is a curve of degree {self.degree} and the load {self.extrapolation(load):.1f} times "
                f"its highest known load; beyond {REACH:g} times a curve is not read: calibrate again with --degree 1, "
                "or with higher loads"
            )
        scatter = float(gradient @ np.asarray(self.covariance) @ gradient)
        freedom = float(self.degrees_of_freedom) if self.degrees_of_freedom else math.inf
        terms = [Term("calibration fit", math.sqrt(max(scatter, 0.0)), freedom, "A")]
        grouped: dict[str, list[Term]] = {}
        for source, size in self.counted(counts, zero_counts).items():
            shape: Shape = "rectangular" if source in self.limited_sources else "normal"
            grouped.setdefault(group_of(source), []).append(Term(source, size, shape=shape))
        terms += [together(group, parts) for group, parts in grouped.items()]
        terms.append(self._bend(load, gradient))
        if temperature_c is not None or self.rates_warmth:
            terms.append(limits("temperature", self.warmth(temperature_c)[0] * load))
        return tuple(term for term in terms if term.standard_n > 0.0)

    def _bend(self, load: float, gradient: NDArray[np.float64]) -> Term:
        capacity, bound = scale_of(self.plate, load, self.highest_known_n)
        square, cube = (float(gradient @ np.asarray(vector)) for vector in self.curvature)
        bow, s_curve = errors_of_fit(load, square, cube, capacity)
        bends = self.bends(capacity, bound)
        table = Distribution(bound * (bow * bends.bow + s_curve * bends.s_curve), bends.weights)
        beyond = self.extrapolation(load) > 1.01  # the highest mass itself reads a little high at times
        unseen = limits("departure", bound * departure(load, capacity, self.highest_known_n))
        return together("extrapolation" if beyond else "non-linearity", [tabulated("bend", table), unseen])

    def bends(self, capacity_n: float, bound_n: float) -> Bends:
        """How the cell may be bent, by its rating and by these points."""
        return _bends(self, capacity_n, bound_n)

    @property
    def limited_sources(self) -> frozenset[str]:
        """Sources of which only limits are known: rectangles."""
        known = [piece for point in self.points for piece in point.load.pieces if piece.limited]
        pieces = {piece.source for piece in known} | {piece.each for piece in known}
        gravity = set() if self.gravity.source == "stated" else {"gravity"}
        return frozenset(pieces | gravity | {"lever ratio", "hysteresis", "zero return"})

    @property
    def rates_warmth(self) -> bool:
        """Whether the sheet states what temperature does to the span."""
        return self.plate is not None and self.plate.span_per_c is not None

    def degrees_apart(self, temperature_c: float | None = None) -> float:
        """Degrees between the calibration and a reading: known where both are, else as much as may be."""
        if temperature_c is not None and self.temperature_c is not None:
            return abs(temperature_c - self.temperature_c)
        return self.temperature_range_c

    def warmth(self, temperature_c: float | None = None) -> tuple[float, str]:
        """By which part of the load the cell may err, being warmer or colder than when it was calibrated.

        Returns the limit, either way (sheets give no sign), and a sentence that says what was assumed. Knowing nothing
        counts as an outdoor range around the calibration's temperature.
        """
        stated = None if self.plate is None else self.plate.span_per_c
        effect = USUAL_SPAN_PER_C if stated is None else abs(stated)
        apart = self.degrees_apart(temperature_c)
        assumed = ", the usual limit, because the plate states none" if stated is None else ""
        if temperature_c is not None and self.temperature_c is not None:
            said = f"Temperature: {apart:g} C from the calibration's {self.temperature_c:g} C, at {100 * effect:g} %/C"
            return effect * apart, f"{said}{assumed}."
        if temperature_c is not None:
            why = "the calibration does not say its temperature"
        else:
            why = "no temperature of the pull was stated (--temperature)"
        said = f"Temperature: up to {apart:g} C from the calibration's at {100 * effect:g} %/C{assumed}"
        return effect * apart, f"{said}; that much, because {why}."

    def interval(
        self, counts: float, zero_counts: float, *, coverage: float = 0.95, also: Iterable[Term] = ()
    ) -> LoadInterval:
        """The load at these counts with its interval; `also` adds terms in newtons (noise, zero ...).

        The interval comes from the terms' distributions (`propagate`) and always holds the load itself; standard
        uncertainty and degrees of freedom are the GUM's.
        """
        load = float(self.load_n(counts, zero_counts))
        terms = (*self.terms(counts, zero_counts), *also)
        combined = combine(terms)
        low, high = coverage_interval(terms, coverage)
        return LoadInterval(
            load,
            load + min(low, 0.0),
            load + max(high, 0.0),
            combined.standard_n,
            combined.degrees_of_freedom,
            coverage,
            terms,
            self.extrapolation(load),
        )

    def _derived(self) -> dict[str, Any]:
        return {"derived": derived(self)}

    def _check(self) -> None:
        believable(self)

    def quality(self) -> CalibrationQuality:
        """The terms and classes of ISO 376, ISO 7500-1 and ASTM E74 for these points, in their order."""
        loads = [point.load.force(self.gravity, self.air).newtons for point in self.points]
        counts = [point.counts for point in self.points]
        top = self.points[loads.index(max(loads))]
        creep = None
        if top.drift_counts_per_s is not None and top.start_s is not None and top.end_s is not None:
            length = top.end_s - top.start_s
            creep = top.drift_counts_per_s * length if length >= CREEP_SEEN_S else None
        forces = [point.load.force(self.gravity, self.air) for point in self.points]
        unsure = max(
            (2.0 * force.standard_n / abs(force.newtons) for force in forces if force.newtons), default=0.0
        )
        return assess(loads, counts, self.degree, creep_counts=creep, loads_within=unsure)

    def budget(self, load_n: float) -> tuple[Term, ...]:
        """The terms at a load, from the zero of the calibration itself."""
        zero = self.zero_counts
        return self.terms(self.counts_at(load_n, zero), zero)

    @property
    def zero_counts(self) -> float:
        """Where the fit crosses zero newtons: the counts of the empty cell on the day of the calibration."""
        z = 0.0 if self.degree == 0 else -self.coefficients[0] / self.coefficients[1]
        for _ in range(20):
            value = math.fsum(c * z**k for k, c in enumerate(self.coefficients))
            slope = math.fsum(k * c * z ** (k - 1) for k, c in enumerate(self.coefficients) if k)
            z -= value / slope if slope else 0.0
        return self.centre + self.scale * z


def group_of(source: str) -> str:
    """The name under which a source stands in a budget: all masses together, the rest as they are."""
    if source.startswith(("mass", "water")):
        return "known masses"
    return source.split(":")[0]


@lru_cache(maxsize=64)
def _bends(calibration: Calibration, capacity_n: float, bound_n: float) -> Bends:
    forces = [point.load.force(calibration.gravity, calibration.air) for point in calibration.points]
    loads = np.array([force.newtons for force in forces])
    counts = np.array([point.counts for point in calibration.points])
    slope = abs(float(calibration.slope_n_per_count(calibration.zero_counts)))
    own = slope * np.array([point.counts_standard or 0.0 for point in calibration.points])
    sources = sorted({source for force in forces for source in force.sources})
    covariance = np.diag(own**2)
    for source in sources:
        # A limit may be reached by all masses at once, and then looks like a bend: it counts as a standard deviation.
        most = math.sqrt(3.0) if source in calibration.limited_sources else 1.0
        pattern = most * np.array([force.sources.get(source, 0.0) for force in forces])
        covariance += np.outer(pattern, pattern)
    for pattern in loops(loads, calibration.plate).values():
        # Loops of one cell share their size, not their shape: half of it each.
        covariance += 0.5 * np.outer(pattern, pattern) + 0.5 * np.diag(pattern**2)
    rows = powers(counts, calibration.centre, calibration.scale, calibration.degree)
    return by_points(rows, loads, bound_n * shapes(loads, capacity_n), covariance)
