"""What the range plan warns of, in sentences."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from breakyard.plan.quantities import Finding, show_force, show_number, show_percent, sort_findings

if TYPE_CHECKING:
    from breakyard.plan.ranges import RangePlan

JERK_S = 0.2
"""Slack to peak in less than this is a jerk (own rule)."""


def range_findings(plan: "RangePlan", unit: str) -> tuple[Finding, ...]:
    """All findings, the ones that fail the plan first."""
    found = [*_limits(plan, unit), *_size(plan, unit), *_speed(plan, unit), *_rigging(plan)]
    return sort_findings(found)


def _limits(plan: "RangePlan", unit: str) -> Iterator[Finding]:
    clip, safe, ultimate = (plan.limit(name) for name in ("clip", "safe overload", "ultimate"))
    peak_n, surprise_n = plan.at_expected.load_n, plan.at_surprise.load_n
    surprise = (
        f"At {show_number(plan.question.surprise)} times the expected load ({show_force(surprise_n, unit)})"
    )
    if peak_n >= clip.low_n:
        yield Finding(
            "clips",
            "no",
            f"The converter may clip at {show_force(clip.low_n, unit)} (a plate is right to 10 %), the expected load "
            f"is {show_force(peak_n, unit)}: take {_other_gain(plan)}a larger cell.",
        )
    elif surprise_n >= clip.low_n:
        yield Finding(
            "surprise_clips",
            "caution",
            f"{surprise} the converter may clip; such a pull would say only 'at least'.",
        )
    if peak_n > safe.load_n:
        yield Finding(
            "overload",
            "no",
            f"The expected load, {show_force(peak_n, unit)}, is above the cell's safe overload, "
            f"{show_force(safe.load_n, unit)}: it would be damaged.",
        )
    elif peak_n > plan.question.capacity_n:
        yield Finding(
            "above_capacity",
            "caution",
            f"The expected load is {show_percent(plan.at_expected.of_capacity)} of the cell's capacity: its accuracy "
            "is stated up to 100 % only.",
        )
    if surprise_n >= ultimate.load_n:
        yield Finding(
            "cell_may_part",
            "no",
            f"{surprise} the cell passes its ultimate load ({show_force(ultimate.load_n, unit)}): it may part itself.",
        )
    elif surprise_n > safe.load_n >= peak_n:
        yield Finding(
            "surprise_overload",
            "caution",
            f"{surprise} the cell passes its safe overload ({show_force(safe.load_n, unit)}): its zero may shift for "
            "good.",
        )
    if clip.low_n < safe.load_n:
        yield Finding(
            "clip_before_overload",
            "caution",
            f"The converter clips at {show_force(clip.load_n, unit)}, before the cell's safe overload "
            f"({show_force(safe.load_n, unit)}), or may if the plate is out by 10 %: an overload would go unnoticed. "
            + (
                f"Gain {plan.recommendation.gain} shows it."
                if plan.recommendation.gain != plan.question.gain
                else "No gain of this converter shows it."
            ),
        )
    else:
        yield Finding(
            "overload_before_clip",
            "note",
            f"The cell's safe overload ({show_force(safe.load_n, unit)}) comes before the clip "
            f"({show_force(clip.load_n, unit)}): 'not clipped' does not mean 'not overloaded'. Break off at "
            "the stop load.",
        )


def _other_gain(plan: "RangePlan") -> str:
    """The recommended gain as an advice, unless it is the one in use already."""
    gain = plan.recommendation.gain
    return "" if gain == plan.question.gain else f"gain {gain} or "


def _size(plan: "RangePlan", unit: str) -> Iterator[Finding]:
    low_n = plan.question.expected_low_n
    if plan.cell_error_n > 0.01 * low_n * (1.0 + 1e-9):
        size = plan.recommendation.capacity_n
        advice = (
            f"take one of about {show_force(size, unit)}" if size else "no common size fits the whole range"
        )
        stated = (
            "from its sheet"
            if plan.question.plate.nonlinearity is not None
            else "taken as 0.1 %, rule of thumb"
        )
        yield Finding(
            "cell_too_big",
            "caution",
            f"The cell is big for {show_force(low_n, unit)}: its own error, {show_force(plan.cell_error_n, unit)} "
            f"({stated}), is {show_percent(plan.cell_error_n / low_n)} of it; {advice}.",
        )
    if 3.3 * plan.noise_n > 0.01 * low_n:
        yield Finding(
            "noise",
            "caution",
            f"Noise of {show_force(6.6 * plan.noise_n, unit)} peak to peak hides 1 % of the expected load.",
        )
    size = plan.recommendation.capacity_n
    if plan.question.plate.capacity_n < plan.recommendation.smallest_n * (1.0 - 1e-9):
        larger = f"; the next common size is {show_force(size, unit)}" if size else ""
        yield Finding(
            "cell_small",
            "caution",
            f"A cell of at least {show_force(plan.recommendation.smallest_n, unit)} leaves room for the "
            f"surprise{larger}.",
        )


def _speed(plan: "RangePlan", unit: str) -> Iterator[Finding]:
    fast_s, _ = plan.question.time_to_peak_s
    if fast_s <= JERK_S:
        yield Finding(
            "jerk",
            "caution",
            f"A jerk ({show_number(fast_s)} s from slack to peak) is not measurable at "
            f"{show_number(plan.question.rate_hz)}/s: its peak is lower in the recording than it was, by an unknown "
            "amount; the answer can only be 'at least'. Pull slowly.",
        )
    elif plan.miss > 0.01:
        slow = plan.question.expected_low_n / plan.fastest_order_4_n_per_s
        yield Finding(
            "fast_loading",
            "caution",
            f"At {show_number(fast_s)} s from slack to peak the largest sample may be low by {show_percent(plan.miss)} "
            f"if it breaks suddenly; take {show_number(slow)} s or more for 1 %. The summary recovers a part of it.",
        )
    if JERK_S < fast_s < plan.shortest_event_s:
        yield Finding(
            "short_event",
            "caution",
            f"The event may last {show_number(fast_s)} s; the shortest whose peak this rate supports to 1 % lasts "
            f"{show_number(plan.shortest_event_s)} s (ASTM STP19268S).",
        )
    if plan.question.rate_hz < 40.0:
        yield Finding(
            "slow_rate",
            "caution",
            f"{show_number(plan.question.rate_hz)} conversions a second miss peaks: tie the RATE pin high for 80.",
        )


def _rigging(plan: "RangePlan") -> Iterator[Finding]:
    asked = plan.question
    if asked.cells > 1:
        yield Finding(
            "sharing",
            "caution",
            f"{asked.cells} cells in parallel are taken to share equally; in tension they seldom do. Each must bear "
            "more than its share, and all must have the same mV/V.",
        )
    if asked.sheaves:
        low, high = 1.0 - 0.96**asked.sheaves, 1.0 - 0.91**asked.sheaves
        yield Finding(
            "sheaves",
            "caution",
            f"Friction of {asked.sheaves} sheave(s) between specimen and cell hides {show_percent(low)} to "
            f"{show_percent(high)} of the load (textbook figures, from memory): put the cell beside the specimen.",
        )
    elif asked.ratio != 1.0:
        yield Finding(
            "ratio",
            "caution",
            "The ratio's error is the result's error: 1 mm in a 100 mm arm is 1 %. Put the cell beside the specimen.",
        )
    if asked.gain == 32:
        yield Finding(
            "channel_b", "caution", "Gain 32 is channel B: other pins, and no gain of 128 to go back to."
        )
