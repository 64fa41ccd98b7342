"""The boatyard is what the demo needs: twelve pulls, three of them spoilt in three ways, the same every time."""

from collections import Counter

import numpy as np
import pytest

from breakyard.simulate.converter import RAIL_HIGH, counts_per_mv_v
from breakyard.simulate.feed import feed_bytes
from breakyard.simulate.scenario import GROUPS, Scenario, SimulatedRecording, boatyard

KGF = 9.80665
TRIGGER_COUNTS = 20_000
"""Default threshold of the logger above its baseline."""


@pytest.fixture(scope="module")
def yard() -> Scenario:
    return boatyard()


def test_four_groups_of_three_with_one_of_each_mishap(yard: Scenario) -> None:
    assert Counter(r.group for r in yard.pulls) == dict.fromkeys(GROUPS, 3)
    assert sorted(r.id for r in yard.pulls) == [f"{group}{i}" for group in "BRST" for i in (1, 2, 3)]
    assert [r.order for r in yard.pulls] == list(range(1, 13))
    assert {r.spoilt: r.group for r in yard.pulls if r.spoilt} == {
        "snatch": "bonded",
        "clipped": "through-bolted",
        "let go": "screwed",
    }
    assert "invented" in yard.invented


def test_each_group_breaks_in_its_manner(yard: Scenario) -> None:
    manners = {
        "bonded": "brittle",
        "screwed": "progressive",
        "riveted": "ductile",
        "through-bolted": "ductile",
    }
    for recording in yard.pulls:
        expected = "none" if recording.spoilt == "let go" else manners[recording.group]

        assert recording.truth.manner == expected


def test_one_pull_alone_reaches_the_rail(yard: Scenario) -> None:
    """The converter ends at 3.906 mV/V: 130 % of a 3 mV/V cell, still within its safe overload of 150 %."""
    for recording in yard.recordings:
        clipped = recording.conversions.clipped

        assert clipped.any() == (recording.spoilt == "clipped")
        if clipped.any():
            assert set(recording.conversions.counts[clipped].tolist()) == {RAIL_HIGH}
            assert 1.30 < recording.truth.peak_n / recording.cell.capacity_n < 1.50


def test_the_snatch_is_far_too_short_and_reads_low(yard: Scenario) -> None:
    """Half a sine of 50 ms at about 92/s is under five conversions."""
    (snatch,) = (r for r in yard.pulls if r.spoilt == "snatch")
    largest = snatch.conversions.clean_counts.max() - snatch.conversions.clean_counts[:50].mean()
    read_n = largest / counts_per_mv_v(128) / snatch.cell.rated_output_mv_v * snatch.cell.capacity_n

    assert read_n < 0.95 * snatch.truth.peak_n
    assert not snatch.truth.clear


def _above_trigger(recording: SimulatedRecording) -> np.ndarray:
    counts = recording.conversions.counts
    return np.abs(counts - counts[:20].mean()) > TRIGGER_COUNTS


def test_every_pull_starts_and_ends_quietly(yard: Scenario) -> None:
    """At least 8 s below the logger's trigger before and after, and never as long as its hang time (5 s) between."""
    for recording in yard.pulls:
        time, above = recording.conversions.time_s, _above_trigger(recording)
        loud = time[above]

        assert loud[0] > 8.0
        assert time[-1] - loud[-1] > 8.0
        assert np.diff(loud).max(initial=0.0) < 2.0


def test_ramps_are_those_of_a_hand_winch(yard: Scenario) -> None:
    for recording in yard.pulls:
        if recording.group not in ("riveted", "through-bolted") and not recording.spoilt:
            assert 30 * KGF < recording.truth.rate_at_peak_n_per_s < 150 * KGF


def test_the_calibration_hangs_the_masses_up_and_down(yard: Scenario) -> None:
    holds = yard.calibration.truth.holds

    assert [hold.label for hold in holds] == ["0 kg", "20 kg", "40 kg", "60 kg", "40 kg", "20 kg", "0 kg"]
    assert all((hold.end_s or 0.0) - hold.time_s == pytest.approx(12.0) for hold in holds)
    assert [hold.load_n for hold in holds] == list(yard.weights.forces_n)
    assert holds[3].load_n == pytest.approx(60 * 9.814, rel=1e-3)
    assert holds[3].load_n != pytest.approx(60 * KGF, rel=5e-4)


def test_counts_follow_the_load(yard: Scenario) -> None:
    """Through the whole chain, half a second of rest: the counts are those of the cell's own curve, within noise."""
    for hold in yard.calibration.truth.holds:
        made = yard.calibration.conversions
        late = (made.time_s > (hold.end_s or 0.0) - 0.5) & (made.time_s < (hold.end_s or 0.0))
        expected = yard.calibration.cell.static_mv_v(hold.load_n) * counts_per_mv_v(128)

        assert made.counts[late].mean() == pytest.approx(float(expected), abs=300)


def test_the_day_is_the_same_every_time(yard: Scenario) -> None:
    again = boatyard()

    assert [feed_bytes(r.conversions) for r in again.recordings] == [
        feed_bytes(r.conversions) for r in yard.recordings
    ]
    assert len({feed_bytes(r.conversions) for r in yard.recordings}) == 13
