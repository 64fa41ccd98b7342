"""The peak's budget: one term per source in newtons, and the interval that they make together."""

import math
from dataclasses import replace
from typing import Final

from breakyard.calibration.propagate import coverage_interval
from breakyard.calibration.terms import Distribution, Term, limits, tabulated, together
from breakyard.converter.noise import resolution_of
from breakyard.curve import UNSTATED_ACCURACY, LoadCurve
from breakyard.pull.in_use import (
    InUse,
    angle_sentence,
    angle_terms,
    block_sentences,
    block_terms,
    in_use_sentences,
    in_use_terms,
)
from breakyard.pull.peak.read import shortest_event_s
from breakyard.pull.peak.reading import Reading, distribution
from breakyard.pull.results import BudgetLine, Peak
from breakyard.pull.zero import ZeroLine

_NAMES: Final = {
    "slow": "sampling and filter",
    "ramp_and_break": "recovery of the peak",
    "too_short": "noise",
}


def budget_terms(
    curve: LoadCurve,
    zero: ZeroLine,
    reading: Reading,
    rail_n: float | None,
    misalignment_deg: float | None,
    temperature_c: float | None,
    coverage: float,
    in_use: InUse,
) -> tuple[Term, ...]:
    """The budget: one term per source, in newtons, independent of each other."""
    load = reading.estimate_n if rail_n is None else rail_n
    terms = [
        _own(reading, zero.noise_n, coverage)
        if rail_n is None
        else Term(_NAMES[reading.regime], zero.noise_n)
    ]
    terms.append(_zero(zero, reading.time_s))
    if curve.calibration is None:  # counts are far finer than their noise
        half = 0.5 * resolution_of(curve.load_n[curve.usable])
        terms.append(together("resolution", [limits("resolution", half)] * 2))  # of the load and of its zero
    stated = (misalignment_deg, temperature_c, in_use)
    terms += instrument_terms(curve, zero.at_n(reading.time_s), load, *stated)
    return tuple(term for term in terms if term.standard_n > 0.0)


def instrument_terms(
    curve: LoadCurve,
    zero_n: float,
    load: float,
    misalignment_deg: float | None,
    temperature_c: float | None,
    in_use: InUse,
) -> list[Term]:
    """What cell, calibration and line leave open of any load, counted from this zero."""
    terms: list[Term] = []
    if curve.calibration is not None:
        zero_counts = curve.calibration.counts_at(zero_n, 0.0)
        counts = curve.calibration.counts_at(load, zero_counts)
        own = curve.calibration.terms(counts, zero_counts, temperature_c=temperature_c)
        terms += [term for term in own if term.source != "temperature"]
        terms += in_use_terms(load, curve.calibration, in_use, temperature_c)
    elif curve.accuracy is not None:
        terms.append(Term("stated accuracy", curve.accuracy * load))
    elif assumes_accuracy(curve):
        terms.append(Term("accuracy not stated", UNSTATED_ACCURACY * load))
    terms += (*angle_terms(load, misalignment_deg), *block_terms(load, in_use.blocks))
    return [term for term in terms if term.standard_n > 0.0]


def assumes_accuracy(curve: LoadCurve) -> bool:
    """Whether another instrument's forces came without a word on how good they are."""
    return curve.accuracy is None and curve.calibration is None and curve.converter is None


def assumptions(
    curve: LoadCurve, misalignment_deg: float | None, temperature_c: float | None, in_use: InUse
) -> tuple[str, ...]:
    """Sentences that say what the budget takes for granted about angle, temperature, mounting, creep and blocks."""
    said = angle_sentence(misalignment_deg)
    if curve.calibration is None:
        unstated = (
            "Accuracy: nobody stated that of the instrument; a standard uncertainty of "
            f"{100.0 * UNSTATED_ACCURACY:g} % of the load is assumed (--accuracy)."
        )
        own = (unstated,) if assumes_accuracy(curve) else ()
        return (said, *own, *block_sentences(in_use.blocks))
    return (said, *in_use_sentences(curve.calibration, in_use, temperature_c))


def _zero(zero: ZeroLine, time_s: float) -> Term:
    """What the witnesses of the zero leave open: a load is too high by as much as its zero is too low."""
    if zero.doubt is None:
        return Term("zero", zero.standard_at_n(time_s), kind="A")
    return tabulated("zero", Distribution(-zero.doubt.values_n, zero.doubt.weights), "A")


def _own(reading: Reading, noise_n: float, coverage: float) -> Term:
    """What samples and filter leave open: a Gaussian, or a table where it is lopsided or ends at the floor."""
    source, table = _NAMES[reading.regime], distribution(reading, noise_n, coverage)
    if table is None:
        return Term(source, reading.standard_n, kind="A")
    return replace(tabulated(source, table, "A"), standard_n=reading.standard_n)


def peak_with_interval(
    curve: LoadCurve,
    reading: Reading,
    rail_n: float | None,
    terms: tuple[Term, ...],
    coverage: float,
    *,
    bounded: bool = False,
) -> Peak:
    """The peak with the interval that all terms make together (JCGM 101); it always holds the estimate.

    bounded: there is a reason besides the reading and the rail why the force may have been any higher.
    """
    lower = reading.bound == "lower" or rail_n is not None or bounded
    estimate = reading.estimate_n if rail_n is None else rail_n
    counted = terms if rail_n is None else terms[1:]
    low, high = coverage_interval(counted, coverage)
    return Peak(
        estimate_n=estimate,
        low_n=estimate + min(low, 0.0),
        high_n=None if lower else estimate + max(high, 0.0),
        largest_sample_n=reading.largest_n if rail_n is None else rail_n,
        time_s=reading.time_s,
        bound="lower" if lower else "two-sided",
        coverage=coverage,
        regime=reading.regime,
        shortest_event_s=shortest_event_s(curve.period_s),
    )


def budget_lines(terms: tuple[Term, ...]) -> tuple[BudgetLine, ...]:
    """The terms as they stand in the result."""
    return tuple(
        BudgetLine(
            term.source,
            term.standard_n,
            term.degrees_of_freedom if math.isfinite(term.degrees_of_freedom) else None,
            term.shape,
        )
        for term in terms
    )
