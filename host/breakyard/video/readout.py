"""What is said at a moment of a run: the load now, the largest so far, and after the break the peak with its interval.

No pixels here. Times are the run's, in seconds from its first sample, as of the force: a converter's filter shows the
load late, and its samples are put back by as much as the summary put back its break.
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.converter.response import delay
from breakyard.curve import LoadCurve
from breakyard.pull.results import Summary
from breakyard.report.trace import Trace, make_trace
from breakyard.report.words.values import decimals_of_size, fixed, peak_text

Floats = NDArray[np.float64]

NOT_A_RATING: Final = "measured, not a rating"
NOTHING: Final = "\N{EN DASH}"
"""Shown where nothing was recorded."""
NEAR_END: Final = 1.5
"""This many usual steps before the first sample and after the last, the load is taken for theirs."""
LET_GO: Final = 0.5
"""A pull that did not break is over when less than this share of its peak is left."""


@dataclass(frozen=True, slots=True)
class ReadoutWords:
    """The words at one moment; forces as numbers without their unit."""

    now: str
    largest: str
    """The largest sample until now; "" before the first."""
    over: bool
    """Whether it broke or was let go: from now on the peak is shown."""


@dataclass(frozen=True, slots=True)
class ReadOut:
    """One pull, ready to be read out."""

    specimen: str
    group: str
    date: str
    unit: str
    peak: str
    """With its interval, or "at least"."""
    coverage: float
    broke: bool
    onset_s: float
    over_s: float
    """When the peak is shown."""
    time_s: Floats
    load: Floats
    """In the unit, above the pull's zero; nan where samples are missing."""
    largest: Floats
    """(n,) The largest load until each sample."""
    clipped_s: Floats
    gaps_s: tuple[tuple[float, float], ...]
    period_s: float
    decimals: int
    trace: Trace = field(repr=False)

    def load_at(self, time_s: float) -> float:
        """The load at a moment, between samples on a straight line; nan where nothing is known."""
        at = int(np.searchsorted(self.time_s, time_s))
        if at == 0 or at == len(self.time_s):
            near = 0 if at == 0 else -1
            inside = len(self.time_s) and abs(float(self.time_s[near]) - time_s) <= NEAR_END * self.period_s
            return float(self.load[near]) if inside else float("nan")
        before, after = float(self.time_s[at - 1]), float(self.time_s[at])
        if any(start < time_s < end for start, end in self.gaps_s):
            return float("nan")
        part = (time_s - before) / (after - before)
        return float((1.0 - part) * self.load[at - 1] + part * self.load[at])

    def largest_at(self, time_s: float) -> float:
        """The largest load until a moment; nan before the first sample."""
        at = int(np.searchsorted(self.time_s, time_s, side="right")) - 1
        return float("nan") if at < 0 else float(np.fmax(self.largest[at], self.load_at(time_s)))

    def off_scale_at(self, time_s: float) -> bool:
        """Whether the converter was on its rail."""
        at = int(np.searchsorted(self.clipped_s, time_s - self.period_s))
        return at < len(self.clipped_s) and self.clipped_s[at] <= time_s + self.period_s

    def at(self, time_s: float) -> ReadoutWords:
        """What is said at a moment."""
        load, largest = self.load_at(time_s), self.largest_at(time_s)
        now = NOTHING if np.isnan(load) else fixed(load, self.decimals)
        if self.off_scale_at(time_s):
            now = "off scale"
        return ReadoutWords(
            now=now,
            largest="" if np.isnan(largest) else fixed(largest, self.decimals),
            over=time_s >= self.over_s,
        )


def make_readout(
    curve: LoadCurve,
    summary: Summary,
    *,
    unit: str,
    specimen: str,
    group: str = "",
    date: str = "",
) -> ReadOut:
    """Prepare a pull. Raises: UnitError."""
    trace = make_trace(curve, summary, unit)
    late_s = late_by(curve, summary)
    known = np.isfinite(trace.load)
    time, load = trace.time_s[known] - late_s, trace.load[known]
    return ReadOut(
        specimen=specimen,
        group=group,
        date=date,
        unit=trace.unit,
        peak=peak_text(summary, trace.unit),
        coverage=summary.peak.coverage,
        broke=summary.failure.manner != "none",
        onset_s=summary.onset_s,
        over_s=let_go_s(summary, time, load),
        time_s=time,
        load=load,
        largest=np.maximum.accumulate(load) if len(load) else load,
        clipped_s=trace.clipped_s - late_s,
        gaps_s=tuple((start - late_s, end - late_s) for start, end in trace.gaps),
        period_s=curve.period_s,
        decimals=decimals_of_size(summary.peak.estimate_n / trace.factor),
        trace=trace,
    )


def late_by(curve: LoadCurve, summary: Summary) -> float:
    """By how many seconds the converter's filter shows a load late; 0 for other instruments."""
    if curve.converter is None:
        return 0.0
    told = summary.filter
    if told is not None and told.order is not None:
        return delay(told.order) * curve.period_s
    third = 0.5 if summary.recovery is None else summary.recovery.third_order
    return (third * delay(3) + (1.0 - third) * delay(4)) * curve.period_s


def let_go_s(summary: Summary, time_s: Floats, load: Floats) -> float:
    """The break; without one, when the load had fallen below half of the peak, or the recording's end."""
    if summary.failure.time_s is not None:
        return summary.failure.time_s
    if not len(time_s):
        return summary.peak.time_s
    top = int(np.argmax(load))
    below = np.flatnonzero(load[top:] < LET_GO * load[top])
    return float(time_s[top + below[0]]) if len(below) else float(time_s[-1])
