"""The simulated converter against closed forms; none of the expected numbers comes from its own code."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, interpolate

from breakyard.errors import UsageError
from breakyard.simulate.converter import (
    RAIL_HIGH,
    RAIL_LOW,
    Converter,
    Faults,
    Glitch,
    convert,
    counts_per_mv_v,
    filter_pieces,
    filtered,
    from_counts,
)

ORDERS = (1, 2, 3, 4, 5)
PERIOD_S = 1 / 80


def _constant(mv_v: float, seconds: float = 10.0) -> tuple[list[float], list[float]]:
    return [0.0, seconds], [mv_v, mv_v]


@pytest.mark.parametrize("order", ORDERS)
def test_the_impulse_response_is_the_cardinal_b_spline(order: int) -> None:
    """Against scipy's B-spline on integer knots, in every period of its support."""
    spline = interpolate.BSpline.basis_element(np.arange(order + 1), extrapolate=False)
    u = np.linspace(0.02, 0.98, 25)
    for back, piece in enumerate(filter_pieces(order)):
        ours = np.polynomial.polynomial.polyval(u, piece)

        np.testing.assert_allclose(ours, spline(back + 1 - u), atol=1e-12)


@pytest.mark.parametrize("order", ORDERS)
def test_a_ramp_comes_out_late_by_half_the_filter(order: int) -> None:
    """A symmetric kernel of support `order` periods delays a ramp by order / 2 periods, exactly."""
    t = np.array([0.0, 3.0, 10.0])

    out = filtered(t, 250.0 * t, first_s=1.0, period_s=PERIOD_S, number=500, order=order)

    ready = 1.0 + PERIOD_S * np.arange(500)
    np.testing.assert_allclose(out, 250.0 * (ready - order / 2 * PERIOD_S), rtol=1e-12)


@pytest.mark.parametrize(
    ("order", "steps"),
    [(1, [1]), (2, [1 / 2, 1]), (3, [1 / 6, 5 / 6, 1]), (4, [1 / 24, 1 / 2, 23 / 24, 1])],
)
def test_a_step_has_settled_after_as_many_conversions_as_the_order(order: int, steps: list[float]) -> None:
    """Partial integrals of the cardinal B-splines: the Eulerian numbers over order! (known in closed form)."""
    t = [0.0, 1.0, 1.0 + 1e-10, 2.0]

    out = filtered(t, [0.0, 0.0, 1.0, 1.0], first_s=1.0, period_s=PERIOD_S, number=order + 4, order=order)

    np.testing.assert_allclose(out, [0.0, *steps, 1.0, 1.0, 1.0], atol=1e-7)


def _gain_at(order: int, relative_hz: float) -> float:
    """Amplitude of the output for a sine of amplitude one at a multiple of the conversion rate."""
    t = np.linspace(0.0, 60.0, 600_001)
    wave = 2 * np.pi * relative_hz
    out = filtered(t, np.sin(wave * t), first_s=10.0, period_s=1.0, number=40, order=order)
    ready = 10.0 + np.arange(40)
    basis = np.column_stack([np.sin(wave * ready), np.cos(wave * ready)])
    return float(np.hypot(*np.linalg.lstsq(basis, out, rcond=None)[0]))


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize("relative_hz", [0.05, 0.17, 0.31, 0.45])
def test_a_sine_is_attenuated_as_the_power_of_a_sinc(order: int, relative_hz: float) -> None:
    """Frequency response of N cascaded averages: (sin(pi f T) / (pi f T))**N (Hogenauer 1981, continuous limit)."""
    assert _gain_at(order, relative_hz) == pytest.approx(np.sinc(relative_hz) ** order, abs=1e-6)


@pytest.mark.parametrize(("order", "relative_hz"), [(1, 0.443), (2, 0.319), (3, 0.262), (4, 0.228)])
def test_the_half_power_points_are_the_textbook_ones(order: int, relative_hz: float) -> None:
    """-3 dB of sinc**N at 0.443, 0.319, 0.262, 0.228 of the rate; three digits, so within a unit of the last."""
    half = np.sqrt(0.5)

    assert _gain_at(order, relative_hz - 0.001) > half > _gain_at(order, relative_hz + 0.001)


@given(
    order=st.sampled_from(ORDERS),
    knots=st.lists(
        st.tuples(st.floats(0.001, 3.0), st.floats(-1e4, 1e4)),
        min_size=2,
        max_size=8,
        unique_by=lambda k: k[0],
    ),
    phase=st.floats(0.0, 1.0),
)
@settings(max_examples=40)
def test_the_convolution_equals_quadrature(
    order: int, knots: list[tuple[float, float]], phase: float
) -> None:
    """Brute force: scipy's quadrature of scipy's B-spline times the input, cut at every knot."""
    t = np.cumsum([gap for gap, _ in knots])
    level = np.array([value for _, value in knots])
    spline = interpolate.BSpline.basis_element(np.arange(order + 1), extrapolate=False)
    number = 4

    out = filtered(t, level, first_s=float(t[0]) + phase, period_s=1.0, number=number, order=order)

    for k in range(number):
        ready = t[0] + phase + k

        def integrand(s: np.ndarray, ready: float = ready) -> np.ndarray:
            return np.nan_to_num(spline(ready - s)) * np.interp(s, t, level)

        cuts = np.unique(np.clip(np.concatenate([t, ready - np.arange(order + 1)]), ready - order, ready))
        expected = sum(integrate.fixed_quad(integrand, a, b, n=6)[0] for a, b in pairwise(cuts))
        assert out[k] == pytest.approx(expected, rel=1e-9, abs=1e-7)


def test_neither_a_long_recording_nor_a_large_offset_costs_digits() -> None:
    """A constant comes out as itself after an hour, to the last few bits."""
    out = filtered([0.0, 4000.0], [8e6, 8e6], first_s=3600.0, period_s=1 / 91.7, number=2000, order=4)

    np.testing.assert_allclose(out, 8e6, rtol=1e-10)


@pytest.mark.parametrize(("gain", "limit_mv_v"), [(128, 3.90625), (64, 7.8125), (32, 15.625)])
def test_the_rails_lie_where_the_data_sheet_puts_them(gain: int, limit_mv_v: float) -> None:
    """Full scale +-0.5 AVDD / gain, ratiometric: 2**23 counts at 3.906, 7.8125, 15.625 mV/V."""
    assert counts_per_mv_v(gain) * limit_mv_v == 2**23


def test_counts_of_one_millivolt_per_volt() -> None:
    """gain x 2**24 / 1000 at gain 128 (derived from the data sheet): 2 147 483.648; 2 mV/V gives 4 294 967.296."""
    assert counts_per_mv_v(128) == 2147483.648
    quiet = convert(*_constant(2.0), Converter(noise_nv=0.0), seed=1)

    assert set(quiet.counts.tolist()) == {4294967}
    assert quiet.clean_counts[0] == pytest.approx(4294967.296, rel=1e-12)


@pytest.mark.parametrize(("noise_nv", "counts"), [(50.0, 21.5), (90.0, 38.7)])
def test_noise_has_the_size_of_the_data_sheet(noise_nv: float, counts: float) -> None:
    """50 and 90 nV rms at gain 128 and 5 V are 21.5 and 38.7 counts (LSB 2.3283 nV).

    The drawn noise lies within four standard errors, 4 / sqrt(2 n), of it.
    """
    converter = Converter(noise_nv=noise_nv)
    drawn = convert(*_constant(1.0, 250.0), converter, seed=5)
    deviation = drawn.counts - drawn.clean_counts

    assert converter.noise_counts == pytest.approx(counts, abs=0.06)
    assert deviation.std() == pytest.approx(counts, rel=4 / np.sqrt(2 * deviation.size) + 0.002)
    assert abs(deviation.mean()) < 4 * counts / np.sqrt(deviation.size)


@pytest.mark.parametrize(("mv_v", "rail"), [(4.2, RAIL_HIGH), (-4.2, RAIL_LOW)])
def test_beyond_the_range_the_output_stays_on_the_rail(mv_v: float, rail: int) -> None:
    """Data sheet: saturates at 7FFFFFh or 800000h until the input returns."""
    out = convert([0.0, 1.0, 2.0, 3.0], [0.0, mv_v, mv_v, 0.0], Converter(), seed=2)

    assert rail in out.counts
    assert set(out.counts[out.clipped].tolist()) == {rail}
    assert not out.clipped[-1]
    assert np.all(np.abs(out.clean_counts[out.clipped]) > 2**23 - 200)


@given(fraction=st.floats(0.0, 0.4), seed=st.integers(0, 1000))
@settings(max_examples=25)
def test_missed_conversions_leave_holes_and_change_nothing_else(fraction: float, seed: int) -> None:
    ramp = ([0.0, 5.0], [0.0, 2.0])
    whole = convert(*ramp, Converter(), seed=seed)
    holed = convert(*ramp, Converter(), seed=seed, faults=Faults(missed_fraction=fraction, missed=(7, 8)))

    assert not {7, 8} & set(holed.number.tolist())
    assert sorted([*holed.missed, *holed.number.tolist()]) == list(range(whole.counts.size))
    np.testing.assert_array_equal(holed.counts, whole.counts[holed.number])
    np.testing.assert_array_equal(holed.time_s, whole.time_s[holed.number])


def test_the_fraction_missed_is_the_one_asked_for() -> None:
    """Within four binomial standard deviations."""
    out = convert(*_constant(0.0, 100.0), Converter(), seed=3, faults=Faults(missed_fraction=0.05))
    total = out.counts.size + len(out.missed)

    assert len(out.missed) == pytest.approx(0.05 * total, abs=4 * np.sqrt(total * 0.05 * 0.95))


def test_a_glitch_touches_one_sample() -> None:
    clean = convert(*_constant(1.0), Converter(), seed=4)
    faults = Faults(glitches=(Glitch(5.0, add=70_000), Glitch(6.0, value=-1)))
    spoilt = convert(*_constant(1.0), Converter(), seed=4, faults=faults)
    changed = np.flatnonzero(clean.counts != spoilt.counts)

    assert tuple(changed.tolist()) == spoilt.glitches
    assert spoilt.counts[changed[0]] - clean.counts[changed[0]] == 70_000
    assert spoilt.counts[changed[1]] == -1
    np.testing.assert_allclose(spoilt.time_s[changed], [5.0, 6.0], atol=PERIOD_S / 2 + 1e-9)


def test_times_follow_the_converters_own_clock() -> None:
    """10.67 ms a conversion (93.7/s in a field report), from the phase on, none after the end of the input."""
    out = convert(*_constant(0.0, 2.0), Converter(rate_hz=93.7, phase=0.25), seed=1)

    assert out.time_s[0] == pytest.approx(0.25 / 93.7)
    np.testing.assert_allclose(np.diff(out.time_s), 0.01067, atol=5e-6)
    assert 2.0 - 1 / 93.7 < out.time_s[-1] <= 2.0


def test_the_same_seed_gives_the_same_bytes_and_another_does_not() -> None:
    once, again, other = (convert(*_constant(1.0), Converter(), seed=seed) for seed in (9, 9, 10))

    assert once.counts.tobytes() == again.counts.tobytes()
    assert once.counts.tobytes() != other.counts.tobytes()


def test_results_are_read_only() -> None:
    out = from_counts([0.0, 0.1], [1, 2])

    with pytest.raises(ValueError, match="read-only"):
        out.counts[0] = 5


@pytest.mark.parametrize(
    "given_wrong",
    [{"gain": 100}, {"filter_order": 0}, {"rate_hz": 0.0}, {"rate_hz": float("nan")}, {"phase": 0.0}],
)
def test_a_converter_that_cannot_exist_is_refused(given_wrong: dict[str, float]) -> None:
    with pytest.raises(UsageError):
        Converter(**given_wrong)


def test_an_input_that_cannot_be_converted_is_refused() -> None:
    with pytest.raises(UsageError, match="rising"):
        convert([0.0, 1.0, 1.0], [0.0, 1.0, 2.0], Converter(), seed=1)
    with pytest.raises(UsageError, match="shorter"):
        convert([0.0, 0.001], [0.0, 1.0], Converter(), seed=1)
    with pytest.raises(UsageError, match="missed_fraction"):
        Faults(missed_fraction=1.0)
