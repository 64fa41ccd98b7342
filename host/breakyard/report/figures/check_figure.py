"""Check weighings over time: what the calibration showed beside what it allows."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np

from breakyard.calibration.check_weighing import DAY_S, CheckVerdict, CheckWeighing
from breakyard.report.figures.style import (
    GREEN,
    VERMILLION,
    FigurePicture,
    Form,
    Legend,
    Mode,
    draw_key,
    make_look,
    new_figure,
    set_title,
)
from breakyard.report.trace import limits


def check_figure(
    checks: Sequence[CheckWeighing],
    verdict: CheckVerdict,
    *,
    title: str = "",
    mode: Mode = "light",
    form: Form = "wide",
) -> FigurePicture:
    """Draw the checks of one calibration in order of time: difference in percent of the load, band of what is allowed.

    Raises: UsageError (mode, form).
    """
    look = make_look(mode, form)
    theme = look.theme
    figure, (axes,) = new_figure(look, (0.85,))
    key = Legend(look)
    first_s = checks[0].when_utc_s
    days = np.array([(check.when_utc_s - first_s) / DAY_S for check in checks])
    percent = np.array([100.0 * check.difference_n / check.known_n for check in checks])
    allowed = np.array([100.0 * check.allowed_n / abs(check.known_n) for check in checks])
    holds = np.array([check.holds for check in checks])
    due_days = None
    if verdict.drift is not None and verdict.drift.due_utc_s is not None:
        due_days = (verdict.drift.due_utc_s - first_s) / DAY_S
    end = max(float(days[-1]), due_days or 0.0)
    left, right = limits(0.0, end) if end else (-1.0, 1.0)
    at = np.concatenate([[left], days, [right]])
    band = np.concatenate([[allowed[0]], allowed, [allowed[-1]]])
    patch = axes.fill_between(at, -band, band, color=GREEN, alpha=0.18, linewidth=0.0, zorder=1)
    key.add(patch, "what the calibration's own interval allows")
    axes.axhline(0.0, color=theme.faint, linewidth=1.0, zorder=1)
    axes.plot(days, percent, color=theme.faint, linewidth=1.0, zorder=2)
    good: dict[str, Any] = {"linestyle": "none", "marker": "o", "color": theme.curve, "markersize": 7.0}
    bad: dict[str, Any] = {"linestyle": "none", "marker": "X", "color": VERMILLION, "markersize": 9.0}
    axes.plot(days[holds], percent[holds], zorder=4, **good)
    key.line("holds", **good)
    if not holds.all():
        axes.plot(days[~holds], percent[~holds], zorder=4, **bad)
        key.line("beyond: calibrate again", **bad)
    if verdict.drift is not None and verdict.drift.significant:
        share = np.array([check.share for check in checks])
        line = share.mean() + verdict.drift.share_per_day * (np.array([0.0, end]) - days.mean())
        style: dict[str, Any] = {"color": theme.ink, "linewidth": 1.4, "linestyle": (0, (5, 3))}
        axes.plot([0.0, end], line * np.array([allowed[0], allowed[-1]]), zorder=3, **style)
        label = (
            "drift"
            if due_days is None
            else f"drift: leaves the band {due_days - days[-1]:.0f} days from the last check"
        )
        key.line(label, **style)
    axes.set_xlim(left, right)
    tallest = 1.25 * max(float(np.max(np.abs(percent))), float(allowed.max()))
    axes.set_ylim(-tallest, tallest)
    axes.set_ylabel("Shown less known\n[% of the load]")
    start = datetime.fromtimestamp(first_s, UTC).strftime("%Y-%m-%d")
    axes.set_xlabel(f"Days since {start}")
    set_title(axes, look, title or "Check weighings", f"{len(checks)} since the calibration")
    draw_key(figure, key)
    alt = (
        f"{len(checks)} check weighings since {start}: the latest is {percent[-1]:+.3f} % off, allowed is plus or "
        f"minus {allowed[-1]:.2g} %. {' '.join(verdict.sentences)}"
    )
    return FigurePicture(figure, alt, look.dpi)
