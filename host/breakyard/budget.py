"""The peak's budget: one term per source in newtons, and the interval that they make together."""

import math

from breakyard.calibration.terms import Term, combine
from breakyard.curve import LoadCurve
from breakyard.peak import shortest_event_s
from breakyard.reading import Reading
from breakyard.results import BudgetLine, Peak
from breakyard.zero import ZeroLine


def budget_terms(
    curve: LoadCurve,
    zero: ZeroLine,
    reading: Reading,
    rail_n: float | None,
    misalignment_deg: float,
    temperature_c: float | None,
) -> tuple[Term, ...]:
    """The budget: one term per source, in newtons, independent of each other."""
    load = reading.estimate_n if rail_n is None else rail_n
    names = {"slow": "sampling and filter", "ramp_and_break": "recovery of the peak", "too_short": "noise"}
    terms = [Term(names[reading.regime], reading.standard_n if rail_n is None else zero.noise_n, kind="A")]
    terms.append(Term("zero", zero.standard_at_n(reading.time_s), kind="A"))
    if curve.calibration is not None:
        at_peak = zero.at_n(reading.time_s)
        zero_counts = curve.calibration.counts_at(at_peak, 0.0)
        counts = curve.calibration.counts_at(load, zero_counts)
        terms += curve.calibration.terms(counts, zero_counts, temperature_c=temperature_c)
    if curve.accuracy:
        terms.append(Term("stated accuracy", curve.accuracy * load))
    if misalignment_deg:
        # The cell reads F cos(angle); the angle is known only to lie within the stated one (JCGM 100, 4.3.7).
        terms.append(
            Term("misalignment", load * (1.0 - math.cos(math.radians(misalignment_deg))) / math.sqrt(3.0))
        )
    return tuple(term for term in terms if term.standard_n > 0.0)


def assumptions(curve: LoadCurve, misalignment_deg: float, temperature_c: float | None) -> tuple[str, ...]:
    """Sentences that say what the budget takes for granted about angle and temperature."""
    said = "Angle: the line of pull is taken to lie in the cell's axis, because no angle was stated."
    if misalignment_deg:
        said = f"Angle: up to {misalignment_deg:g} degrees between line and cell is allowed for, as stated."
    if curve.calibration is None:
        return (said,)
    return (said, curve.calibration.warmth(temperature_c)[1])


def peak_with_interval(
    curve: LoadCurve, reading: Reading, rail_n: float | None, terms: tuple[Term, ...], coverage: float
) -> Peak:
    """Add zero and calibration to the reading. The reading's own interval may be lopsided, so it is added apart."""
    rest = combine(terms[1:] if reading.standard_n > 0.0 else terms).half_width_n(coverage)
    lower = reading.bound == "lower" or rail_n is not None
    estimate = reading.estimate_n if rail_n is None else rail_n
    low = estimate - math.hypot(reading.below_n if rail_n is None else 0.0, rest)
    return Peak(
        estimate_n=estimate,
        low_n=low,
        high_n=None if lower else estimate + math.hypot(reading.above_n, rest),
        largest_sample_n=reading.largest_n if rail_n is None else rail_n,
        time_s=reading.time_s,
        bound="lower" if lower else "two-sided",
        coverage=coverage,
        regime=reading.regime,
        shortest_event_s=shortest_event_s(curve.period_s),
    )


def told(terms: tuple[Term, ...]) -> tuple[BudgetLine, ...]:
    """The terms as they stand in the result."""
    return tuple(
        BudgetLine(
            term.source,
            term.standard_n,
            term.degrees_of_freedom if math.isfinite(term.degrees_of_freedom) else None,
        )
        for term in terms
    )
