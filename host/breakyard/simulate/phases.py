"""The phases in which load comes on; those in which it goes off again are in `releases`.

Each is a frozen specification that can draw its own trace. It is handed the load and the loading rate at which the
phase before it ended, so phases join without a step. Traces are knots of a piecewise linear load: every 5 ms in
smooth parts, every 0.1 ms where something lets go, and always at the very instants (peak, start and end of a fall)
that the truth names.
"""

import math
from dataclasses import dataclass, field, replace
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
class Knots:
    """Knots after the start (times from the start, above zero), the rate at the end, and events."""

    time_s: Array
    load_n: Array
    rate_n_per_s: float = 0.0
    events: tuple[Event, ...] = field(default=())


class Phase(Protocol):
    """Anything that can draw a trace."""

    def trace(self, start: Start, rng: np.random.Generator) -> Knots: ...


def ticks(duration_s: float, step_s: float) -> Array:
    """Evenly spaced instants after 0 up to and including the duration."""
    if not duration_s > 0.0:
        raise UsageError(f"a phase of {duration_s:g} s: its duration must be above zero")
    number = max(1, math.ceil(duration_s / step_s - 1e-9))
    return np.linspace(0.0, duration_s, number + 1)[1:]


def ease(x: Array) -> Array:
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

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        if not self.bumps and not self.sway_n:
            return Knots(ticks(self.duration_s, self.duration_s), np.array([start.load_n]))
        t = ticks(self.duration_s, COARSE_S)
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
        return Knots(t, load, events=tuple(events))


@dataclass(frozen=True, slots=True)
class Slack:
    """The line is drawn in without load: its own weight comes onto the cell, swaying."""

    duration_s: float
    load_n: float
    sway_n: float = 0.0

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        t = ticks(self.duration_s, COARSE_S)
        rise = start.load_n + (self.load_n - start.load_n) * ease(
            np.minimum(1.0, t / (0.6 * self.duration_s))
        )
        sway = Hold(self.duration_s, sway_n=self.sway_n or 1e-9).trace(Start(), rng)
        return Knots(t, rise + sway.load_n, events=(Event("onset", 0.0, start.load_n),))


@dataclass(frozen=True, slots=True)
class TakeUp:
    """The line straightens: the loading rate rises evenly from zero to `rate_n_per_s`."""

    duration_s: float
    rate_n_per_s: float

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        t = ticks(self.duration_s, COARSE_S)
        load = start.load_n + 0.5 * self.rate_n_per_s * t * t / self.duration_s
        return Knots(t, load, self.rate_n_per_s, (Event("onset", 0.0, start.load_n),))


@dataclass(frozen=True, slots=True)
class Ramp:
    """A steady rise to `to_n`."""

    rate_n_per_s: float
    to_n: float

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        t = ticks(_time_to(self.to_n, start.load_n, self.rate_n_per_s), COARSE_S)
        load = start.load_n + (self.to_n - start.load_n) * (t / t[-1])
        return Knots(t, load, self.rate_n_per_s, (Event("onset", 0.0, start.load_n),))


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

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        span = 2.0 * _time_to(self.to_n, start.load_n, self.rate_n_per_s) + 4.0 * self.surge_s
        times, loads, events, begin, level = [], [], [Event("onset", 0.0, start.load_n)], 0.0, start.load_n
        while level < self.to_n:  # in stretches, since a random rate may need longer than its mean suggests
            t = ticks(span, COARSE_S)
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
        t, load = np.append(0.0, np.concatenate(times)), np.append(start.load_n, np.concatenate(loads))
        last = int(np.argmax(load >= self.to_n))
        rate_at_end = float((load[last] - load[last - 1]) / (t[last] - t[last - 1]))
        reached_s = t[last - 1] + (self.to_n - load[last - 1]) / rate_at_end
        # The knot before is dropped when it is nearly there: two knots must not fall together.
        keep = slice(0, last if reached_s - t[last - 1] > 1e-6 or last == 1 else last - 1)
        t, load = np.append(t[keep], reached_s), np.append(load[keep], self.to_n)
        known = [
            replace(event, load_n=float(np.interp(event.time_s, t, load)))
            for event in events
            if event.time_s < reached_s
        ]
        return Knots(t[1:], load[1:], rate_at_end, tuple(known))


@dataclass(frozen=True, slots=True)
class Round:
    """Yielding: the rate falls evenly from what it was to `to_rate_n_per_s`; the load rises by their mean
    times
    the duration."""

    duration_s: float
    to_rate_n_per_s: float = 0.0

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        t = ticks(self.duration_s, COARSE_S / 5)
        change = self.to_rate_n_per_s - start.rate_n_per_s
        load = start.load_n + start.rate_n_per_s * t + 0.5 * change * t * t / self.duration_s
        return Knots(t, load, self.to_rate_n_per_s)


@dataclass(frozen=True, slots=True)
class Soften:
    """The specimen gives: the load falls by `fall_n`, slowly at first."""

    duration_s: float
    fall_n: float

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        t = ticks(self.duration_s, COARSE_S / 5)
        load = start.load_n - self.fall_n * (t / self.duration_s) ** 2
        return Knots(t, load, -2.0 * self.fall_n / self.duration_s)


def _time_to(to_n: float, from_n: float, rate_n_per_s: float) -> float:
    if not (rate_n_per_s > 0.0 and to_n > from_n):
        raise UsageError(f"no rise from {from_n:g} N to {to_n:g} N at {rate_n_per_s:g} N/s")
    return (to_n - from_n) / rate_n_per_s
