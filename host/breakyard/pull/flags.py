"""The doubts about a pull: short words for programs, and a sentence each for people."""

from typing import Final

from breakyard.curve import LoadCurve
from breakyard.pull.events import Story
from breakyard.pull.peak.reading import Reading
from breakyard.pull.results import Peak
from breakyard.pull.zero import SHIFT_FRACTION, ZeroLine

NEAR_CONVERSIONS: Final = 8.0
"""Missing conversions this close to the peak, counted in conversions, count as being at it."""

GAP_SHARE: Final = 0.05
"""A gap longer than this share of the time from onset to peak is told even when it is not at the peak."""

WELL_INSIDE: Final = 1.01
"""Loads above this many times the highest known load are extrapolated (a mass reads a little high at times)."""


def raise_flags(
    curve: LoadCurve,
    zero: ZeroLine,
    reading: Reading,
    story: Story,
    peak: Peak,
    shift: float | None,
    glitches: int,
    clipped: bool,
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Flags in a fixed order, and a sentence for each that says what to do."""
    found: list[tuple[str, str]] = [(flag, "") for flag in curve.flags]
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
    if shift is not None and abs(shift) > max(
        SHIFT_FRACTION * peak.estimate_n, 8.0 * zero.standard_at_n(float(curve.time_s[-1]))
    ):
        sentence = "The zero moved over the pull: check cell and mounting with a known mass."
        found.append(("zero_shift", sentence))
    if not zero.quiet:
        found.append(
            ("no_zero", "The recording begins under load: its zero is a guess. Start recording sooner.")
        )
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


def _gap_matters(curve: LoadCurve, zero: ZeroLine, peak: Peak) -> bool:
    near = NEAR_CONVERSIONS * curve.period_s
    long = max(GAP_SHARE * (peak.time_s - zero.onset_s), 4.0 * curve.period_s)
    for gap in curve.gaps:
        at_peak = gap.start_s <= peak.time_s + near and gap.end_s >= peak.time_s - near
        while_loading = gap.end_s >= zero.onset_s and gap.end_s - gap.start_s > long
        if at_peak or while_loading:
            return True
    return False
