"""Whole pulls as lists of phases, from a handful of numbers each. Forces in newtons.

Every recipe begins with quiet time (a few handling knocks), a slack line and its take-up, and ends with the
load taken off and quiet time again.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from breakyard.simulate import drives, phases, releases
from breakyard.simulate.phases import Phase
from breakyard.simulate.weights import Weights


@dataclass(frozen=True, slots=True)
class Rig:
    """How the pull is made: everything but the specimen."""

    quiet_s: float = 8.0
    bumps: int = 2
    bump_n: float = 10.0
    slack_s: float = 2.0
    line_n: float = 15.0
    """Weight of the slack line on the cell."""
    take_up_s: float = 0.5
    """At most; a quick ramp takes the line up sooner."""
    ring: float = 0.1
    """Recoil ringing after a break, as a share of the load that broke."""
    ring_hz: float = 15.0
    ring_decay_s: float = 0.15
    fall_s: float = 0.0008
    """How long a brittle fall takes."""


def brittle(rig: Rig, *, peak_n: float, rate_n_per_s: float, residual_n: float = 0.0) -> list[Phase]:
    """A steady ramp that ends at once."""
    return [
        *_begin(rig, peak_n, rate_n_per_s),
        phases.Ramp(rate_n_per_s, peak_n),
        *_let_go(rig, peak_n, residual_n),
    ]


def slow_fall(
    rig: Rig,
    *,
    peak_n: float,
    rate_n_per_s: float,
    round_s: float,
    last_rate: float,
    fall_s: float,
    shape: str,
    residual_n: float = 0.0,
) -> list[Phase]:
    """A ramp that may bend over, to `last_rate` times its rate within `round_s`, and then tears within `fall_s`."""
    if round_s <= 0.0:
        rise: list[Phase] = [phases.Ramp(rate_n_per_s, peak_n)]
    else:
        knee_n = peak_n - 0.5 * (1.0 + last_rate) * rate_n_per_s * round_s
        rise = [phases.Ramp(rate_n_per_s, knee_n), phases.Round(round_s, last_rate * rate_n_per_s)]
    return [
        *_begin(rig, peak_n, rate_n_per_s),
        *rise,
        *_let_go(rig, peak_n, residual_n, fall_s=fall_s, shape=shape),
    ]


def towed(
    rig: Rig, *, peak_n: float, rate_n_per_s: float, surge: float = 0.5, jerks_per_s: float = 0.3
) -> list[Phase]:
    """A jerky rise that ends at once."""
    return [
        *_begin(rig, peak_n, rate_n_per_s),
        phases.Towing(rate_n_per_s, peak_n, surge=surge, jerks_per_s=jerks_per_s),
        *_let_go(rig, peak_n, 0.0),
    ]


def ductile(
    rig: Rig,
    *,
    peak_n: float,
    rate_n_per_s: float,
    round_s: float,
    plateau_s: float = 0.0,
    soften_s: float = 1.0,
    soften_n: float,
    fall_s: float = 0.03,
) -> list[Phase]:
    """A ramp that bends over to a rounded peak, may stay there, gives, and tears within `fall_s`."""
    knee_n = peak_n - 0.5 * rate_n_per_s * round_s
    plateau = [phases.Hold(plateau_s)] if plateau_s > 0.0 else []
    return [
        *_begin(rig, knee_n, rate_n_per_s),
        phases.Ramp(rate_n_per_s, knee_n),
        phases.Round(round_s),
        *plateau,
        phases.Soften(soften_s, soften_n),
        *_let_go(rig, peak_n - soften_n, 0.0, manner="ductile", fall_s=fall_s),
    ]


def yielding(
    rig: Rig,
    *,
    yield_n: float,
    peak_n: float,
    rate_n_per_s: float,
    bend_s: float = 0.6,
    hardening: float = 0.3,
    round_s: float = 1.0,
    soften_s: float = 0.8,
    soften_n: float,
    fall_s: float = 0.02,
) -> list[Phase]:
    """As `ductile`, but it yields first: from `yield_n` on the load rises at `hardening` times the rate."""
    slow = hardening * rate_n_per_s
    before_n = yield_n - 0.5 * (rate_n_per_s + slow) * bend_s
    return [
        *_begin(rig, before_n, rate_n_per_s),
        phases.Ramp(rate_n_per_s, before_n),
        phases.Round(bend_s, slow),
        phases.Ramp(slow, peak_n - 0.5 * slow * round_s),
        phases.Round(round_s),
        phases.Soften(soften_s, soften_n),
        *_let_go(rig, peak_n - soften_n, 0.0, manner="ductile", fall_s=fall_s),
    ]


def progressive(
    rig: Rig,
    *,
    drops: tuple[tuple[float, float], ...],
    last_n: float,
    rate_n_per_s: float,
    residual_n: float = 0.0,
) -> list[Phase]:
    """Partial drops, each (at load, fall by), with reloading between them, and a last break at `last_n`."""
    steps: list[Phase] = []
    for at_n, fall_n in drops:
        steps += [phases.Ramp(rate_n_per_s, at_n), releases.Drop(fall_n)]
    return [
        *_begin(rig, drops[0][0], rate_n_per_s),
        *steps,
        phases.Ramp(rate_n_per_s, last_n),
        *_let_go(rig, last_n, residual_n, manner="progressive", fall_s=0.004),
    ]


def settling(
    rig: Rig,
    *,
    peak_n: float,
    settled_n: float,
    rate_n_per_s: float,
    ease_s: float = 1.0,
    hold_s: float = 5.0,
) -> list[Phase]:
    """It peaks, eases to a settled load, holds that, and then lets go."""
    return [
        *_begin(rig, peak_n, rate_n_per_s),
        phases.Ramp(rate_n_per_s, peak_n),
        releases.Settle(settled_n, ease_s, hold_s),
        *_let_go(rig, settled_n, 0.0),
    ]


def let_go(
    rig: Rig,
    *,
    peak_n: float,
    rate_n_per_s: float,
    hold_s: float = 2.0,
    unload_s: float = 5.0,
    shape: str = "smooth",
) -> list[Phase]:
    """Nothing breaks: the load is held (or not, with 0 s) and then let out."""
    return [
        *_begin(rig, peak_n, rate_n_per_s),
        phases.Ramp(rate_n_per_s, peak_n),
        *([phases.Hold(hold_s)] if hold_s > 0.0 else []),
        releases.Unload(unload_s, shape=shape),
        phases.Hold(rig.quiet_s),
    ]


def driven(rig: Rig, drive: Phase, *, peak_n: float, rate_n_per_s: float) -> list[Phase]:
    """A rise that the drive makes in its own way; it ends at once. Recoil is reckoned from `peak_n`."""
    return [*_begin(rig, peak_n, rate_n_per_s), drive, *_let_go(rig, peak_n, 0.0)]


def paused(
    rig: Rig, *, stops: Sequence[tuple[float, float, float]], peak_n: float, rate_n_per_s: float
) -> list[Phase]:
    """A rise with stops, each (at load, for seconds, relaxing by a share), that ends at once."""
    rise: list[Phase] = []
    for at_n, for_s, relaxing in stops:
        rise += [phases.Ramp(rate_n_per_s, at_n), drives.Pause(for_s, relaxing)]
    return [
        *_begin(rig, stops[0][0] if stops else peak_n, rate_n_per_s),
        *rise,
        phases.Ramp(rate_n_per_s, peak_n),
        *_let_go(rig, peak_n, 0.0),
    ]


def preloaded(
    rig: Rig, *, preload_n: float, for_s: float, relaxing: float, peak_n: float, rate_n_per_s: float
) -> list[Phase]:
    """The rig is set taut at a preload that is held (and relaxes) before the pull proper; it ends at once."""
    return [
        phases.Hold(2.0),
        phases.Slack(1.0, 0.2 * preload_n),
        phases.Ramp(0.8 * preload_n, preload_n),
        drives.Pause(for_s, relaxing),
        phases.Ramp(rate_n_per_s, peak_n),
        *_let_go(rig, peak_n, 0.0),
    ]


def cyclic(
    rig: Rig, *, tops: Sequence[float], lows: Sequence[float], rests_s: Sequence[float], rate_n_per_s: float
) -> list[Phase]:
    """One specimen loaded again and again: up to each top, down to the low after it, and the last top breaks it.

    Steps of rising load with unloading between them, as in EN 12512 (joints with fasteners under cyclic loading).
    """
    cycles: list[Phase] = []
    for top, low, rest in zip(tops[:-1], lows, rests_s, strict=True):
        cycles += [
            phases.Ramp(rate_n_per_s, top),
            releases.Unload((top - low) / rate_n_per_s, to_n=low),
            phases.Hold(rest),
        ]
    return [
        *_begin(rig, tops[0], rate_n_per_s),
        *cycles,
        phases.Ramp(rate_n_per_s, tops[-1]),
        *_let_go(rig, tops[-1], 0.0),
    ]


def snatch(rig: Rig, *, peak_n: float, duration_s: float, breaks: bool = False) -> list[Phase]:
    """Slack, then one shock of half a sine, then nothing."""
    quiet = phases.Hold(rig.quiet_s, bumps=rig.bumps, bump_n=rig.bump_n)
    slack = phases.Slack(rig.slack_s, rig.line_n, 0.05 * rig.line_n)
    shock = releases.Snatch(peak_n, duration_s, breaks)
    return [quiet, slack, shock, phases.Hold(0.5), releases.Unload(0.5), phases.Hold(rig.quiet_s)]


def hanging(
    weights: Weights, *, hold_s: float = 12.0, swing_rad: float = 0.05, knock: float = 0.1
) -> list[Phase]:
    """A calibration: each step of the weights hung and left to swing; the first step is the empty hook.

    `knock` is the size of handling knocks as a share of the largest load.
    """
    largest = max(weights.forces_n)
    steps: list[Phase] = []
    for kg, force in zip(weights.stated_kg, weights.forces_n, strict=True):
        steps.append(
            releases.Hang(
                force,
                take_s=2.0 if steps else 0.5,
                hold_s=hold_s,
                swing_rad=swing_rad,
                bumps=4 if steps else 0,
                bump_n=knock * largest,
                label=f"{kg:g} kg",
            )
        )
    return steps


def _begin(rig: Rig, first_n: float, rate_n_per_s: float) -> list[Phase]:
    """Quiet, slack, take-up; the take-up uses at most a fifth of the rise to `first_n`."""
    take_up_s = min(rig.take_up_s, 0.4 * (first_n - 1.1 * rig.line_n) / rate_n_per_s)
    return [
        phases.Hold(rig.quiet_s, bumps=rig.bumps, bump_n=rig.bump_n),
        phases.Slack(rig.slack_s, rig.line_n, 0.05 * rig.line_n),
        phases.TakeUp(take_up_s, rate_n_per_s),
    ]


def _let_go(
    rig: Rig,
    load_n: float,
    residual_n: float,
    *,
    manner: str = "brittle",
    fall_s: float | None = None,
    shape: str = "smooth",
) -> list[Phase]:
    """Break with recoil; what is left hanging is taken off."""
    fall = rig.fall_s if fall_s is None else fall_s
    broken = releases.Break(
        residual_n, manner, fall, rig.ring * load_n, rig.ring_hz, rig.ring_decay_s, shape=shape
    )
    after: list[Phase] = [releases.Unload(1.5)] if residual_n > 0.0 else []
    return [broken, *after, phases.Hold(rig.quiet_s)]
