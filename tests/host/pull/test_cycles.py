"""Cycles of one specimen: what was meant, each loading as a row, the last one read."""

from dataclasses import replace

import numpy as np
import pytest
from analysis_cases import KGF

from breakyard.curve import LoadCurve, curve_from_columns
from breakyard.errors import UnitError, UsageError
from breakyard.pull.cycles import read_protocol
from breakyard.pull.split import split_pulls
from breakyard.pull.summarize import summarize


def rope(
    low_kgf: float = 20.0, high_kgf: float = 300.0, count: int = 10, break_kgf: float = 1510.0
) -> LoadCurve:
    """Cycles at 60 kgf/s, then the break; the rope gives 0.1 mm per kgf going up and keeps 2 mm of each cycle's top.

    Going down it follows a line 2 mm to the side, so each loop is the area between two straight lines.
    """
    times, loads, extensions = [0.0, 3.0], [0.0, 0.0], [0.0, 0.0]
    for _ in range(count):
        times += [times[-1] + (high_kgf - loads[-1]) / 60.0]
        times += [times[-1] + 0.5, times[-1] + 0.5 + (high_kgf - low_kgf) / 60.0, times[-1] + 8.0]
        loads += [high_kgf, high_kgf, low_kgf, low_kgf]
        extensions += [0.1 * high_kgf, 0.1 * high_kgf + 2.0, 0.1 * low_kgf + 2.0, 0.1 * low_kgf]
    times += [times[-1] + (break_kgf - low_kgf) / 60.0]
    times += [times[-1] + 0.003, times[-1] + 5.0]
    loads += [break_kgf, 0.0, 0.0]
    extensions += [0.1 * break_kgf] * 3
    time = np.arange(0.0, times[-1], 1 / 80)
    noise = 0.1 * np.random.default_rng(0).standard_normal(len(time))
    curve = curve_from_columns(
        time, KGF * (np.interp(time, times, loads) + noise), accuracy=0.0005, name="rope"
    )
    return replace(curve, extension_m=0.001 * np.interp(time, times, extensions))


@pytest.mark.parametrize(
    ("text", "count", "low_kgf", "high_kgf", "breaks"),
    [
        ("10 x 20..300 kgf, then break", 10, 20.0, 300.0, True),
        ("3 x 0 to 1,5 kN", 3, 0.0, 1500.0 / KGF, False),
        ("3 x 0..100 kgf, 10 x 20..300 kgf, then to break", 13, 0.0, 100.0, True),
        ("5×50-200 lbf then break", 5, 50 * 0.45359237, 200 * 0.45359237, True),
    ],
)
def test_protocols_are_read(text: str, count: int, low_kgf: float, high_kgf: float, breaks: bool) -> None:
    """Numbers with units, several steps, and whether it ends in a break."""
    found = read_protocol(text)

    assert (found.count, found.breaks) == (count, breaks)
    assert found.steps[0].low_n == pytest.approx(low_kgf * KGF)
    assert found.steps[0].high_n == pytest.approx(high_kgf * KGF)


def test_a_valley_of_one_sample_is_as_deep_as_it_was() -> None:
    """Let down to 25 kgf and loaded at once: no valley is rounded off, as no top is, and a wrong reading is none."""
    times, loads = [0.0, 5.0], [0.0, 0.0]
    for _ in range(4):
        times, loads = [*times, times[-1] + 6.0, times[-1] + 12.0], [*loads, 300.0, 25.0]
    time = np.arange(0.0, times[-1] + 35.0, 0.05)
    load = np.interp(time, [*times, times[-1] + 25.0, times[-1] + 25.02], [*loads, 1510.0, 0.0])
    load += 0.05 * np.random.default_rng(1).standard_normal(len(time))
    load[np.argmin(np.abs(time - 29.05))] = -40.0  # beside a valley

    curve = curve_from_columns(time, KGF * load, name="rope", accuracy=0.004)
    found = summarize(replace(curve, one_specimen=True))

    valleys = [one.valley_n / KGF for one in found.cycles[1:]]
    assert valleys.pop(1) == pytest.approx(
        25.0, abs=2.5
    )  # as far as the load goes from one sample to the next
    assert valleys == pytest.approx([25.0] * 3, abs=0.3)
    assert [one.top_n / KGF for one in found.cycles[:-1]] == pytest.approx([300.0] * 4, abs=0.3)


@pytest.mark.parametrize("text", ["", "break", "10 x 300..20 kgf", "ten times", "then break, 2 x 0..1 kN"])
def test_what_is_no_protocol_is_refused(text: str) -> None:
    """With the form that is understood."""
    with pytest.raises(UsageError, match=r"10 x 20\.\.300 kgf|lower to a higher"):
        read_protocol(text)


def test_a_protocol_in_kg_is_offered_kgf() -> None:
    """A load is a force."""
    with pytest.raises(UnitError, match="kgf"):
        read_protocol("10 x 20..300 kg, then break")


@pytest.mark.parametrize("low_kgf", [0.0, 20.0, 100.0])
@pytest.mark.parametrize("said", [{"one_specimen": True}, {"protocol": "10 x 20..300 kgf, then break"}])
def test_every_loading_is_a_row_and_the_last_is_read(low_kgf: float, said: dict[str, object]) -> None:
    """Ten cycles and the break: tops, valleys and rates as they were made; the break's peak and its own first peak."""
    curve = replace(rope(low_kgf), **said)  # type: ignore[arg-type]

    summary = summarize(curve)

    assert split_pulls(curve) == (curve,)
    assert summary.peak.low_n <= 1510.0 * KGF <= (summary.peak.high_n or 0.0)
    assert summary.failure.manner == "brittle"
    assert summary.first_peak is not None
    assert not summary.has_first_peak
    assert "preload" not in summary.flags
    assert len(summary.cycles) == 11
    assert [one.top_n / KGF for one in summary.cycles[:-1]] == pytest.approx([300.0] * 10, abs=0.6)
    assert [one.valley_n / KGF for one in summary.cycles[1:]] == pytest.approx([low_kgf] * 10, abs=0.6)
    assert [one.rate_n_per_s / KGF for one in summary.cycles] == pytest.approx([60.0] * 11, rel=0.03)


def test_the_loop_is_the_area_between_the_lines() -> None:
    """2 mm between a line up and a line down over 280 kgf: 2 mm x 280 kgf = 5.49 J, by geometry."""
    summary = summarize(replace(rope(), one_specimen=True))

    loops = [one.hysteresis_j for one in summary.cycles]
    assert loops[1:-1] == pytest.approx([0.002 * 280.0 * KGF] * 9, rel=0.02)
    assert loops[-1] is None


def test_small_bedding_in_needs_the_protocol() -> None:
    """Cycles of 40 kgf before a break at 1510 kgf are ripple to the eye, and cycles to who says so."""
    curve = rope(20.0, 60.0, 5)

    assert summarize(replace(curve, one_specimen=True)).cycles == ()
    assert len(summarize(replace(curve, protocol="5 x 20..60 kgf, then break")).cycles) == 6
