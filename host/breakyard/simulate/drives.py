"""What pulls: a hand winch stroke by stroke, and a mass on a stretchy line that surges.

The line and what it pulls are springs, so hauled length and load are proportional; the specimen knows nothing of the
drive. Both end where the specimen lets go: at the first instant at which the load is `to_n`, or, with `weaker`, a
little below a hump that had reached `to_n` before, as a part does that was damaged by it (delayed fracture).
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from breakyard.errors import UsageError
from breakyard.simulate.phases import COARSE_S, Array, Event, Knots, Start, ease, ticks

_STROKE_KNOTS: Final = 24
_SOFT: Final = 3.0
"""A line that carries less than this many times the swing is partly slack and softer in proportion."""


@dataclass(frozen=True, slots=True)
class Strokes:
    """A ratchet winch or hoist worked by hand.

    In each stroke the handle hauls for `haul` of the period, then the pawl drops into the tooth behind, which gives
    back a fixed length of line, `back_n` of load, within `pawl_s`, and the load rests on the pawl. A hand keeps
    neither time nor reach: both vary by `uneven` (standard deviation, relative). Meanwhile a line of fibre relaxes as
    a standard linear solid (Zener 1948, "Elasticity and Anelasticity of Metals", chapter V): a share `relaxing` of
    the stiffness sits on a damper of time constant `relax_s`.
    """

    rate_n_per_s: float
    to_n: float
    period_s: float = 1.0
    haul: float = 0.55
    back_n: float = 0.0
    pawl_s: float = 0.03
    uneven: float = 0.1
    relaxing: float = 0.05
    relax_s: float = 0.7
    weaker: float = 0.0

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        knots, hauled, level, begin, tops = [0.0], [0.0], 0.0, 0.0, list[int]()
        enough = (self.to_n - start.load_n) * (1.3 + 2.0 * self.relaxing) + 3.0 * self.back_n
        while level < enough:
            period = self.period_s * max(0.3, 1.0 + self.uneven * rng.standard_normal())
            soft = min(1.0, (start.load_n + level) / (_SOFT * self.back_n)) if self.back_n else 1.0
            back = self.back_n * soft
            reach = self.rate_n_per_s * self.period_s * max(0.2, 1.0 + self.uneven * rng.standard_normal())
            up = ticks(self.haul * period, self.haul * period / _STROKE_KNOTS)
            down = ticks(min(self.pawl_s, 0.3 * (1.0 - self.haul) * period), self.pawl_s / 8)
            knots += [*(begin + up), *(begin + self.haul * period + down), begin + period]
            hauled += [*(level + (reach + back) * ease(up / up[-1]))]
            tops.append(len(hauled) - 1)
            hauled += [*(level + reach + back - back * ease(down / down[-1])), level + reach]
            begin, level = begin + period, level + reach
        t = np.unique(np.append(np.array(knots), ticks(begin, COARSE_S)))
        load = start.load_n + _zener(t, np.interp(t, knots, hauled), self.relaxing, self.relax_s)
        humps = np.searchsorted(t, np.array(knots)[tops])
        return _until(t, load, self.to_n, humps, start, self.weaker)


@dataclass(frozen=True, slots=True)
class Surges:
    """A vehicle in low gear on a line: a mass on a spring, hauled by an effort that rises and changes in steps.

    m x'' + c x' + k x = effort; the load is k x. Natural frequency `hz` (1.5 to 3 t on a line of 20 to 600 kN/m is
    0.4 to 3 Hz; the driveline's own first mode, "shunt" or "shuffle", lies at 1 to 10 Hz: Mashadi and Crolla,
    "Vehicle Powertrain Systems", 2012, chapter 6; that range from memory), damping ratio `damping`. Throttle, clutch
    and slipping tyres change the effort by steps, `changes_per_s` at random; their largest swing is `swing_n`.
    """

    rate_n_per_s: float
    to_n: float
    hz: float = 1.0
    damping: float = 0.05
    swing_n: float = 0.0
    changes_per_s: float = 1.0
    weaker: float = 0.0

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        if not (self.hz > 0.0 and 0.0 < self.damping < 1.0):
            raise UsageError("a surge needs a frequency above zero and a damping between zero and one")
        span = 1.5 * (self.to_n - start.load_n + 2.0 * self.swing_n) / self.rate_n_per_s + 3.0 / self.hz
        t = np.append(0.0, ticks(span, min(COARSE_S, 1.0 / (100.0 * self.hz))))
        effort_at = np.sort(rng.uniform(0.0, span, size=max(2, rng.poisson(self.changes_per_s * span))))
        # The effort goes up and down in turn about its rise, so it does not wander off.
        steps = rng.uniform(0.3, 1.0, effort_at.size) * np.resize((1.0, -1.0), effort_at.size)
        swing = np.zeros(t.size)
        for at, step in zip(effort_at, steps, strict=True):
            swing += step * step_response(t - at, self.hz, self.damping)
        mean = start.load_n + self.rate_n_per_s * t
        swing *= self.swing_n / max(float(np.abs(swing).max()), 1e-12)
        if self.swing_n:
            swing *= np.minimum(1.0, mean / (_SOFT * self.swing_n))
        load = mean + swing
        load[0] = start.load_n
        inner = np.flatnonzero((load[1:-1] > load[:-2]) & (load[1:-1] >= load[2:])) + 1
        return _until(t, load, self.to_n, inner, start, self.weaker)


@dataclass(frozen=True, slots=True)
class Pause:
    """The drive stands still under load, which relaxes by a share `relaxing`, at first quickly.

    Standard linear solid at constant stretch (Zener, as above): F = F0 (1 - r (1 - exp(-t / tau))).
    """

    duration_s: float
    relaxing: float = 0.02
    relax_s: float = 1.0

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        t = ticks(self.duration_s, COARSE_S)
        return Knots(t, start.load_n * (1.0 - self.relaxing * -np.expm1(-t / self.relax_s)))


def step_response(time_s: Array, hz: float, damping: float) -> Array:
    """Of a damped mass on a spring to a unit step of effort at time 0, shape (n,); 0 before it."""
    w = 2.0 * math.pi * hz
    root = math.sqrt(1.0 - damping**2)
    t = np.maximum(time_s, 0.0)
    turn = w * root * t
    return np.asarray(1.0 - np.exp(-damping * w * t) * (np.cos(turn) + damping / root * np.sin(turn)))


def _zener(t: Array, stretch: Array, relaxing: float, relax_s: float) -> Array:
    """Load of a standard linear solid whose stretch (in newtons of its quick stiffness) is linear between knots.

    Of the Maxwell arm, dm/dt = r du/dt - m / tau, solved exactly over each step.
    """
    step = np.diff(t)
    decay = np.exp(-step / relax_s)
    gain = relaxing * np.diff(stretch) / step * relax_s * (1.0 - decay)
    arm = np.zeros(t.size)
    for i in range(step.size):
        arm[i + 1] = arm[i] * decay[i] + gain[i]
    return np.asarray((1.0 - relaxing) * stretch + arm)


def _until(t: Array, load: Array, to_n: float, humps: np.ndarray, start: Start, weaker: float) -> Knots:
    """Cut a rise at `to_n`; with `weaker`, scale it so that a hump reaches `to_n` and cut on the way to the next.

    A rise without such a hump (none that the load falls back from by more than `weaker`) is cut at `to_n`.
    """
    onset = (Event("onset", 0.0, start.load_n),)
    for hump in humps if weaker > 0.0 else ():
        if load[hump] < 0.9 * to_n or load[hump] < load[: hump + 1].max():
            continue
        # The start is kept, so that phases join; what is hauled is scaled.
        scaled = start.load_n + (load - start.load_n) * (to_n - start.load_n) / (load[hump] - start.load_n)
        breaks_n = (1.0 - weaker) * to_n
        fallen = np.flatnonzero(scaled[hump:] < breaks_n)
        again = np.flatnonzero(scaled[hump + fallen[0] :] >= breaks_n) if fallen.size else fallen
        if again.size:
            return _cut(t, scaled, int(hump + fallen[0] + again[0]), breaks_n, onset)
    return _cut(t, load, int(np.argmax(load >= to_n)), to_n, onset)


def _cut(t: Array, load: Array, last: int, end_n: float, events: tuple[Event, ...]) -> Knots:
    """The knots before number `last`, and the instant before it at which the load is `end_n`."""
    rate = float((load[last] - load[last - 1]) / (t[last] - t[last - 1]))
    end_s = float(t[last - 1] + (end_n - load[last - 1]) / rate)
    # The knot before is dropped when it is nearly there: two knots must not fall together.
    kept = last if end_s - t[last - 1] > 1e-6 or last == 1 else last - 1
    return Knots(np.append(t[1:kept], end_s), np.append(load[1:kept], end_n), rate, events)
