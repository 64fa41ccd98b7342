"""The doubts about a pull: short words for programs, and a sentence each for people."""

from typing import Final

from breakyard.curve import MEANS, REPEATS, STORE_FULL, LoadCurve
from breakyard.pull.budget import assumes_accuracy
from breakyard.pull.events import PullEvents
from breakyard.pull.peak.reading import Reading
from breakyard.pull.polarity import REVERSED
from breakyard.pull.results import Peak
from breakyard.pull.split import CYCLES
from breakyard.pull.zero import SHIFT_FRACTION, ZeroLine

NEAR_CONVERSIONS: Final = 1.5
"""Missing conversions this close to the peak, counted in conversions, count as being at it ..."""

GAP_CHANGE: Final = 0.002
"""... if the load changed by this fraction of the peak over them."""

SAFE_LOAD: Final = 1.5
"""Safe overload of a usual cell, in capacities (OIML R 60, 2.3.6: a maker states it; common sheets say 150 %)."""

TELLS_RIPPLE: Final = 0.005
"""Ripple is reported from this fraction of the peak on."""

GAP_SHARE: Final = 0.05
"""A gap longer than this share of the time from onset to peak is reported even when it is not at the peak."""

STILL_ON: Final = 0.15
"""More than this share of the peak after the pull is a load that it still held, not a zero."""

_WHERE: Final = {
    "after": "the unloaded part after the pull",
    "recording": "the lowest steady level of the whole recording",
    "instrument": "the instrument itself",
    "calibration": "the calibration, which need not hold for another mounting",
}

_OF_CURVE: Final = {
    REVERSED: "The load was recorded as a push and turned round: are the signal wires swapped?",
    REPEATS: "Each reading was written down several times: only the first of each counts.",
    MEANS: "Means were stored, not samples: what was shorter shows only around the largest peaks.",
    STORE_FULL: "The logger's store was full before the pull was over: the rest is not known.",
    CYCLES: "All pulls but the last were let out slowly: if this is one specimen loaded again and again, say so "
    "(--one-specimen).",
}
"""Sentences for flags that a curve comes with."""

WELL_INSIDE: Final = 1.01
"""Loads above this many times the highest known load are extrapolated (a mass reads a little high at times)."""


def raise_flags(
    curve: LoadCurve,
    zero: ZeroLine,
    reading: Reading,
    events: PullEvents,
    peak: Peak,
    glitches: int,
    clipped: bool,
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Flags in a fixed order, and a sentence for each that says what to do."""
    found = [(flag, _OF_CURVE.get(flag, "")) for flag in curve.flags]
    if clipped:
        found.append(
            (
                "clipped",
                "The converter was at its limit: the load was higher. Use a lower gain or a larger cell.",
            )
        )
    if reading.bound == "lower" and not clipped and not reading.holed:
        sentence = f"Too short for this rate ({reading.reason}): a lower bound. Pull more slowly."
        found.append(("shock", sentence))
    if glitches:
        which = (
            "that no force can make" if curve.filter_known else "alone, far from the load before and after,"
        )
        found.append(("glitch", f"{glitches} sample(s) {which} were left out."))
    if reading.holed or (not clipped and _gap_matters(curve, zero, peak)):
        found.append(
            ("gap", "Conversions are missing at the peak, or for long before it; the interval allows for it.")
        )
    of_zero = _of_zero(zero, peak)
    # Cycles to a pre-tension are meant.
    if curve.unloaded is not None and (curve.one_specimen or curve.protocol):
        of_zero = [one for one in of_zero if one[0] != "preload"]
    found += of_zero
    if not curve.filter_known and reading.regime == "ramp_and_break" and not clipped:
        sentence = "No converter is known: what its filter may have hidden at the break is in the interval."
        found.append(("filter_unknown", sentence))
    if assumes_accuracy(curve):
        found.append(
            (
                "accuracy_assumed",
                "The instrument's accuracy was not stated: a wide one is assumed (--accuracy).",
            )
        )
    found += _of_capacity(curve, peak)
    if events.ripple is not None and events.ripple.size_n > TELLS_RIPPLE * peak.estimate_n:
        ripple = events.ripple
        sentence = (
            f"The load swung by {100 * ripple.size_n / peak.estimate_n:.1f} % of the peak, {ripple.rate_hz:.2g} times "
            "a second: strokes or surges of the drive, which are not taken for what the specimen did."
        )
        found.append(("ripple", sentence))
    if events.in_fall:
        found.append(
            ("ends_in_fall", "The recording ends in the fall: it broke, and what was left is not known.")
        )
    if events.failure.manner == "none":
        found.append(("no_break", "It did not break: its strength is at least the peak."))
    if events.ended_early:
        found.append(("ended_early", "The recording ended under load; what came later is not known."))
    if curve.calibration is not None:
        beyond = curve.calibration.extrapolation(peak.estimate_n)
        if beyond > WELL_INSIDE:
            found.append(
                ("extrapolated", f"The peak is {beyond:.1f} times the highest known load of the calibration.")
            )
    return tuple(flag for flag, _ in found), tuple(sentence for _, sentence in found if sentence)


def _of_zero(zero: ZeroLine, peak: Peak) -> list[tuple[str, str]]:
    """What the witnesses of the zero said that a person should know."""
    found: list[tuple[str, str]] = []
    least = SHIFT_FRACTION * peak.estimate_n
    shift = zero.shift_n
    differs = shift is not None and "before" in zero.believed and abs(shift) > least
    if differs and (zero.moved or abs(shift or 0.0) < STILL_ON * peak.estimate_n):
        sentence = (
            "The unloaded reading after the pull is not that before it: the zero moved, or something still hung on "
            "the cell. The interval allows for both; check cell and mounting with a known mass."
        )
        found.append(("zero_shift", sentence))
    if zero.before_n is not None and abs(zero.before_n) > least:
        sentence = (
            "What looked like quiet before the pull was a load (a preload or a hold): the zero is that of "
            f"{_WHERE.get(_best(zero.believed), 'nothing')}."
        )
        if zero.doubt is not None and _best(zero.believed) == "instrument":
            sentence += " The interval allows for either."
        found.append(("preload", sentence))
    if not zero.quiet:
        if not zero.believed:
            sentence = "Nothing unloaded was recorded: the zero is not known, and the peak is a lower bound."
            found.append(("no_zero", sentence))
        elif "recording" in zero.believed:
            pass  # the part is one of a recording that knows its zero; "preload" tells it
        elif "after" in zero.believed:
            sentence = "The recording begins under load: its zero is that after the pull."
            found.append(("zero_after", sentence))
        else:
            sentence = f"Nothing unloaded was recorded: the zero is that of {_WHERE[zero.believed[0]]}."
            found.append(("no_zero", sentence))
    return found


def _best(heard: tuple[str, ...]) -> str:
    """The believed witness that is named to people."""
    return next((name for name in ("recording", "after") if name in heard), heard[-1] if heard else "")


def _of_capacity(curve: LoadCurve, peak: Peak) -> list[tuple[str, str]]:
    """Peaks above what the cell is rated for."""
    plate = None if curve.calibration is None else curve.calibration.plate
    if plate is None or peak.largest_sample_n <= plate.capacity_n:
        return []
    times = peak.largest_sample_n / plate.capacity_n
    if times > SAFE_LOAD:
        sentence = (
            f"The peak is {times:.2f} times the cell's capacity, above the usual safe overload of 1.5 times: cell and "
            "zero may be spoilt; calibrate again before the next pull."
        )
        return [("over_safe_load", sentence)]
    sentence = f"The peak is {times:.2f} times the cell's capacity: look whether its zero has moved."
    return [("over_capacity", sentence)]


def _gap_matters(curve: LoadCurve, zero: ZeroLine, peak: Peak) -> bool:
    """Whether a gap lies where the load may have changed by something that counts.

    At the peak: beside the largest sample, if the load changed over the gap. While loading: a long one.
    """
    near = NEAR_CONVERSIONS * curve.period_s
    long = max(GAP_SHARE * (peak.time_s - zero.onset_s), 8.0 * curve.period_s)
    for gap in curve.gaps:
        if gap.start_s <= peak.time_s + near and gap.end_s >= peak.time_s - near:
            before, after = curve.load_n[[gap.after_sample, gap.after_sample + 1]]
            if abs(float(after - before)) > GAP_CHANGE * peak.estimate_n:
                return True
        if zero.onset_s <= gap.end_s and gap.start_s <= peak.time_s and gap.end_s - gap.start_s > long:
            return True
    return False
