"""One pull told line by line: everything that its JSON holds is also told to people."""

import numpy as np
from analysis_cases import KGF, calibrated, curve_of, read_case

from breakyard.curve import curve_from_columns
from breakyard.pull.results import Summary
from breakyard.pull.summarize import summarize
from breakyard.report.words.account import account
from breakyard.simulate import recipes
from breakyard.simulate.chain import measure
from breakyard.simulate.families import instrument
from breakyard.simulate.pull import pull


def told(summary: Summary) -> dict[str, str]:
    return dict(account(summary, "kgf"))


def test_drops_are_told_with_their_sizes() -> None:
    """Each with its instant, its loads and its share of the peak."""
    summary = read_case("progressive", 2000)[1]

    line = told(summary)["Partial drops"]

    assert line.count("of the peak") == len(summary.drops)
    assert all(f"{drop.time_s:.2f} s" in line for drop in summary.drops)
    assert "progressive" in told(summary)["Break"]


def test_jerks_and_the_verdict_are_told() -> None:
    """A jerky pull: each jerk, the rates, and "no" with what is asked for; the standard's formula is named."""
    summary = next(s for s in (read_case("towing", seed)[1] for seed in range(20)) if s.rate.jerks)

    lines = told(summary)

    assert f"{summary.rate.jerks[0].time_s:.2f} s" in lines["Jerks"]
    assert "at the peak" in lines["Loading"]
    assert "unsteadiness" in lines["Loading"]
    assert lines["Steady enough"].startswith("no")
    assert "ISO 6892-1" in lines["Steady enough"]


def test_plateau_and_load_at_the_end_are_told() -> None:
    """A recording that holds for 20 s and ends at 40 % of its peak, and never broke."""
    time = np.arange(0.0, 50.0, 0.1)
    load = np.interp(time, [0, 3, 9, 29, 37, 43, 47], np.array([0, 0, 300, 300, 520, 480, 208]) * KGF)
    lines = told(summarize(curve_from_columns(time[time <= 47], load[time <= 47], name="machine")))

    assert "300" in lines["Plateaus"]
    assert 200 < float(lines["Load at the end"].split()[0]) < 225
    assert lines["Strength"].startswith("at least")
    assert "did not break" in lines["Break"]


def test_a_pull_without_events_has_no_empty_lines() -> None:
    """Lines that say nothing are left out."""
    lines = told(read_case("slow_brittle", 2000)[1])

    assert all(lines.values())
    assert "Jerks" not in lines
    assert "Energy" not in lines
    assert lines["Steady enough"].startswith("yes")


def test_461_and_455_are_both_told() -> None:
    """A part that peaks at 461 kgf and holds 455 before it lets go: never one number where there are two.

    Common practice, no source. The manner of break is told with its doubt.
    """
    cell, converter = instrument(4)
    steps = recipes.settling(
        recipes.Rig(), peak_n=461 * KGF, settled_n=455 * KGF, rate_n_per_s=40 * KGF, hold_s=5.0
    )
    conversions = measure(pull(steps, seed=4), cell, converter, seed=4)
    lines = told(summarize(curve_of(conversions, calibrated(4, "good", cell), "settling")))

    assert lines["Peak"].startswith("461")
    assert lines["Settled load"].startswith("455")
    assert "held for 5" in lines["Settled load"]
    assert lines["Break"].startswith("ductile")
