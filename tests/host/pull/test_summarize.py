"""The whole: budget, flags, options."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from analysis_cases import KGF, calibrated, curve_of, read_case
from hypothesis import given
from hypothesis import settings as sized
from hypothesis import strategies as st

from breakyard.calibration import Term, combine
from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.errors import NoPull, UsageError
from breakyard.pull.in_use import IDEAL
from breakyard.pull.results import Summary
from breakyard.pull.rows import summaries_to_frame
from breakyard.pull.summarize import summarize
from breakyard.run import Converter as RunConverter
from breakyard.simulate import recipes
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import Converter, Faults, Glitch
from breakyard.simulate.families import family, instrument
from breakyard.simulate.pull import PullTruth, pull


def curve(name: str = "let_go", seed: int = 5, kind: str = "good") -> LoadCurve:
    case = family(name, seed)
    return curve_of(case.conversions, calibrated(seed, kind, case.cell), name)


def brittle(faults: Faults, rate_kgf: float = 100.0) -> tuple[PullTruth, LoadCurve]:
    """A brittle pull to 800 kgf with faults on the way."""
    cell, converter = instrument(3)
    phases = recipes.brittle(recipes.Rig(), peak_n=800 * KGF, rate_n_per_s=rate_kgf * KGF)
    truth = pull(phases, seed=3)
    conversions = measure(truth, cell, converter, seed=3, faults=faults)
    return truth, curve_of(conversions, calibrated(3, "good", cell), "brittle")


def test_the_interval_is_the_budget_combined() -> None:
    """For a slow peak: half-width = coverage factor times root sum of squares (JCGM 100, 5.1.2 and G.3)."""
    summary = summarize(curve(), misalignment_deg=0.0, in_use=IDEAL)
    terms = [Term(b.source, b.standard_n, b.degrees_of_freedom or math.inf) for b in summary.budget]

    half = combine(terms).half_width_n(0.95)

    assert summary.peak.high_n - summary.peak.estimate_n == pytest.approx(half, rel=0.01)
    assert summary.peak.estimate_n - summary.peak.low_n == pytest.approx(half, rel=0.01)


def test_a_wider_coverage_gives_a_wider_interval_around_the_same_estimate() -> None:
    """And the summary says which coverage it has."""
    narrow, wide = summarize(curve(), coverage=0.8), summarize(curve(), coverage=0.99)

    assert narrow.peak.estimate_n == wide.peak.estimate_n
    assert wide.peak.low_n < narrow.peak.low_n < narrow.peak.high_n < wide.peak.high_n
    assert wide.peak.coverage == 0.99


def test_a_stated_misalignment_is_a_line_of_the_budget() -> None:
    """5 degrees: 1 - cos = 0.38 % of the load, as a rectangle's standard deviation."""
    summary = summarize(curve(), misalignment_deg=5.0)
    (line,) = [line for line in summary.budget if line.source == "misalignment"]

    expected = summary.peak.estimate_n * (1 - math.cos(math.radians(5.0))) / math.sqrt(3.0)
    assert line.standard_n == pytest.approx(expected)


def test_small_masses_make_a_wider_interval_and_a_flag() -> None:
    """60 kg of masses carried to hundreds of kgf: extrapolated, and wider than with a good calibration."""
    small, good = summarize(curve(kind="small")), summarize(curve())
    assert small.extrapolation == pytest.approx(small.peak.estimate_n / (60 * 9.81), rel=0.01)

    assert "extrapolated" in small.flags
    assert small.peak.high_n - small.peak.low_n > good.peak.high_n - good.peak.low_n
    assert "extrapolation" in {line.source for line in small.budget}


@pytest.mark.parametrize("value", [8388607, 0, -1, 4194303])
def test_lost_bits_at_the_peak_are_left_out_and_told(value: int) -> None:
    """A single reading with lost bits, a rail among them, is a glitch: neither peak nor clipping."""
    truth, spoilt = brittle(Faults())
    at = truth.break_time_s - 0.06

    truth, spoilt = brittle(Faults(glitches=(Glitch(at, value=value),)))
    summary = summarize(spoilt)

    assert "glitch" in summary.flags
    assert "clipped" not in summary.flags
    assert [g.time_s for g in summary.glitches] == pytest.approx([at], abs=0.02)
    assert summary.peak.low_n <= truth.peak_n <= summary.peak.high_n


def test_missing_conversions_at_the_peak_are_flagged_and_widen_it() -> None:
    """Three conversions lost in the fall of a fast ramp: the whole fall but its very beginning."""
    truth, whole = brittle(Faults(), rate_kgf=700.0)
    _, converter = instrument(3)
    first = math.ceil(truth.break_time_s * converter.rate_hz - converter.phase + 1.0)

    _, holed = brittle(Faults(missed=(first, first + 1, first + 2)), rate_kgf=700.0)
    with_all, without = summarize(whole), summarize(holed)

    assert "gap" in without.flags
    assert "gap" not in with_all.flags
    assert without.peak.high_n - without.peak.low_n > 1.5 * (with_all.peak.high_n - with_all.peak.low_n)
    assert without.peak.low_n <= truth.peak_n <= without.peak.high_n


@pytest.mark.parametrize("lost", [5, 10, 45, 200])
def test_a_break_within_a_gap_is_never_claimed_too_low(lost: int) -> None:
    """However many conversions are missing at the break, the truth is in the interval or above the bound."""
    truth, _ = brittle(Faults(), rate_kgf=300.0)
    _, converter = instrument(3)
    middle = round(truth.break_time_s * converter.rate_hz) - lost // 3

    _, holed = brittle(Faults(missed=tuple(range(middle, middle + lost))), rate_kgf=300.0)
    summary = summarize(holed)

    assert "gap" in summary.flags
    assert "shock" not in summary.flags
    assert summary.peak.low_n <= truth.peak_n
    assert summary.peak.high_n is None or truth.peak_n <= summary.peak.high_n


def test_a_zero_that_moved_is_flagged() -> None:
    """A cell bent beyond its safe overload comes back 1 % higher."""
    cell, converter = instrument(3)
    small = replace(cell, capacity_n=500 * KGF, safe_overload=1.4)
    phases = recipes.brittle(recipes.Rig(), peak_n=750 * KGF, rate_n_per_s=50 * KGF)
    conversions = measure(pull(phases, seed=3), small, replace(converter, gain=64), seed=3)
    slope = calibrated(3, "good", small)

    summary = summarize(curve_of(conversions, slope, "bent"))

    assert "zero_shift" in summary.flags
    assert summary.zero.shift_n > 0


def test_an_unbroken_part_bears_at_least_its_peak() -> None:
    """The peak is two-sided, the strength is "at least", and the flag says why."""
    summary = read_case("let_go", 9)[1]

    assert summary.peak.bound == "two-sided"
    assert summary.strength.at_least
    assert summary.strength.high_n is None
    assert summary.strength.value_n == summary.peak.estimate_n
    assert "no_break" in summary.flags
    assert "ended_early" not in summary.flags


def test_loading_rate_and_steadiness() -> None:
    """A steady 100 kgf/s is told as such; towing with jerks is not called steady."""
    _, steady = brittle(Faults())
    rate = summarize(steady).rate
    jerky = [read_case("towing", seed)[1].rate for seed in range(8)]

    assert rate.median_n_per_s == pytest.approx(100 * KGF, rel=0.01)
    assert rate.at_peak_n_per_s == pytest.approx(100 * KGF, rel=0.02)
    assert rate.unsteadiness < 0.05
    assert rate.steady_enough
    assert min(r.unsteadiness for r in jerky) > 3 * rate.unsteadiness
    assert any(r.jerks for r in jerky)


def test_flags_come_with_sentences_for_people() -> None:
    """Each note is one sentence or two that say what to do; none for a pull without doubts."""
    _, fine = brittle(Faults())

    assert summarize(fine).flags == ()
    assert summarize(fine).notes == ()
    assert all(note.endswith(".") for note in read_case("snatch", 1)[1].notes)


def test_a_table_of_summaries_has_one_row_each() -> None:
    """For pandas: forces in newtons, flags as words."""
    summaries = [read_case("snatch", 1)[1], read_case("let_go", 1)[1]]

    frame = summaries_to_frame(summaries)

    assert frame["peak_n"].tolist() == [s.peak.estimate_n for s in summaries]
    assert frame["bound"].tolist() == ["lower", "two-sided"]
    assert frame["at_least"].tolist() == [True, True]


@pytest.mark.parametrize(
    "options",
    [
        {"coverage": 1.0},
        {"coverage": 0.2},
        {"misalignment_deg": 60.0},
        {"filter_order": 0},
        {"filter_order": 9},
    ],
)
def test_senseless_options_are_refused(options: dict[str, float]) -> None:
    """With a line that says what is sensible."""
    with pytest.raises(UsageError, match="sensible"):
        summarize(curve(), **options)


def test_a_recording_without_a_pull_is_refused_by_name() -> None:
    """Noise, and a recording of almost nothing."""
    time = np.arange(400) * 0.0125
    noise = np.random.default_rng(0).standard_normal(400)

    with pytest.raises(NoPull, match="quiet day"):
        summarize(curve_from_columns(time, noise, name="quiet day"))


def test_ten_conversions_a_second_are_read_with_the_same_rules() -> None:
    """The slow rate of the chip: a slow ramp is covered, and the shortest event is eight times longer."""
    cell, fast = instrument(3)
    converter = Converter(rate_hz=fast.rate_hz / 8, filter_order=fast.filter_order, noise_nv=50.0)
    rig = recipes.Rig(quiet_s=12.0)
    truth = pull(recipes.brittle(rig, peak_n=800 * KGF, rate_n_per_s=40 * KGF), seed=3)
    conversions = measure(truth, cell, converter, seed=3)

    summary = summarize(curve_of(conversions, calibrated(3, "good", cell), "slow"))

    assert summary.peak.low_n <= truth.peak_n <= summary.peak.high_n
    assert summary.peak.shortest_event_s > 8.0


def test_the_close_up_shows_ramp_and_filter_model() -> None:
    """The recovered force ends at the peak at the break; the model passes through the samples before and after."""
    truth, curve_ = brittle(Faults(), rate_kgf=300.0)
    summary = summarize(curve_)
    shown = summary.recovery
    zeroed = curve_.load_n - summary.zero.load_n
    near = np.abs(curve_.time_s - summary.failure.time_s) < 0.09

    model = np.interp(curve_.time_s[near], shown.seen_s, shown.seen_n)

    assert shown.force_n[-1] == pytest.approx(truth.peak_n, rel=0.005)
    assert shown.force_s[-1] == pytest.approx(summary.peak.time_s, abs=0.01)
    assert model == pytest.approx(zeroed[near], abs=0.03 * truth.peak_n)
    assert summarize(curve()).recovery is None


@sized(max_examples=60)
@given(
    levels=st.lists(st.floats(-1e4, 1e4), min_size=2, max_size=12),
    step_s=st.sampled_from([0.0125, 0.1, 1.0]),
    each=st.integers(4, 40),
    noise=st.sampled_from([0.0, 1.0, 300.0]),
    smooth=st.booleans(),
    filtered=st.booleans(),
)
def test_any_recording_gives_a_summary_or_one_clear_refusal(
    levels: list[float], step_s: float, each: int, noise: float, smooth: bool, filtered: bool
) -> None:
    """Never a traceback, never an interval the wrong way round, never a document that JSON refuses."""
    number = each * len(levels)
    at = np.arange(number) / each
    load = np.interp(at, np.arange(len(levels)), levels) if smooth else np.repeat(levels, each)
    load = load + noise * np.random.default_rng(0).standard_normal(number)
    any_curve = curve_from_columns(step_s * np.arange(number), load, name="odd")
    if filtered:
        any_curve = replace(any_curve, converter=RunConverter(128))

    try:
        summary = summarize(any_curve)
    except NoPull:
        return

    peak = summary.peak
    assert peak.low_n <= peak.estimate_n <= (math.inf if peak.high_n is None else peak.high_n)
    assert Summary.from_json(json.loads(json.dumps(summary.to_json(), allow_nan=False))) == summary
