"""Summaries as rows of a table; apart from what makes them, which takes long to load."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from breakyard.pull.results import Summary

if TYPE_CHECKING:
    import pandas as pd


def summary_row(s: Summary) -> dict[str, Any]:
    """What a table has of one pull; forces in newtons, times in seconds, None where it is not known."""
    return {
        "name": s.run.name,
        "peak_n": s.peak.estimate_n,
        "low_n": s.peak.low_n,
        "high_n": s.peak.high_n,
        "bound": s.peak.bound,
        "largest_sample_n": s.peak.largest_sample_n,
        "regime": s.peak.regime,
        "strength_n": s.strength.value_n,
        "at_least": s.strength.at_least,
        "settled_n": None if s.settled is None else s.settled.load_n,
        "first_peak_n": None if s.first_peak is None else s.first_peak.load_n,
        "manner": s.failure.manner,
        "sure": s.failure.sure,
        "residual_n": s.failure.residual_n,
        "rate_n_per_s": s.rate.median_n_per_s,
        "drops": len(s.drops),
        "peak_time_s": s.peak.time_s,
        "break_time_s": s.failure.time_s,
        "flags": " ".join(s.flags),
    }


def summaries_to_frame(summaries: Sequence[Summary]) -> "pd.DataFrame":
    """One row per summary, for spreadsheets and notebooks; columns as in `summary_row`."""
    import pandas as pd

    return pd.DataFrame([summary_row(summary) for summary in summaries])
