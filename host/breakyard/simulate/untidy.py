"""Families of pulls as they come in a yard, and of recordings that other instruments made of them.

A pull is drawn first, then what is recorded of it: from when to when, by what, with which noise. Where a share is
drawn over decades, it is uniform in its logarithm. Bounds that name no source are common practice, no source.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Final

import numpy as np

from breakyard.simulate import drives, recipes
from breakyard.simulate.cell import Cell
from breakyard.simulate.converter import Converter, Tone
from breakyard.simulate.draws import (
    CAPACITY_N,
    KGF,
    Drawn,
    Recorded,
    Recorder,
    Rng,
    brittle,
    ductile,
    log_uniform,
    peak,
    rig,
)
from breakyard.simulate.pull import PullTruth
from breakyard.simulate.releases import FALL_SHAPES

OTHER_STANDARD: Final = 0.002
"""Relative standard uncertainty of the other instruments' gain: about that of class 0.5 to 1 of ISO 7500-1."""
MAINS_HZ: Final = (50.0, 60.0)
HARMONICS: Final[Mapping[int, float]] = MappingProxyType({3: 0.05, 5: 0.06, 7: 0.05})
"""Largest share of each in a public supply's voltage (EN 50160)."""


def _winched(rng: Rng) -> Drawn:
    """Strokes of a hand, 0.5 to 2 a second, that swing the load by about 1 to 5 % of the peak either way.

    A third of the specimens are damaged by the last hump and let go in the next stroke, below it.
    """
    peak_n, period = peak(rng), 1.0 / log_uniform(rng, 0.5, 2.0)
    haul = rng.uniform(0.4, 0.7)
    swing = log_uniform(rng, 0.01, 0.05) * peak_n
    rate = min(log_uniform(rng, 10.0, 100.0) * KGF, 1.6 * swing / ((1.0 - haul) * period))
    # Within a stroke the load leaves its mean rise by half of (what the pawl gives back + what the rise misses).
    back = max(0.1 * swing, 2.0 * swing - rate * (1.0 - haul) * period)
    drive = drives.Strokes(
        rate,
        peak_n,
        period_s=period,
        haul=haul,
        back_n=back,
        pawl_s=rng.uniform(0.02, 0.1),
        uneven=rng.uniform(0.03, 0.15),
        relaxing=rng.uniform(0.0, 0.1),
        relax_s=log_uniform(rng, 0.2, 2.0),
        weaker=rng.uniform(0.05, 0.8) * back / peak_n if rng.random() < 1 / 3 else 0.0,
    )
    return recipes.driven(rig(rng), drive, peak_n=peak_n, rate_n_per_s=rate), True


def _surging(rng: Rng) -> Drawn:
    """A vehicle that surges at 0.5 to 5 Hz by 1 to 5 % of the peak; a quarter break below the last hump."""
    peak_n, rate = peak(rng), log_uniform(rng, 10.0, 150.0) * KGF
    swing = log_uniform(rng, 0.01, 0.05)
    drive = drives.Surges(
        rate,
        peak_n,
        hz=log_uniform(rng, 0.5, 5.0),
        damping=log_uniform(rng, 0.01, 0.15),
        swing_n=swing * peak_n,
        changes_per_s=rng.uniform(0.3, 2.0),
        weaker=rng.uniform(0.05, 0.4) * swing if rng.random() < 0.25 else 0.0,
    )
    return recipes.driven(rig(rng), drive, peak_n=peak_n, rate_n_per_s=rate), True


def _long_after(low: float, high: float) -> Callable[[Rng], Drawn]:
    """A brittle ramp that is followed by more than ten seconds of nothing."""
    return brittle(low, high, quiet_s=13.0)


def _under_load(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """The recording begins 0.1 to 2 s after the load began to rise; half of them are another instrument's."""
    takes_up = next(event for event in reversed(truth.events) if event.kind == "onset")
    begins = takes_up.time_s + log_uniform(rng, 0.1, 2.0)
    begins = min(begins, takes_up.time_s + 0.8 * (truth.peak_time_s - takes_up.time_s))
    return replace(_either(rng, given), from_s=begins)


def _zero_after(rng: Rng) -> Drawn:
    """A jack pumped by hand, with stops of up to 6 s in which the load relaxes."""
    peak_n, rate = peak(rng), log_uniform(rng, 10.0, 100.0) * KGF
    levels = np.sort(rng.uniform(0.15, 0.95, int(rng.integers(1, 4)))) * peak_n
    stops, last = [], 0.0
    for level in levels:
        if level > 1.1 * last:
            stops.append((float(level), log_uniform(rng, 0.5, 6.0), rng.uniform(0.0, 0.05)))
            last = level
    quiet = rig(rng, quiet_s=rng.uniform(3.0, 13.0))
    return recipes.paused(quiet, stops=stops, peak_n=peak_n, rate_n_per_s=rate), True


def _triggered(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """The recording begins when the load passes 1 to 15 % of the peak; in part another instrument's."""
    over = truth.force_n >= rng.uniform(0.01, 0.15) * truth.peak_n
    return replace(_either(rng, given), from_s=float(truth.time_s[np.argmax(over)]))


def _preload(rng: Rng) -> Drawn:
    """Taut at 0.5 to 10 % of the peak for 3 to 20 s (ISO 6892-1, 10.2 allows 5 %) before the pull."""
    peak_n = peak(rng)
    return recipes.preloaded(
        rig(rng),
        preload_n=log_uniform(rng, 0.005, 0.1) * peak_n,
        for_s=rng.uniform(3.0, 20.0),
        relaxing=rng.uniform(0.0, 0.1),
        peak_n=peak_n,
        rate_n_per_s=log_uniform(rng, 20.0, 300.0) * KGF,
    ), True


def _from_preload(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """Recorded from the preload on. A logger is stopped later; half of the machines stop in the fall."""
    onsets = [event.time_s for event in truth.events if event.kind == "onset"]
    begins = onsets[-1] - rng.uniform(1.0, 2.5)
    recorder = replace(_either(rng, given), from_s=begins)
    if recorder.shows == "force" and rng.random() < 0.5:
        return replace(recorder, until_s=_falls_through(truth, rng.uniform(0.4, 0.6)) + 0.02)
    return recorder


def _zero_shift(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """A shock shifts the zero by 0.05 to 6 % of the capacity, at the break or when the line comes taut.

    Overload and shock shift the zero of strain-gauge cells for good; how far, no standard says.
    """
    assert truth.break_time_s is not None
    onsets = [event.time_s for event in truth.events if event.kind == "onset"]
    at = truth.break_time_s if rng.random() < 0.7 else onsets[-1]
    cell = replace(
        given.cell,
        zero_shift=float(rng.choice((-1.0, 1.0))) * log_uniform(rng, 0.0005, 0.06),
        shift_from_s=at,
        shift_until_s=at + 0.005,
    )
    return replace(given, cell=cell)


def _torn(rng: Rng) -> Drawn:
    """Half brittle with falls of 1 to 60 ms, half ductile."""
    if rng.random() < 0.5:
        return ductile(rng)
    peak_n = peak(rng)
    return recipes.slow_fall(
        rig(rng),
        peak_n=peak_n,
        rate_n_per_s=log_uniform(rng, 20.0, 500.0) * KGF,
        round_s=0.0,
        last_rate=1.0,
        fall_s=log_uniform(rng, 0.001, 0.06),
        shape=str(rng.choice(sorted(FALL_SHAPES))),
    ), True


def _early_end(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """It ends in the fall: one to four conversions after the load has fallen to 40 to 80 % of the peak.

    Testing machines stop so by themselves, at a set share of the peak. Half of the recordings are theirs.
    """
    recorder = _either(rng, given)
    through = _falls_through(truth, rng.uniform(0.4, 0.8))
    return replace(recorder, until_s=through + rng.uniform(1.0, 4.0) * recorder.converter.period_s)


def _store_full(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """The logger's store is full while the load still rises, at 30 to 98 % of the peak."""
    over = truth.force_n >= rng.uniform(0.3, 0.98) * truth.peak_n
    return replace(given, until_s=float(truth.time_s[np.argmax(over)]), ended="store full")


def _some_pull(rng: Rng) -> Drawn:
    """Brittle, slow or fast, or ductile."""
    return (brittle(20.0, 100.0), brittle(100.0, 1000.0), ductile)[int(rng.integers(3))](rng)


def _noisy(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """White noise of 0.1 to 1 % of the peak (standard deviation), at 1 kHz."""
    return _other(rng, given, 1000.0, log_uniform(rng, 0.001, 0.01) * truth.peak_n)


def _hum(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """Mains hum with odd harmonics, 0.05 to 1 % of the peak: at 200 to 1000/s seen as it is, at 80/s folded."""
    if rng.random() < 0.6:
        given = _other(rng, given, log_uniform(rng, 200.0, 1000.0), 2e-4 * truth.peak_n)
    # Supplies keep 50 Hz within 1 % nearly always (EN 50160).
    hz = float(rng.choice(MAINS_HZ)) * (1.0 + rng.uniform(-0.002, 0.002))
    size = log_uniform(rng, 0.0005, 0.01) * _mv_v(truth.peak_n, given.cell)
    shares = {1: 1.0} | {order: rng.uniform(0.0, most) for order, most in HARMONICS.items()}
    tones = tuple(
        Tone(order * hz, share * size, rng.uniform(0.0, 2.0 * math.pi)) for order, share in shares.items()
    )
    return replace(given, converter=replace(given.converter, tones=tones))


def _ten_per_second(rng: Rng, _truth: PullTruth, given: Recorder) -> Recorder:
    """The converter at its slow rate: 10/s nominal, off by as much as its oscillator is; 50 nV (data sheet)."""
    return replace(given, converter=replace(given.converter, rate_hz=rng.uniform(9.2, 11.8), noise_nv=50.0))


def _sharp_corners(rng: Rng) -> Drawn:
    """Let go without a break and without a hand's softness: a stop, or none, and off at full speed at once.

    It is off within 0.4 to 5 s: a valve opened, a brake released. Faster would look like a break to anyone.
    """
    return recipes.let_go(
        rig(rng),
        peak_n=peak(rng),
        rate_n_per_s=log_uniform(rng, 20.0, 200.0) * KGF,
        hold_s=rng.uniform(0.3, 5.0) if rng.random() < 0.5 else 0.0,
        unload_s=log_uniform(rng, 0.4, 5.0),
        shape="linear",
    ), True


def _reversed(rng: Rng, truth: PullTruth, given: Recorder) -> Recorder:
    """Another instrument, whose signal wires are swapped: pull is negative; hard recoil is positive."""
    return replace(_other(rng, given, log_uniform(rng, 20.0, 1000.0), 3e-4 * truth.peak_n), polarity=-1)


def _cyclic(rng: Rng) -> Drawn:
    """One specimen in 2 to 8 cycles of rising load, each let off to 0 to 10 % of it, the last to the break."""
    number, peak_n = int(rng.integers(2, 9)), peak(rng)
    rate = log_uniform(rng, 50.0, 300.0) * KGF
    tops = np.append(np.sort(rng.uniform(0.2, 0.97, number - 1)), 1.0) * peak_n
    lows = [max(0.0, rng.uniform(-0.05, 0.1)) * top for top in tops[:-1]]
    rests = [log_uniform(rng, 0.1, 4.0) for _ in lows]
    return recipes.cyclic(rig(rng), tops=tops.tolist(), lows=lows, rests_s=rests, rate_n_per_s=rate), True


def _either(rng: Rng, given: Recorder) -> Recorder:
    """Half our kind of logger, half another instrument at 50 to 1000/s."""
    if rng.random() < 0.5:
        return given
    return _other(rng, given, log_uniform(rng, 50.0, 1000.0), log_uniform(rng, 1e-4, 1e-3) * CAPACITY_N / 4)


def _other(rng: Rng, given: Recorder, rate_hz: float, noise_n: float) -> Recorder:
    """Another instrument: straight cell, zeroed; its converter averages over one period, or is a sinc of order 3."""
    cell = Cell(CAPACITY_N, 2.0, zero_mv_v=rng.uniform(-1e-4, 1e-4))
    converter = Converter(
        rate_hz=rate_hz, filter_order=int(rng.choice((1, 3))), phase=1.0 - rng.uniform(0.0, 1.0)
    )
    noise_nv = _mv_v(noise_n, cell) * converter.supply_v * 1e6
    return replace(given, cell=cell, converter=replace(converter, noise_nv=noise_nv), shows="force")


def _mv_v(load_n: float, cell: Cell) -> float:
    return load_n / cell.capacity_n * cell.rated_output_mv_v


def _falls_through(truth: PullTruth, share: float) -> float:
    """The instant, after the peak, at which the load falls through a share of the peak for the first time."""
    after = int(np.argmax(truth.force_n))
    below = after + int(np.argmax(truth.force_n[after:] < share * truth.peak_n))
    return float(truth.time_s[below])


UNTIDY: Final[Mapping[str, tuple[Callable[[Rng], Drawn], Recorded | None]]] = MappingProxyType(
    {
        "hand_winch": (_winched, None),
        "surging": (_surging, None),
        "under_load": (_long_after(20.0, 300.0), _under_load),
        "zero_after": (_zero_after, _triggered),
        "preload": (_preload, _from_preload),
        "zero_shift": (brittle(20.0, 500.0), _zero_shift),
        "early_end": (_torn, _early_end),
        "store_full": (brittle(20.0, 500.0), _store_full),
        "noisy": (_some_pull, _noisy),
        "hum": (_some_pull, _hum),
        "ten_per_second": (brittle(5.0, 100.0), _ten_per_second),
        "sharp_corners": (_sharp_corners, None),
        "reversed": (brittle(20.0, 500.0, ring=0.4), _reversed),
        "cyclic": (_cyclic, None),
    }
)
"""Name -> how the phases are drawn, and how they are recorded (None: by our kind of logger, whole)."""
