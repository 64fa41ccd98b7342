"""The phases a pull is made of. Each is a frozen specification that can draw its own trace.

A phase is handed the load and the loading rate at which the one before it ended, so phases join without a
step. Traces are knots of a piecewise linear load: every 5 ms in smooth parts, every 0.1 ms where something
lets go, and always at the very instants (peak, start and end of a fall) that the truth names.
"""

import math
from dataclasses import dataclass, field
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import UsageError

COARSE_S: Final = 0.005
FINE_S: Final = 0.0001

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened. Kinds: onset, jerk, drop, settled, break, unload, hold, bump."""

    kind: str
    time_s: float
    load_n: float
    to_n: float | None = None
    """Where a drop or a break fell to."""
    end_s: float | None = None
    manner: str = ""
    """Of a break: brittle, ductile or progressive."""
    label: str = ""


@dataclass(frozen=True, slots=True)
class Start:
    """Where a phase begins."""

    load_n: float = 0.0
    rate_n_per_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Trace:
    """Knots after the start (times from the start, above zero), the rate at the end, and events."""

    time_s: Array
    load_n: Array
    rate_n_per_s: float = 0.0
    events: tuple[Event, ...] = field(default=())


class Phase(Protocol):
    """Anything that can draw a trace."""

    def trace(self, start: Start, rng: np.random.Generator) -> Trace: ...


def _ticks(duration_s: float, step_s: float) -> Array:
    """Evenly spaced instants after 0 up to and including the duration."""
    if not duration_s > 0.0:
        raise UsageError(f"a phase of {duration_s:g} s: its duration must be above zero")
    number = max(1, math.ceil(duration_s / step_s - 1e-9))
    return np.linspace(0.0, duration_s, number + 1)[1:]


def _ease(x: Array) -> Array:
    """From 0 to 1 with level ends (half a cosine)."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * x))


@dataclass(frozen=True, slots=True)
class Hold:
    """The load stays where it is. With nothing on the line yet: quiet time.

    `bumps` handling knocks of up to `bump_n` either way, 30 to 200 ms each, at random times; `sway_n` is the
    standard deviation of a slow sway (wind, a slack line), 0.3 to 1.5 Hz.
    """

    duration_s: float
    bumps: int = 0
    bump_n: float = 0.0
    sway_n: float = 0.0

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        if not self.bumps and not self.sway_n:
            return Trace(np.array([self.duration_s]), np.array([start.load_n]))
        t = _ticks(self.duration_s, COARSE_S)
        load = np.full(t.size, start.load_n)
        # Fades at both ends so that it joins its neighbours without a step.
        fade = np.minimum(1.0, np.minimum(t, self.duration_s - t) / min(0.5, self.duration_s / 4))
        for _ in range(4):
            hz, turn = rng.uniform(0.3, 1.5), rng.uniform(0.0, 2 * math.pi)
            load = load + self.sway_n * math.sqrt(0.5) * fade * np.sin(2 * math.pi * hz * t + turn)
        events = []
        for _ in range(self.bumps):
            lasts = min(rng.uniform(0.03, 0.2), self.duration_s / 2)
            at = rng.uniform(0.0, self.duration_s - lasts)
            size = self.bump_n * rng.uniform(0.3, 1.0) * rng.choice((-1.0, 1.0))
            inside = (t > at) & (t < at + lasts)
            load[inside] += size * np.sin(np.pi * (t[inside] - at) / lasts)
            events.append(Event("bump", at, start.load_n + size, end_s=at + lasts))
        return Trace(t, load, events=tuple(events))


@dataclass(frozen=True, slots=True)
class Slack:
    """The line is drawn in without load: its own weight comes onto the cell, swaying."""

    duration_s: float
    load_n: float
    sway_n: float = 0.0

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        t = _ticks(self.duration_s, COARSE_S)
        rise = start.load_n + (self.load_n - start.load_n) * _ease(
            np.minimum(1.0, t / (0.6 * self.duration_s))
        )
        sway = Hold(self.duration_s, sway_n=self.sway_n or 1e-9).trace(Start(), rng)
        return Trace(t, rise + sway.load_n, events=(Event("onset", 0.0, start.load_n),))


@dataclass(frozen=True, slots=True)
class TakeUp:
    """The line straightens: the loading rate rises evenly from zero to `rate_n_per_s`."""

    duration_s: float
    rate_n_per_s: float

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        t = _ticks(self.duration_s, COARSE_S)
        load = start.load_n + 0.5 * self.rate_n_per_s * t * t / self.duration_s
        return Trace(t, load, self.rate_n_per_s, (Event("onset", 0.0, start.load_n),))


@dataclass(frozen=True, slots=True)
class Ramp:
    """A steady rise to `to_n`."""

    rate_n_per_s: float
    to_n: float

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        t = _ticks(_time_to(self.to_n, start.load_n, self.rate_n_per_s), COARSE_S)
        load = start.load_n + (self.to_n - start.load_n) * (t / t[-1])
        return Trace(t, load, self.rate_n_per_s, (Event("onset", 0.0, start.load_n),))


@dataclass(frozen=True, slots=True)
class Towing:
    """A jerky rise to `to_n`: the rate surges at random and jerks now and then.

    `surge` is the standard deviation of the logarithm of the rate, which changes within about `surge_s`. A
    jerk multiplies the rate by `jerk_times` for `jerk_s`; then the line gives back a quarter of what the jerk
    took. The rise ends at the first instant at which the load is `to_n`.
    """

    rate_n_per_s: float
    to_n: float
    surge: float = 0.5
    surge_s: float = 0.6
    jerks_per_s: float = 0.3
    jerk_times: float = 4.0
    jerk_s: float = 0.15

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        span = 2.0 * _time_to(self.to_n, start.load_n, self.rate_n_per_s) + 4.0 * self.surge_s
        times, loads, events, begin, level = [], [], [Event("onset", 0.0, start.load_n)], 0.0, start.load_n
        while level < self.to_n:  # in stretches, since a random rate may need longer than its mean suggests
            t = _ticks(span, COARSE_S)
            points = np.arange(0.0, span + 2 * self.surge_s, self.surge_s)
            wander = np.interp(t, points, rng.standard_normal(points.size))
            rate = self.rate_n_per_s * np.exp(self.surge * wander - 0.5 * self.surge**2)
            for at in np.sort(rng.uniform(0.0, span, size=rng.poisson(self.jerks_per_s * span))):
                pulse = np.where(
                    (t > at) & (t < at + self.jerk_s), np.sin(np.pi * (t - at) / self.jerk_s), 0.0
                )
                back = at + self.jerk_s
                slacken = np.where(
                    (t > back) & (t < back + self.jerk_s), np.sin(np.pi * (t - back) / self.jerk_s), 0.0
                )
                rate = rate + self.rate_n_per_s * (self.jerk_times - 1.0) * (pulse - 0.25 * slacken)
                events.append(Event("jerk", begin + float(at), float("nan"), end_s=begin + float(back)))
            load = level + np.cumsum(rate * np.diff(t, prepend=0.0))
            times.append(begin + t)
            loads.append(load)
            begin, level = begin + span, float(np.maximum(level, load.max()))
        t, load = np.concatenate(times), np.concatenate(loads)
        last = int(np.argmax(load >= self.to_n))
        before_s, before_n = (0.0, start.load_n) if last == 0 else (t[last - 1], load[last - 1])
        rate_at_end = float((load[last] - before_n) / (t[last] - before_s))
        t, load = t[: last + 1].copy(), load[: last + 1].copy()
        t[last] = before_s + max((self.to_n - before_n) / rate_at_end, 1e-9)
        load[last] = self.to_n
        known = [
            Event(e.kind, e.time_s, float(np.interp(e.time_s, t, load)), end_s=e.end_s)
            for e in events
            if e.time_s < t[last]
        ]
        return Trace(t, load, rate_at_end, tuple(known))


@dataclass(frozen=True, slots=True)
class Round:
    """Yielding: the rate falls evenly from what it was to `to_rate_n_per_s`; the load rises by their mean
    times
    the duration."""

    duration_s: float
    to_rate_n_per_s: float = 0.0

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        t = _ticks(self.duration_s, COARSE_S / 5)
        change = self.to_rate_n_per_s - start.rate_n_per_s
        load = start.load_n + start.rate_n_per_s * t + 0.5 * change * t * t / self.duration_s
        return Trace(t, load, self.to_rate_n_per_s)


@dataclass(frozen=True, slots=True)
class Soften:
    """The specimen gives: the load falls by `fall_n`, slowly at first."""

    duration_s: float
    fall_n: float

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        t = _ticks(self.duration_s, COARSE_S / 5)
        load = start.load_n - self.fall_n * (t / self.duration_s) ** 2
        return Trace(t, load, -2.0 * self.fall_n / self.duration_s)


@dataclass(frozen=True, slots=True)
class Drop:
    """A partial drop: something lets go, the rest still holds."""

    fall_n: float
    fall_s: float = 0.004

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        t = _ticks(self.fall_s, min(FINE_S, self.fall_s / 20))
        load = start.load_n - self.fall_n * _ease(t / self.fall_s)
        fell = Event("drop", 0.0, start.load_n, to_n=start.load_n - self.fall_n, end_s=self.fall_s)
        return Trace(t, load, 0.0, (fell,))


@dataclass(frozen=True, slots=True)
class Settle:
    """After the peak the load eases to `load_n` within `ease_s` and is held there for `hold_s`."""

    load_n: float
    ease_s: float
    hold_s: float

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        ease = _ticks(self.ease_s, COARSE_S)
        load = start.load_n + (self.load_n - start.load_n) * _ease(ease / self.ease_s)
        end = self.ease_s + self.hold_s
        held = Event("settled", self.ease_s, self.load_n, end_s=end)
        return Trace(np.append(ease, end), np.append(load, self.load_n), 0.0, (held,))


@dataclass(frozen=True, slots=True)
class Break:
    """The specimen lets go: the load falls to `residual_n` within `fall_s`, then the line rings.

    The ring starts downwards (recoil), is damped with time constant `ring_decay_s`, may swing below zero and
    is over after `ring_s`.
    """

    residual_n: float = 0.0
    manner: str = "brittle"
    fall_s: float = 0.0008
    ring_n: float = 0.0
    ring_hz: float = 15.0
    ring_decay_s: float = 0.15
    ring_s: float = 1.5

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        if self.residual_n >= start.load_n:
            raise UsageError("a break must fall: its residual lies at or above the load before it")
        fall = _ticks(self.fall_s, min(FINE_S, self.fall_s / 20))
        load = start.load_n + (self.residual_n - start.load_n) * _ease(fall / self.fall_s)
        broke = Event(
            "break", 0.0, start.load_n, to_n=self.residual_n, end_s=float(self.fall_s), manner=self.manner
        )
        if self.ring_n <= 0.0:
            return Trace(fall, load, 0.0, (broke,))
        ring = _ticks(self.ring_s, min(COARSE_S, 1.0 / (200.0 * self.ring_hz)))
        fade = np.exp(-ring / self.ring_decay_s) * (1.0 - (ring / self.ring_s) ** 4)
        swing = self.residual_n - self.ring_n * fade * np.sin(2 * math.pi * self.ring_hz * ring)
        return Trace(np.append(fall, self.fall_s + ring), np.append(load, swing), 0.0, (broke,))


@dataclass(frozen=True, slots=True)
class Unload:
    """The operator lets the line out slowly; nothing breaks."""

    duration_s: float
    to_n: float = 0.0

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        t = _ticks(self.duration_s, COARSE_S)
        load = start.load_n + (self.to_n - start.load_n) * _ease(t / self.duration_s)
        return Trace(
            t, load, 0.0, (Event("unload", 0.0, start.load_n, to_n=self.to_n, end_s=self.duration_s),)
        )


@dataclass(frozen=True, slots=True)
class Snatch:
    """A shock: half a sine of the given duration, up to `peak_n` and back.

    With `breaks` the specimen lets go at the top and only the relaxing line makes the second half.
    """

    peak_n: float
    duration_s: float
    breaks: bool = False

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        number = 2 * max(100, math.ceil(self.duration_s / (2 * FINE_S)))  # even: the peak is a knot
        t = np.linspace(0.0, self.duration_s, number + 1)[1:]
        load = start.load_n + (self.peak_n - start.load_n) * np.sin(np.pi * t / self.duration_s)
        load[-1] = start.load_n
        top = self.duration_s / 2
        events = [Event("onset", 0.0, start.load_n)]
        if self.breaks:
            events.append(
                Event("break", top, self.peak_n, to_n=start.load_n, end_s=self.duration_s, manner="brittle")
            )
        return Trace(t, load, 0.0, tuple(events))


@dataclass(frozen=True, slots=True)
class Hang:
    """One step of a calibration: from the load that hangs to `to_n` within `take_s`, then left alone.

    While it hangs the mass swings as a pendulum of amplitude `swing_rad`: a line of load m g carries m g (1 +
    q/4 - 3q/4 cos 2wt), q the square of the amplitude (small-angle energy balance), so the mean is a little
    high until the swing has died. It bounces too, on the spring that line and cell are. Both grow within 0.3
    s and decay. Handling knocks of up to `bump_n` come while the mass is being hung.
    """

    to_n: float
    take_s: float = 2.0
    hold_s: float = 12.0
    swing_rad: float = 0.05
    swing_hz: float = 0.5
    swing_decay_s: float = 4.0
    bounce: float = 0.01
    bounce_hz: float = 6.0
    bounce_decay_s: float = 0.6
    bumps: int = 3
    bump_n: float = 0.0
    label: str = ""

    def trace(self, start: Start, rng: np.random.Generator) -> Trace:
        take = _ticks(self.take_s, COARSE_S)
        knocks = Hold(self.take_s, bumps=self.bumps, bump_n=self.bump_n).trace(Start(), rng)
        moved = start.load_n + (self.to_n - start.load_n) * _ease(take / self.take_s)
        if self.bumps:
            moved = moved + knocks.load_n
            moved[-1] = self.to_n
        t = _ticks(self.hold_s, COARSE_S)
        q = (self.swing_rad * np.exp(-t / self.swing_decay_s)) ** 2
        turn, bounce_turn = rng.uniform(0.0, 2 * math.pi, size=2)
        swing = 0.25 * q * (1.0 - 3.0 * np.cos(4 * math.pi * self.swing_hz * t + turn))
        bounce = (
            self.bounce
            * np.exp(-t / self.bounce_decay_s)
            * np.sin(2 * math.pi * self.bounce_hz * t + bounce_turn)
        )
        held = self.to_n * (1.0 + (1.0 - np.exp(-t / 0.3)) * (swing + bounce))
        events = (
            *knocks.events,
            Event("hold", self.take_s, self.to_n, end_s=self.take_s + self.hold_s, label=self.label),
        )
        return Trace(np.append(take, self.take_s + t), np.append(moved, held), 0.0, events)


def _time_to(to_n: float, from_n: float, rate_n_per_s: float) -> float:
    if not (rate_n_per_s > 0.0 and to_n > from_n):
        raise UsageError(f"no rise from {from_n:g} N to {to_n:g} N at {rate_n_per_s:g} N/s")
    return (to_n - from_n) / rate_n_per_s
