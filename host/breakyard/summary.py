"""LoadCurve -> Summary: puts the stages together, and raises the flags."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from breakyard.curve import LoadCurve
from breakyard.errors import NoPull
from breakyard.results import (
    Break,
    BudgetLine,
    FirstPeak,
    Peak,
    Rate,
    Source,
    Strength,
    Summary,
    Zero,
)

if TYPE_CHECKING:
    import pandas as pd


def summarise(curve: LoadCurve, *, coverage: float = 0.95) -> Summary:
    """Read one pull: its peak with an interval, how it was loaded and how it let go.

    coverage: of the interval of the peak, between 0.5 and 0.999.
    Raises: NoPull if the recording holds no rise above its own noise.
    """
    keep = np.flatnonzero(curve.usable)
    if len(keep) < 8:
        raise NoPull(f"{curve.name}: only {len(keep)} usable samples; at least 8 are needed")
    time, load = curve.time_s[keep], curve.load_n[keep]
    top = int(np.argmax(load))
    head = max(4, min(top // 2, int(2.0 / curve.period_s)))
    quiet = load[:head]
    zero_n = float(np.median(quiet))
    noise_n = float(1.4826 * np.median(np.abs(np.diff(quiet))) / np.sqrt(2))
    load = load - zero_n
    peak_n = float(load[top])
    if peak_n <= 6 * noise_n:
        raise NoPull(f"{curve.name}: the load never rises above the noise; is the right channel recorded?")
    above = np.flatnonzero(load[: top + 1] > max(6 * noise_n, 0.01 * peak_n))
    onset = int(above[0])
    slope = float((load[top] - load[max(onset, top - 5)]) / max(time[top] - time[max(onset, top - 5)], 1e-9))
    low_after = np.flatnonzero(load[top:] < 0.5 * peak_n)
    broke = len(low_after) > 0 and time[top + low_after[0]] - time[top] < 10 * curve.period_s
    clipped = bool(curve.clipped.any())
    lines = [BudgetLine("zero", noise_n / np.sqrt(head)), BudgetLine("noise", noise_n)]
    lines.append(BudgetLine("sampling", abs(slope) * curve.period_s * (3.0 if curve.converter else 1.0)))
    if curve.calibration is not None and curve.counts is not None:
        counts = float(curve.counts[keep[top]])
        zero_counts = float(np.median(curve.counts[keep[:head]]))
        lines += [
            BudgetLine(
                t.source, t.standard_n, t.degrees_of_freedom if np.isfinite(t.degrees_of_freedom) else None
            )
            for t in curve.calibration.terms(counts, zero_counts)
        ]
    if curve.accuracy is not None:
        lines.append(BudgetLine("stated accuracy", curve.accuracy * peak_n))
    half = 2.0 * float(np.sqrt(sum(line.standard_n**2 for line in lines)))
    low, high = peak_n - half, None if clipped else peak_n + half
    flags = list(curve.flags) + (["clipped"] if clipped else []) + ([] if broke else ["no_break"])
    at_least = clipped or not broke
    time_s = float(time[top])
    return Summary(
        run=source(curve),
        peak=Peak(
            peak_n,
            low,
            high,
            peak_n,
            time_s,
            "lower" if clipped else "two-sided",
            coverage,
            "slow",
            90 * curve.period_s,
        ),
        strength=Strength(peak_n, low, None if at_least else high, at_least),
        settled=None,
        first_peak=FirstPeak(peak_n, time_s),
        failure=Break(
            "brittle" if broke else "none",
            time_s if broke else None,
            peak_n if broke else None,
            float(np.median(load[top + 5 :])) if broke and len(load) > top + 5 else None,
            sure=False,
            reason="fall below half of the peak",
        ),
        rate=Rate(slope, slope, 0.0, peak_n / 100 / curve.period_s, steady_enough=True),
        drops=(),
        energy=None,
        flags=tuple(flags),
        budget=tuple(lines),
        zero=Zero(zero_n, lines[0].standard_n, 0.0, noise_n, None, float(time[0]), float(time[head - 1])),
        onset_s=float(time[onset]),
        end_load_n=float(load[-1]),
    )


def source(curve: LoadCurve) -> Source:
    """Say which recording and which calibration a summary speaks of."""
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
        calibration_hash=None if calibration is None else getattr(calibration, "content_hash", None),
    )


def summaries_to_frame(summaries: Sequence[Summary]) -> "pd.DataFrame":
    """One row per summary, for spreadsheets and notebooks; forces in newtons, times in seconds."""
    import pandas as pd

    return pd.DataFrame(
        [
            {
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
                "first_peak_n": s.first_peak.load_n,
                "manner": s.failure.manner,
                "sure": s.failure.sure,
                "residual_n": s.failure.residual_n,
                "rate_n_per_s": s.rate.median_n_per_s,
                "drops": len(s.drops),
                "peak_time_s": s.peak.time_s,
                "break_time_s": s.failure.time_s,
                "flags": " ".join(s.flags),
            }
            for s in summaries
        ]
    )
