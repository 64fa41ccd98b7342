"""The phases in which load goes off again: drops, breaks, letting out, a shock; and the steps of a calibration."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np

from breakyard.errors import UsageError
from breakyard.simulate.phases import COARSE_S, FINE_S, Array, Event, Hold, Knots, Start, ease, ticks

FALL_SHAPES: Final[Mapping[str, Callable[[Array], Array]]] = MappingProxyType(
    {"smooth": ease, "linear": np.asarray, "accelerating": np.square}
)
"""How a load goes from all (0) to nothing (1) while it falls: half a cosine, evenly, or faster and faster."""


@dataclass(frozen=True, slots=True)
class Drop:
    """A partial drop: something lets go, the rest still holds."""

    fall_n: float
    fall_s: float = 0.004

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        t = ticks(self.fall_s, min(FINE_S, self.fall_s / 20))
        load = start.load_n - self.fall_n * ease(t / self.fall_s)
        fell = Event("drop", 0.0, start.load_n, to_n=start.load_n - self.fall_n, end_s=self.fall_s)
        return Knots(t, load, 0.0, (fell,))


@dataclass(frozen=True, slots=True)
class Settle:
    """After the peak the load eases to `load_n` within `ease_s` and is held there for `hold_s`."""

    load_n: float
    ease_s: float
    hold_s: float

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        t = ticks(self.ease_s, COARSE_S)
        load = start.load_n + (self.load_n - start.load_n) * ease(t / self.ease_s)
        end = self.ease_s + self.hold_s
        held = Event("settled", self.ease_s, self.load_n, end_s=end)
        return Knots(np.append(t, end), np.append(load, self.load_n), 0.0, (held,))


@dataclass(frozen=True, slots=True)
class Break:
    """The specimen lets go: the load falls to `residual_n` within `fall_s` (in one of FALL_SHAPES), then the line
    rings.

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
    shape: str = "smooth"

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        if self.residual_n >= start.load_n:
            raise UsageError("a break must fall: its residual lies at or above the load before it")
        fall = ticks(self.fall_s, min(FINE_S, self.fall_s / 20))
        gone = FALL_SHAPES[self.shape](fall / self.fall_s)
        load = start.load_n + (self.residual_n - start.load_n) * gone
        broke = Event(
            "break", 0.0, start.load_n, to_n=self.residual_n, end_s=float(self.fall_s), manner=self.manner
        )
        if self.ring_n <= 0.0:
            return Knots(fall, load, 0.0, (broke,))
        ring = ticks(self.ring_s, min(COARSE_S, 1.0 / (200.0 * self.ring_hz)))
        fade = np.exp(-ring / self.ring_decay_s) * (1.0 - (ring / self.ring_s) ** 4)
        swing = self.residual_n - self.ring_n * fade * np.sin(2 * math.pi * self.ring_hz * ring)
        return Knots(np.append(fall, self.fall_s + ring), np.append(load, swing), 0.0, (broke,))


@dataclass(frozen=True, slots=True)
class Unload:
    """The operator lets the line out slowly; nothing breaks. Linear: at once at full speed, with sharp corners."""

    duration_s: float
    to_n: float = 0.0
    shape: str = "smooth"

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        t = ticks(self.duration_s, COARSE_S)
        gone = FALL_SHAPES[self.shape](t / self.duration_s)
        load = start.load_n + (self.to_n - start.load_n) * gone
        return Knots(
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

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
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
        return Knots(t, load, 0.0, tuple(events))


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

    def trace(self, start: Start, rng: np.random.Generator) -> Knots:
        take = ticks(self.take_s, COARSE_S)
        knocks = Hold(self.take_s, bumps=self.bumps, bump_n=self.bump_n).trace(Start(), rng)
        moved = start.load_n + (self.to_n - start.load_n) * ease(take / self.take_s)
        if self.bumps:
            moved = moved + knocks.load_n
            moved[-1] = self.to_n
        t = ticks(self.hold_s, COARSE_S)
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
        return Knots(np.append(take, self.take_s + t), np.append(moved, held), 0.0, events)
