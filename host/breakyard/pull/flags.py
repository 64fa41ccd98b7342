"""The doubts about a pull: short words for programs, and a sentence each for people."""

from typing import Final

from breakyard.curve import LoadCurve
from breakyard.pull.events import Story
from breakyard.pull.peak.reading import Reading
from breakyard.pull.polarity import REVERSED
from breakyard.pull.results import Peak
from breakyard.pull.split import CYCLES
from breakyard.pull.zero import SHIFT_FRACTION, ZeroLine

NEAR_CONVERSIONS: Final = 8.0
"""Missing conversions this close to the peak, counted in conversions, count as being at it."""

GAP_SHARE: Final = 0.05
"""A gap longer than this share of the time from onset to peak is told even when it is not at the peak."""

STILL_ON: Final = 0.15
"""More than this share of the peak after the pull is a load that it still held, not a zero."""

_WHERE: Final = {
    "after": "the unloaded part after the pull",
    "instrument": "the instrument itself",
    "calibration": "the calibration, which need not hold for another mounting",
}

_OF_CURVE: Final = {
    REVERSED: "The load was recorded as a push and turned round: are the signal wires swapped?",
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
    story: Story,
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
        found.append(("glitch", f"{glitches} sample(s) that no force can make were left out."))
    if reading.holed or _gap_matters(curve, zero, peak):
        found.append(
            ("gap", "Conversions are missing at the peak, or for long before it; the interval allows for it.")
        )
    found += _of_zero(zero, peak)
    if story.failure.manner == "none":
        found.append(("no_break", "It did not break: its strength is at least the peak."))
    if story.ended_early:
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
    differs = shift is not None and "before" in zero.heard and abs(shift) > least
    if differs and (zero.moved or abs(shift or 0.0) < STILL_ON * peak.estimate_n):
        sentence = (
            "The unloaded reading after the pull is not that before it: the zero moved, or something still hung on "
            "the cell. The interval allows for both; check cell and mounting with a known mass."
        )
        found.append(("zero_shift", sentence))
    if zero.before_n is not None and abs(zero.before_n) > least:
        sentence = (
            "What looked like quiet before the pull was a load (a preload or a hold): the zero is that of "
            f"{_WHERE.get(zero.heard[-1], 'nothing') if zero.heard else 'nothing'}."
        )
        found.append(("preload", sentence))
    if not zero.quiet:
        if not zero.heard:
            sentence = "Nothing unloaded was recorded: the zero is not known, and the peak is a lower bound."
            found.append(("no_zero", sentence))
        elif "after" in zero.heard:
            sentence = "The recording begins under load: its zero is that after the pull."
            found.append(("zero_after", sentence))
        else:
            sentence = f"Nothing unloaded was recorded: the zero is that of {_WHERE[zero.heard[0]]}."
            found.append(("no_zero", sentence))
    return found


def _gap_matters(curve: LoadCurve, zero: ZeroLine, peak: Peak) -> bool:
    near = NEAR_CONVERSIONS * curve.period_s
    long = max(GAP_SHARE * (peak.time_s - zero.onset_s), 4.0 * curve.period_s)
    for gap in curve.gaps:
        at_peak = gap.start_s <= peak.time_s + near and gap.end_s >= peak.time_s - near
        while_loading = gap.end_s >= zero.onset_s and gap.end_s - gap.start_s > long
        if at_peak or while_loading:
            return True
    return False
