"""Put phases together to a pull and state the truth about it.

The truth is read off the very load curve that the simulated cell feels, by the phases' own events and by
plain comparison of knots; it shares no code with the analysis.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import UsageError
from breakyard.simulate.phases import Event, Phase, Start

FIRST_PEAK_FALL: Final = 0.005
"""ISO 6892-1, upper yield: the highest load before a reduction of at least 0.5 %."""
FIRST_PEAK_FLOOR: Final = 0.1
"""Below this share of the peak a maximum is handling, not the specimen."""
RATE_WINDOW_S: Final = 0.05


@dataclass(frozen=True, slots=True)
class PullTruth:
    """A pull exactly as it happened: the load is linear between the knots. Arrays (n,), read-only."""

    time_s: NDArray[np.float64]
    """Strictly rising, from 0."""
    force_n: NDArray[np.float64]
    peak_n: float
    peak_time_s: float
    first_peak_n: float
    """Highest load before the first fall of 0.5 % (from 10 % of the peak on); the peak if there is none."""
    first_peak_time_s: float
    rate_at_peak_n_per_s: float
    """Mean over the last 50 ms before the peak."""
    onset_s: float | None
    manner: str
    """brittle, ductile, progressive or none."""
    clear: bool
    """Whether the load alone shows the manner beyond doubt (a snatch does not)."""
    break_time_s: float | None
    """When the last fall begins."""
    break_load_n: float | None
    residual_n: float | None
    """Where the break left the load, ringing apart."""
    settled: Event | None
    drops: tuple[Event, ...]
    holds: tuple[Event, ...]
    """Steps of a calibration run, each with the load at rest, start, end and label."""
    events: tuple[Event, ...]
    """All of them, in time order."""

    def force_at(self, time_s: float) -> float:
        """Load at one instant."""
        return float(np.interp(time_s, self.time_s, self.force_n))


def pull(phases: Sequence[Phase], *, seed: int, clear: bool = True) -> PullTruth:
    """Draw each phase in turn and state the truth. The same phases and seed give the same pull.

    Raises: UsageError for phases that cannot follow one another (a ramp downwards, a break that does not
    fall).
    """
    if not phases:
        raise UsageError("a pull needs at least one phase")
    start, begin = Start(), 0.0
    times, loads, events = [np.zeros(1)], [np.zeros(1)], list[Event]()
    for index, phase in enumerate(phases):
        trace = phase.trace(start, np.random.default_rng([seed, index]))
        times.append(begin + trace.time_s)
        loads.append(trace.load_n)
        events += [_shifted(event, begin) for event in trace.events]
        begin += float(trace.time_s[-1])
        start = Start(float(trace.load_n[-1]), trace.rate_n_per_s)
    time, force = np.concatenate(times), np.concatenate(loads)
    time.flags.writeable = force.flags.writeable = False
    return _truth(time, force, tuple(sorted(events, key=lambda event: event.time_s)), clear)


def _shifted(event: Event, by_s: float) -> Event:
    return replace(
        event, time_s=event.time_s + by_s, end_s=None if event.end_s is None else event.end_s + by_s
    )


def _truth(
    time: NDArray[np.float64], force: NDArray[np.float64], events: tuple[Event, ...], clear: bool
) -> PullTruth:
    top = int(np.argmax(force))
    first = _first_peak(force, top)
    before_s = max(float(time[0]), float(time[top]) - RATE_WINDOW_S)
    rise = float(force[top] - np.interp(before_s, time, force))
    broke = _last(events, "break")
    onset = next((event.time_s for event in events if event.kind == "onset"), None)
    return PullTruth(
        time_s=time,
        force_n=force,
        peak_n=float(force[top]),
        peak_time_s=float(time[top]),
        first_peak_n=float(force[first]),
        first_peak_time_s=float(time[first]),
        rate_at_peak_n_per_s=rise / (float(time[top]) - before_s) if top else 0.0,
        onset_s=onset,
        manner=broke.manner if broke else "none",
        clear=clear,
        break_time_s=broke.time_s if broke else None,
        break_load_n=broke.load_n if broke else None,
        residual_n=broke.to_n if broke else None,
        settled=_last(events, "settled"),
        drops=tuple(event for event in events if event.kind == "drop"),
        holds=tuple(event for event in events if event.kind == "hold"),
        events=events,
    )


def _last(events: tuple[Event, ...], kind: str) -> Event | None:
    return next((event for event in reversed(events) if event.kind == kind), None)


def _first_peak(force: NDArray[np.float64], top: int) -> int:
    """Index of the first peak (see `PullTruth.first_peak_n`)."""
    begin = int(np.argmax(force >= FIRST_PEAK_FLOOR * force[top]))
    part = force[begin : top + 1]
    highest = np.maximum.accumulate(part)
    fallen = np.flatnonzero(part <= (1.0 - FIRST_PEAK_FALL) * highest)
    return top if fallen.size == 0 else begin + int(np.argmax(part[: fallen[0] + 1]))
