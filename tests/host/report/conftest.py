"""A pull made by hand, with a summary made by hand: the report is tested on values, not on the analysis."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from breakyard.comparison import compare, observe
from breakyard.curve import LoadCurve
from breakyard.pull.results import (
    Break,
    BudgetLine,
    Drop,
    FirstPeak,
    Glitch,
    Peak,
    Plateau,
    Rate,
    Settled,
    Source,
    Strength,
    Summary,
    Zero,
)
from breakyard.report.page.content import Content, Entry
from breakyard.run import Gap

PERIOD_S = 0.0125


@pytest.fixture(scope="session")
def curve() -> LoadCurve:
    """Quiet for 2 s, up to 4000 N, a drop, a plateau, a glitch, a gap, and a break at 12 s."""
    time_s = np.arange(0.0, 16.0, PERIOD_S)
    time_s = time_s[(time_s < 5.0) | (time_s > 5.2)]
    load_n = np.interp(
        time_s, [0, 2, 6, 6.05, 9, 11, 12, 12.02, 16], [0, 0, 3000, 2500, 3800, 3800, 4000, 0, 0]
    )
    glitch = int(np.searchsorted(time_s, 7.0))
    load_n[glitch] = 90_000.0
    arrays = [time_s, load_n + 25.0, np.ones(time_s.size, bool), np.zeros(time_s.size, bool)]
    for array in arrays:
        array.flags.writeable = False
    return LoadCurve(
        name="run 7",
        time_s=arrays[0],
        load_n=arrays[1],
        usable=arrays[2],
        clipped=arrays[3],
        period_s=PERIOD_S,
        gaps=(Gap(399, 4.9875, 5.2125, 17, "record"),),
    )


@pytest.fixture(scope="session")
def make_summary() -> Callable[..., Summary]:
    """Summaries like that of the curve, with changes to any part (`peak={"low_n": 1.0}`)."""

    def make(**changes: Any) -> Summary:
        whole = Summary(
            run=Source("run 7", 7, 1264, 16.0, 80.0, 17, None, None, "weights", "ab12"),
            peak=Peak(4000.0, 3978.0, 4023.0, 3996.0, 12.0, "two-sided", 0.95, "slow", 1.125),
            strength=Strength(4000.0, 3978.0, 4023.0, at_least=False),
            settled=Settled(3800.0, 9.0, 11.0),
            first_peak=FirstPeak(3000.0, 6.0),
            failure=Break("ductile", 12.0, 4000.0, 0.0, sure=True, reason="yielded first"),
            rate=Rate(750.0, 200.0, 0.1, 32_000.0, steady_enough=True),
            drops=(Drop(6.0, 3000.0, 2500.0),),
            energy=None,
            flags=(),
            budget=(BudgetLine("calibration", 11.0), BudgetLine("noise", 2.0)),
            zero=Zero(25.0, 0.5, 0.0, 1.0, None, 0.0, 1.9),
            onset_s=2.0,
            end_load_n=0.0,
            plateaus=(Plateau(3200.0, 6.0, 7.0), Plateau(3800.0, 9.0, 11.0)),
            glitches=(Glitch(7.0, 90_000.0, 2900.0),),
        )
        for name, change in changes.items():
            part = replace(getattr(whole, name), **change) if isinstance(change, dict) else change
            whole = replace(whole, **{name: part})
        return whole

    return make


@pytest.fixture(scope="session")
def make_content(curve: LoadCurve, make_summary: Callable[..., Summary]) -> Callable[..., Content]:
    """A report of pulls given as (label, group, changes to the summary), with a comparison where there can be one."""

    def make(*pulls: tuple[str, str, dict[str, Any]], **more: Any) -> Content:
        entries = []
        for at, (label, group, changes) in enumerate(pulls, start=1):
            summary = make_summary(**changes)
            named = replace(summary, run=replace(summary.run, name=f"run {at}"))
            entries.append(Entry(f"run {at}", label, curve, named, group=group, order=at))
        if "comparison" not in more:
            observations = [
                observe(entry.summary, group=entry.group, specimen=entry.label)
                for entry in entries
                if entry.group
            ]
            kept = [one for one in observations if one is not None]
            more["comparison"] = compare(kept) if kept else None
        return Content(title=more.pop("title", "Pulls: a yard (invented)"), entries=tuple(entries), **more)

    return make
