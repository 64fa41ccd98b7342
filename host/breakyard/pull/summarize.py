"""LoadCurve -> Summary: puts the stages together, combines the budget and raises the flags."""

from dataclasses import replace
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from breakyard.calibration.terms import Term
from breakyard.converter import StepResponse
from breakyard.converter.noise import noise_of
from breakyard.converter.response import delay
from breakyard.curve import MEANS, MINIMUM_SAMPLES, STORE_FULL, LoadCurve
from breakyard.errors import NoPull, UsageError
from breakyard.pull.budget import (
    assumptions,
    budget_lines,
    budget_terms,
    instrument_terms,
    peak_with_interval,
)
from breakyard.pull.events import PullSamples, between_values, find_events, work
from breakyard.pull.extension import STIFF_TO, UNSTATED_SPEED, Points, read_extension, stiffness_of
from breakyard.pull.falls import find_falls
from breakyard.pull.flags import raise_flags
from breakyard.pull.glitches import find_glitches, find_lone
from breakyard.pull.in_use import UNKNOWN, InUse
from breakyard.pull.line import at_cell, at_specimen
from breakyard.pull.peak.filter import choose_filter
from breakyard.pull.peak.read import Sampled, read_hump, read_peak
from breakyard.pull.peak.reading import Reading, lower_bound
from breakyard.pull.peak.smoothing import noise_where_quiet
from breakyard.pull.polarity import upright
from breakyard.pull.rate import loading_rate
from breakyard.pull.results import (
    Energy,
    Extension,
    FirstPeak,
    Glitch,
    MarkedMoment,
    Peak,
    Recovery,
    Source,
    Strength,
    Summary,
    Zero,
)
from breakyard.pull.split import cycles_of, last_of
from breakyard.pull.witnesses import prior_of
from breakyard.pull.zero import ZeroLine, find_zero

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

MOST_POINTS: Final = 400
"""Of an extension that was recorded as often as the load; neighbours tell nothing new."""

TAPE: Final = 3.0
"""Times that a length must be larger than all that it changes by, to be taken for one read from a tape."""

ONE_EVENT: Final = 3
"""First peak and peak that are this many samples apart, or fewer, are the same event."""


def summarize(
    curve: LoadCurve,
    *,
    coverage: float = 0.95,
    misalignment_deg: float | None = None,
    temperature_c: float | None = None,
    in_use: InUse = UNKNOWN,
    filter_order: int | None = None,
    response: StepResponse | Literal["assumed"] | None = None,
    pull_speed_m_per_s: float | None = None,
) -> Summary:
    """Read one pull: its peak with an interval, how it was loaded and how it let go.

    coverage: of the peak's interval, from 0.5 to 0.999. misalignment_deg: largest angle between the line of pull
    and the cell's axis that the user vouches for. temperature_c: of the cell during the pull, held against that of
    the calibration. What is not stated is assumed wide (see `in_use`), as is what `in_use` does not know of the cell
    between calibration and pull. filter_order: assumed order of the converter's filter, where more is known than "3 or
    4"; orders next to it keep a small weight, because no data sheet vouches for it.
    response: measured of this logger, used instead unless an order is stated or its rate is another; None: the one
    that the curve carries; "assumed": leave that one aside.
    pull_speed_m_per_s: speed of pulling, from which the extension follows where none was recorded.
    Raises: NoPull if the recording holds no rise above its own noise; UsageError for options out of range.
    """
    if not 0.5 <= coverage <= 0.999:
        raise UsageError(
            f"a coverage of {coverage:g} is not sensible: give a number from 0.5 to 0.999, as 0.95"
        )
    if misalignment_deg is not None and not 0.0 <= misalignment_deg <= 30.0:
        raise UsageError(f"a misalignment of {misalignment_deg:g} degrees is not sensible: give 0 to 30")
    if temperature_c is not None and not -60.0 <= temperature_c <= 80.0:
        raise UsageError(f"a temperature of {temperature_c:g} C is not sensible: give -60 to 80")
    if filter_order is not None and not 1 <= filter_order <= 5:
        raise UsageError(f"a filter of order {filter_order} is not sensible: give 1 to 5, or leave it out")
    if pull_speed_m_per_s is not None and not pull_speed_m_per_s > 0.0:
        raise UsageError(f"a pulling speed of {pull_speed_m_per_s:g} m/s is not sensible: give one above 0")
    if curve.line is not None:
        felt = summarize(
            at_cell(curve),
            coverage=coverage,
            misalignment_deg=misalignment_deg,
            temperature_c=temperature_c,
            in_use=in_use,
            filter_order=filter_order,
            response=response,
            pull_speed_m_per_s=pull_speed_m_per_s,
        )
        return at_specimen(felt, curve.line, curve)
    whole = upright(curve)
    curve = last_of(whole)
    if response is None:
        response = curve.response
    seen_through = choose_filter(curve, filter_order, None if response == "assumed" else response)
    orders = seen_through.orders
    used, rails, spoilt = _sort_samples(curve, filtered=seen_through.spreads)
    if len(used) < MINIMUM_SAMPLES:
        raise NoPull(f"{curve.name}: only {len(used)} usable samples; at least {MINIMUM_SAMPLES} are needed")
    time, load = curve.time_s[used], curve.load_n[used]
    try:
        zero = find_zero(time, load, prior=prior_of(curve), stated=curve.zero_at, unloaded=curve.unloaded)
    except NoPull as problem:
        raise NoPull(f"{curve.name}: {problem}") from None
    load = load - zero.load_n(time)
    if load.max() <= 8.0 * zero.noise_n:
        raise NoPull(
            f"{curve.name}: the load never rises clearly above its zero; are the signal wires swapped?"
        )
    filtered = seen_through.any
    onset, top = int(np.searchsorted(time, zero.onset_s)), int(np.argmax(load))
    usual_rate = loading_rate(
        time, load, onset, top, curve.period_s, float(load[top]), noise_n=zero.noise_n
    ).median_n_per_s
    quiet = load[(time >= zero.start_s) & (time <= zero.end_s)] if zero.believed else load[:0]
    sampled = Sampled(
        time,
        load,
        curve.period_s,
        noise_where_quiet(quiet, zero.noise_n),
        filtered,
        orders,
        quiet,
        unfiltered=seen_through.told.order == 0,
    )
    rail_n = _rail(curve, rails, zero, float(load[top]))
    if rail_n is None:
        falls = find_falls(time, load, float(load[top]), zero.noise_n, usual_rate)
        rivals = [fall.start for fall in falls if fall.beats(usual_rate, time)]
        reading = seen_through.doubted(read_peak(sampled, coverage, rivals=rivals))
    else:  # the rail is a bound: nothing is to be recovered of what lies above it
        reading = replace(
            lower_bound(time, load, top, zero.noise_n, "the converter was at its limit"), regime="slow"
        )
    if reading.glitch is not None:
        spoilt = np.append(spoilt, used[reading.glitch])
        kept = np.arange(len(used)) != reading.glitch
        used, time, load = used[kept], time[kept], load[kept]
    if rail_n is not None:  # the load goes on at the rail
        used = np.sort(np.concatenate([used, rails]))
        time, load = curve.time_s[used], curve.load_n[used] - zero.load_n(curve.time_s[used])
    onset = int(np.searchsorted(time, zero.onset_s))
    top = int(np.argmax(load))
    late_s = (
        sum(weight * delay(order) for order, weight in orders.items()) * curve.period_s if filtered else 0.0
    )
    rate = loading_rate(
        time,
        load,
        onset,
        top,
        curve.period_s,
        float(load[top]),
        filter_known=curve.filter_known,
        noise_n=zero.noise_n,
    )
    clipped = rail_n is not None
    pull = PullSamples(
        time_s=time,
        load_n=load,
        onset=onset,
        period_s=curve.period_s,
        noise_n=zero.noise_n,
        usual_rate=rate.median_n_per_s,
        delay_s=late_s,
        clipped=clipped,
        too_short=reading.regime == "too_short",
        filter_known=filtered,
    )
    events = find_events(pull)
    terms = budget_terms(curve, zero, reading, rail_n, misalignment_deg, temperature_c, coverage, in_use)
    cut_off = events.rising or (STORE_FULL in curve.flags and events.break_index is None)
    peak = peak_with_interval(curve, reading, rail_n, terms, coverage, bounded=cut_off or not zero.known)
    flags, notes = raise_flags(curve, zero, reading, events, peak, len(spoilt), clipped)
    if reading.recovered is not None:
        flags, notes = flags + seen_through.flags, notes + seen_through.notes
    unseen = MEANS in curve.flags and between_values(time, events.failure.time_s)
    at_least = peak.bound == "lower" or events.failure.manner == "none" or unseen
    if unseen:
        sentence = (
            "It came down between two means: whether it broke or was let down they do not tell, so it bore at least "
            "its peak; shorter means do (mean_ms)."
        )
        notes = (*notes, sentence)
    first_peak = None
    if events.first_peak is not None:
        stated = (misalignment_deg, temperature_c, coverage, in_use)
        first_peak = _first_peak(events.first_peak, time, load, peak, terms, sampled, curve, zero, stated)
    load_relative = _load_relative(curve, zero, peak, (misalignment_deg, temperature_c, in_use))
    energy, of_speed = _energy(
        curve, pull_speed_m_per_s, used, time, load, zero.onset_s, events.break_index, peak, load_relative
    )
    return Summary(
        run=_source(whole),
        peak=peak,
        strength=Strength(peak.estimate_n, peak.low_n, None if at_least else peak.high_n, at_least),
        settled=events.settled,
        first_peak=first_peak,
        failure=events.failure,
        rate=rate,
        drops=events.drops,
        energy=energy,
        flags=flags,
        budget=budget_lines(terms),
        zero=Zero(
            zero.at_n(peak.time_s),
            zero.standard_at_n(peak.time_s),
            zero.drift_n_per_s,
            zero.noise_n,
            zero.shift_n,
            zero.start_s,
            zero.end_s,
        ),
        onset_s=zero.onset_s,
        end_load_n=events.end_load_n,
        recovery=_recovery(reading, rail_n),
        plateaus=events.plateaus,
        glitches=_told_glitches(curve, np.sort(spoilt), zero, time, load),
        notes=notes,
        assumptions=assumptions(curve, misalignment_deg, temperature_c, in_use)
        + seen_through.sentences(reading)
        + of_speed,
        filter=seen_through.told,
        smoothing=reading.smoothing,
        extrapolation=None if curve.calibration is None else curve.calibration.extrapolation(peak.estimate_n),
        curve=whole,
        extension=_extension(curve, zero, peak, time, load, load_relative),
        marks=_marks(curve, zero),
        cycles=() if curve is whole else cycles_of(whole, zero.at_n(peak.time_s)),
        protocol=curve.protocol,
        ripple=events.ripple,
    )


def _first_peak(
    index: int,
    time: Array,
    load: Array,
    peak: Peak,
    of_peak: tuple[Term, ...],
    sampled: Sampled,
    curve: LoadCurve,
    zero: ZeroLine,
    stated: tuple[float | None, float | None, float, InUse],
) -> FirstPeak:
    """The first peak, read as the peak is; the peak itself, with its interval and terms, where they are one."""
    top = int(np.argmax(load))
    if abs(float(time[index]) - peak.time_s) <= ONE_EVENT * curve.period_s or abs(index - top) <= ONE_EVENT:
        return FirstPeak(peak.estimate_n, peak.time_s, peak.low_n, peak.high_n, budget_lines(of_peak))
    if len(sampled.load_n) != len(load):  # a rail or a wrong reading: the samples are others
        near = int(np.argmin(np.abs(sampled.time_s - time[index])))
        if sampled.time_s[near] != time[index]:
            return FirstPeak(float(load[index]), float(time[index]))
        index = near
    _, _, coverage, _ = stated
    reading = read_hump(sampled, index, coverage)
    terms = budget_terms(curve, zero, reading, None, *stated)
    found = peak_with_interval(curve, reading, None, terms, coverage, bounded=not zero.known)
    return FirstPeak(found.estimate_n, found.time_s, found.low_n, found.high_n, budget_lines(terms))


def _energy(
    curve: LoadCurve,
    speed: float | None,
    used: Indices,
    time: Array,
    load: Array,
    onset_s: float,
    broke: int | None,
    peak: Peak,
    load_relative: float,
) -> tuple[Energy | None, tuple[str, ...]]:
    """Work by the recorded extension, else work and stiffness by the stated speed, and what that takes for granted."""
    onset, top = int(np.searchsorted(time, onset_s)), int(np.argmax(load))
    if curve.extension_m is not None:
        return work(time, load, curve.extension_m[used], onset, top, broke), ()
    if speed is None:
        return None, ()
    points = Points(time, load, speed * np.maximum(time - onset_s, 0.0))
    stiffness = stiffness_of(
        points,
        onset_s,
        peak.time_s,
        peak.estimate_n,
        peak.coverage,
        (("load", load_relative), ("speed", UNSTATED_SPEED)),
    )
    sentence = (
        f"Extension: {1000 * speed:.4g} mm/s, as stated, times the time from onset. The rig's stretch is in it, so "
        "work and stiffness are those of rig and specimen together, if it ran at that speed all the time, known to "
        f"{100 * UNSTATED_SPEED:g} % (standard uncertainty, assumed)."
    )
    found = work(time, load, points.extension_m, onset, top, broke)
    return replace(found, stated_speed_m_per_s=speed, stiffness=stiffness), (sentence,)


def _load_relative(curve: LoadCurve, zero: ZeroLine, peak: Peak, stated: tuple[Any, ...]) -> float:
    """Relative standard uncertainty of a load at `STIFF_TO` of the peak by cell, calibration and line of pull."""
    highest_n = STIFF_TO * peak.estimate_n
    if not highest_n > 0.0:
        return 0.0
    terms = instrument_terms(curve, zero.at_n(peak.time_s), highest_n, *stated)
    return float(np.hypot.reduce([term.standard_n for term in terms])) / highest_n if terms else 0.0


def _extension(
    curve: LoadCurve, zero: ZeroLine, peak: Peak, time: Array, load: Array, load_relative: float
) -> Extension | None:
    """What lengths say, those that were recorded with the loads or those taken beside them."""
    if curve.extension_m is not None:
        step = max(1, len(curve.time_s) // MOST_POINTS)
        at, length = curve.time_s[::step], curve.extension_m[::step]
    elif curve.series:
        at, length = np.array(curve.series).T
    else:
        return None
    inside = (at >= time[0] - 1.0) & (at <= time[-1] + 1.0)
    if inside.sum() < 2:
        return None
    at, length = at[inside], length[inside]
    points = Points(at, np.interp(at, time, load), length)
    # Lengths much larger than all that they change by were read from a tape: then the first is the gauge length.
    first = float(length[0])
    gauge = first if first > TAPE * float(np.ptp(length)) > 0.0 else None
    found = read_extension(
        points,
        zero.onset_s,
        peak.time_s,
        peak.estimate_n,
        gauge_m=gauge,
        coverage=peak.coverage,
        load_relative=load_relative,
        accuracy=curve.series_accuracy,
    )
    return replace(found, unit=curve.series_unit)


def _marks(curve: LoadCurve, zero: ZeroLine) -> tuple[MarkedMoment, ...]:
    """What was marked while this part of the recording ran, with the load at each."""
    good = np.flatnonzero(curve.usable)
    time, load = curve.time_s[good], curve.load_n[good]
    return tuple(
        MarkedMoment(one.time_s, float(np.interp(one.time_s, time, load)) - zero.at_n(one.time_s), one.text)
        for one in curve.moments
        if time[0] - 1.0 <= one.time_s <= time[-1] + 1.0
    )


def _sort_samples(curve: LoadCurve, *, filtered: bool) -> tuple[Indices, Indices, Indices]:
    """Indices of samples to use, of samples on a rail (really), and of glitches, each in order.

    filtered: through a filter of order 3 or more, so that a lone sample cannot stand out.
    """
    candidates = np.flatnonzero(curve.usable | curve.clipped)
    time, load = curve.time_s[candidates], curve.load_n[candidates]
    wrong = np.zeros(len(candidates), dtype=np.bool_)
    wrong[(find_glitches if filtered else find_lone)(time, load, noise_of(load), curve.period_s)] = True
    clipped = curve.clipped[candidates]
    return candidates[~clipped & ~wrong], candidates[clipped & ~wrong], candidates[wrong]


def _rail(curve: LoadCurve, rails: Indices, zero: ZeroLine, largest: float) -> float | None:
    """The load of the rail that cut off the peak; None if none did."""
    if not len(rails):
        return None
    level = float((curve.load_n[rails] - zero.load_n(curve.time_s[rails])).max())
    return level if level >= largest else None


def _recovery(reading: Reading, rail_n: float | None) -> Recovery | None:
    found = reading.recovered
    if found is None or rail_n is not None:
        return None
    return Recovery(
        force_s=tuple(found.before_s.tolist()),
        force_n=tuple(found.before_n.tolist()),
        seen_s=tuple(found.seen_s.tolist()),
        seen_n=tuple(found.seen_n.tolist()),
        third_order=found.order_weights.get(3, 0.0),
    )


def _told_glitches(
    curve: LoadCurve, spoilt: Indices, zero: ZeroLine, time: Array, load: Array
) -> tuple[Glitch, ...]:
    at = curve.time_s[spoilt]
    shown = curve.load_n[spoilt] - zero.load_n(at)
    expected = np.interp(at, time, load)
    return tuple(Glitch(*map(float, row)) for row in zip(at, shown, expected, strict=True))


def _source(curve: LoadCurve) -> Source:
    calibration = curve.calibration
    return Source(
        name=curve.name,
        number=curve.number,
        samples=len(curve.time_s),
        duration_s=float(curve.time_s[-1] - curve.time_s[0]),
        rate_hz=1.0 / curve.period_s,
        missing_samples=sum(gap.missing for gap in curve.gaps),
        start_utc_s=curve.start_utc_s,
        start_utc_uncertainty_s=curve.start_utc_uncertainty_s,
        calibration=None if calibration is None else calibration.name,
        calibration_hash=None if calibration is None else calibration.content_hash,
    )
