"""One pull, line by line: what was read, how it was loaded, what happened, what is left open."""

from collections.abc import Callable
from typing import Final

from breakyard.pull.rate import CLASS_PERCENT, STEADY
from breakyard.pull.results import Summary
from breakyard.report.words.cycle_words import cycles_line
from breakyard.report.words.extension_words import extension_lines
from breakyard.report.words.values import (
    decimals_for,
    fixed,
    load_text,
    peak_text,
    rate_text,
    standard_n,
    strength_text,
)
from breakyard.report.words.wording import manner_text
from breakyard.units import significant

Lines = list[tuple[str, str]]

REGIMES: Final = {
    "slow": "the largest samples: the load changed slowly enough",
    "ramp_and_break": "recovery through the converter's filter: a ramp that ended in a break",
    "too_short": "the largest sample, as a lower bound: the event was too short for the rate",
}

MOST_TOLD: Final = 6
"""Drops and jerks listed one by one; of more only the number."""


def account(summary: Summary, unit: str) -> Lines:
    """Everything that a summary says of its pull, as (name, text); lines that say nothing are left out.

    Raises: UnitError.
    """
    lines = [
        (
            "Peak",
            f"{peak_text(summary, unit)} {unit} ({100 * summary.peak.coverage:g} %), at {summary.peak.time_s:.2f} s",
        ),
        ("Strength", f"{strength_text(summary, unit)} {unit}"),
        ("At the cell", _at_cell(summary, unit)),
        *story(summary, unit),
    ]
    return [(name, text) for name, text in lines if text]


def story(summary: Summary, unit: str, origin_s: float = 0.0) -> Lines:
    """As `account`, without peak and strength, and with empty lines; times count from `origin_s`."""
    deviation = standard_n(summary)

    def load(value: float) -> str:
        return f"{load_text(value, unit, deviation)} {unit}"

    def since(moment_s: float) -> str:
        return f"{moment_s - origin_s:.2f} s"

    settled = summary.settled
    return [
        ("Largest sample", load(summary.peak.largest_sample_n)),
        ("Peak read by", REGIMES.get(summary.peak.regime, summary.peak.regime)),
        ("Noise averaged", _smoothed(summary)),
        ("Times", f"from the rise, {origin_s:.2f} s after the first sample" if origin_s else ""),
        (
            "First trace of a load" if origin_s else "Onset",
            since(summary.onset_s) + ("" if origin_s else " from the first sample"),
        ),
        (
            "First peak",
            f"{load(summary.first_peak.load_n)}, at {since(summary.first_peak.time_s)}; then it fell by 0.5 % or more"
            if summary.first_peak is not None and summary.has_first_peak
            else "",
        ),
        (
            "Plateaus",
            _listed(
                [
                    f"{load(p.load_n)} from {p.start_s - origin_s:.1f} to {p.end_s - origin_s:.1f} s"
                    for p in summary.plateaus
                ]
            ),
        ),
        (
            "Settled load",
            ""
            if settled is None
            else f"{load(settled.load_n)}, held for {settled.end_s - settled.start_s:.1f} s after the peak",
        ),
        (
            "Partial drops",
            _listed(
                [
                    f"at {since(d.time_s)} from {load(d.from_n)} to {load(d.to_n)} "
                    f"({_percent((d.from_n - d.to_n) / summary.peak.estimate_n)} of the peak)"
                    for d in summary.drops
                ]
            ),
        ),
        ("Break", _broke(summary, unit, since)),
        ("Load at the end", load(summary.end_load_n) if "ended_early" in summary.flags else ""),
        ("Loading", _loading(summary, unit)),
        ("Jerks", _jerks(summary, unit, since)),
        ("Steady enough", _steady(summary, unit)),
        ("Energy", _energy(summary)),
        ("Cycles", cycles_line(summary, unit)),
        *extension_lines(summary, unit),
        ("Zero", _zero(summary, unit)),
        ("Recording", _recording(summary)),
    ]


def _smoothed(summary: Summary) -> str:
    used = summary.smoothing
    if used is None:
        return ""
    return f"over {used.samples} samples at the peak, to a bandwidth of {used.bandwidth_hz:.3g} Hz"


def _at_cell(summary: Summary, unit: str) -> str:
    """The load on the cell, where that is another than the specimen's."""
    felt = summary.at_cell
    if felt is None:
        return ""
    spread = standard_n(summary) / felt.factor
    sure = f"{100 * felt.relative_standard:.2g} %"
    return (
        f"{load_text(felt.peak_n, unit, spread)} {unit}; the specimen bears {felt.factor:.4g} times that, known to "
        f"{sure} (standard): {felt.words}"
    )


def _broke(summary: Summary, unit: str, since: Callable[[float], str]) -> str:
    failure = summary.failure
    text = f"{manner_text(summary)} ({failure.reason})"
    if failure.time_s is not None and failure.load_n is not None:
        text += f"; at {since(failure.time_s)}, from {load_text(failure.load_n, unit, standard_n(summary))} {unit}"
    if failure.residual_n is not None and failure.residual_n > 0.02 * summary.peak.estimate_n:
        text += f"; {load_text(failure.residual_n, unit)} {unit} left after it"
    return text


def _loading(summary: Summary, unit: str) -> str:
    rate = summary.rate
    return (
        f"{rate_text(rate.median_n_per_s, unit)} {unit}/s in the middle, "
        f"{rate_text(rate.at_peak_n_per_s, unit)} {unit}/s at the peak; unsteadiness {_percent(rate.unsteadiness)}"
    )


def _jerks(summary: Summary, unit: str, since: Callable[[float], str]) -> str:
    return _listed(
        [
            f"at {since(j.time_s)} by {load_text(j.rise_n, unit)} {unit} at {rate_text(j.rate_n_per_s, unit)} {unit}/s"
            for j in summary.rate.jerks
        ]
    )


def _steady(summary: Summary, unit: str) -> str:
    rate = summary.rate
    limits = (
        f"no jerks, unsteadiness up to {_percent(STEADY)}, and at {summary.run.rate_hz:.0f} samples a second at most "
        f"{rate_text(rate.fastest_for_one_percent_n_per_s, unit)} {unit}/s for {CLASS_PERCENT:g} % (ISO 6892-1, "
        "Annex A: samples a second = rate / force / class x 100)"
    )
    return f"{'yes' if rate.steady_enough else 'no'}; asked for are {limits}"


def _energy(summary: Summary) -> str:
    energy = summary.energy
    if energy is None:
        return ""
    text = f"{significant(energy.work_to_peak_j, 3)} J to the peak"
    if energy.work_to_break_j is not None:
        text += f", {significant(energy.work_to_break_j, 3)} J to the break"
    text += f"; {significant(1000.0 * energy.extension_at_peak_m, 3)} mm at the peak"
    if energy.stated_speed_m_per_s is None:
        return f"{text} (extension as recorded; no interval is claimed)"
    text += (
        f" (from the stated {1000.0 * energy.stated_speed_m_per_s:.3g} mm/s, of rig and specimen together; no "
        "interval is claimed)"
    )
    if energy.stiffness is None:
        return text
    slope = energy.stiffness
    value, low, high = (one / 1000.0 for one in (slope.value, slope.low, slope.high))
    places = decimals_for(max((high - low) / 2.0, 1e-9 * abs(value)))
    return (
        f"{text}; stiffness {fixed(value, places)} ({fixed(low, places)} to {fixed(high, places)}) N/mm, between 10 "
        "and 40 % of the peak"
    )


def _zero(summary: Summary, unit: str) -> str:
    zero = summary.zero
    text = f"noise of a sample {rate_text(zero.noise_n, unit)} {unit}"
    if zero.drift_n_per_s:
        text += f", drift {rate_text(60.0 * zero.drift_n_per_s, unit)} {unit} a minute"
    if zero.shift_n is not None:
        text += f", {rate_text(zero.shift_n, unit)} {unit} away after the pull"
    return text


def _recording(summary: Summary) -> str:
    run = summary.run
    text = f"{run.samples} samples in {run.duration_s:.1f} s, {run.rate_hz:.1f} a second"
    return f"{text}, {run.missing_samples} missing" if run.missing_samples else text


def _listed(told: list[str]) -> str:
    if len(told) < 2:
        return "".join(told)
    more = [f"{len(told) - MOST_TOLD} more"] if len(told) > MOST_TOLD else []
    return f"{len(told)}: {'; '.join([*told[:MOST_TOLD], *more])}"


def _percent(share: float) -> str:
    return f"{100 * share:.2g} %" if abs(share) < 0.995 else f"{100 * share:.0f} %"
