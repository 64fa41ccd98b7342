"""What a picture of several pulls shows, whoever draws it: curves, groups, doubts, and how far the axes reach.

Two engines draw it, each for a reason. matplotlib (`figures/overlay_figure`) makes files: PNG and SVG that look alike
in every program and on paper. The page draws its own SVG (`page/curves_chart`): a curve is stored once and shown in the
overlay and by itself, so that fifty pulls stay small enough for a phone; the style sheet has light and dark colours,
groups are switched without a script, and a finger reads off a value. matplotlib's SVG has none of that.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from breakyard.curve import LoadCurve
from breakyard.errors import UsageError
from breakyard.pull.results import Summary
from breakyard.report.trace import Trace, make_trace
from breakyard.report.words.values import peak_text
from breakyard.report.words.wording import is_doubtful, shared_flags, short_doubts, short_words
from breakyard.units import FORCE_UNITS, force_unit

Align = Literal["rise", "peak"]

LEAD: Final = 0.03
"""Of the longest pull, shown before the rise: one long quiet lead must not push all pulls aside."""


@dataclass(frozen=True, slots=True)
class DrawnPull:
    """One pull of an overlay; `label` is how people call the specimen."""

    curve: LoadCurve
    summary: Summary
    label: str
    group: str = ""

    @property
    def doubtful(self) -> bool:
        """Whether the summary raises a doubt that people should look at."""
        return is_doubtful(self.summary)


@dataclass(frozen=True, slots=True)
class Overlay:
    """Pulls over one another. `traces` and `starts_s` belong to `pulls`; times are shown less the pull's start."""

    unit: str
    pulls: tuple[DrawnPull, ...]
    traces: tuple[Trace, ...]
    align: Align
    starts_s: tuple[float, ...]

    @property
    def groups(self) -> tuple[str, ...]:
        """Names of the groups in the order in which they are met; colours follow it."""
        return tuple(dict.fromkeys(pull.group for pull in self.pulls))

    @property
    def doubtful(self) -> tuple[int, ...]:
        """Which pulls are drawn as doubtful."""
        return tuple(at for at, pull in enumerate(self.pulls) if pull.doubtful)

    @property
    def shared(self) -> tuple[str, ...]:
        """Flags that all pulls have: said once."""
        return tuple(shared_flags([pull.summary for pull in self.pulls]))

    @property
    def top(self) -> float:
        """The highest load in the unit, the upper ends of the peaks' intervals included."""
        factor = FORCE_UNITS[self.unit]
        ends = [(pull.summary.peak.high_n or pull.summary.peak.estimate_n) / factor for pull in self.pulls]
        curves = [float(np.nanmax(trace.load)) for trace in self.traces if trace.load.size]
        return max(*ends, *curves, 1e-9)

    @property
    def span_s(self) -> tuple[float, float]:
        """First and last time shown."""
        pairs = list(zip(self.traces, self.starts_s, strict=True))
        right = max(trace.end_s - start for trace, start in pairs)
        if self.align == "rise":
            return -LEAD * right, right
        return min(trace.start_s - start for trace, start in pairs), right

    def peak(self, at: int) -> tuple[float, float]:
        """Time and height of a pull's peak as drawn; of its bound where it is one."""
        peak = self.pulls[at].summary.peak
        height_n = peak.low_n if peak.high_n is None else peak.estimate_n
        return peak.time_s - self.starts_s[at], height_n / FORCE_UNITS[self.unit]


def make_overlay(pulls: Sequence[DrawnPull], unit: str, align: Align = "rise") -> Overlay:
    """Prepare pulls for drawing. Raises: UsageError (no pulls, align), UnitError."""
    if not pulls:
        raise UsageError("there is no pull to draw")
    if align not in ("rise", "peak"):
        raise UsageError(f'pulls are aligned at "rise" or "peak", not "{align}"')
    traces = tuple(make_trace(pull.curve, pull.summary, unit) for pull in pulls)
    starts = tuple(
        trace.rise_s if align == "rise" else pull.summary.peak.time_s
        for pull, trace in zip(pulls, traces, strict=True)
    )
    return Overlay(force_unit(unit), tuple(pulls), traces, align, starts)


def describe_overlay(overlay: Overlay) -> str:
    """The words for a picture of several pulls."""
    pulls, unit = overlay.pulls, overlay.unit
    sentences = [f"Load over time of {len(pulls)} pulls in one picture."]
    for group in overlay.groups:
        peaks = [f"{pull.label} {peak_text(pull.summary, unit)}" for pull in pulls if pull.group == group]
        sentences.append(f"Peaks of {group or 'the pulls'} in {unit}: {'; '.join(peaks)}.")
    doubts = [
        f"{pulls[at].label} ({', '.join(short_doubts(pulls[at].summary, overlay.shared))})"
        for at in overlay.doubtful
    ]
    if doubts:
        sentences.append(f"Doubtful, drawn dashed: {'; '.join(doubts)}.")
    if overlay.shared:
        sentences.append(f"All: {', '.join(map(short_words, overlay.shared))}.")
    return " ".join(sentences)
