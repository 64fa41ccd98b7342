"""Simulated sessions of a hung mass that is cut loose, with the truth known: order of the filter, speed of the cuts."""

from dataclasses import dataclass

import numpy as np

from breakyard.simulate import phases, releases
from breakyard.simulate.cell import draw_cell
from breakyard.simulate.chain import measure
from breakyard.simulate.converter import NO_FAULTS, Conversions, Converter, Faults
from breakyard.simulate.pull import pull

KGF = 9.80665


@dataclass(frozen=True)
class Fade:
    """The load fades away exponentially: what a slow filter in front of the converter would make of a cut."""

    time_s: float

    def trace(self, start: phases.Start, rng: np.random.Generator) -> phases.Knots:
        t = phases.ticks(0.3, 0.0005)
        return phases.Knots(t, start.load_n * np.exp(-t / self.time_s))


def cuts_of(
    seed: int,
    order: int,
    *,
    number: int = 12,
    fall_s: tuple[float, float] = (0.0003, 0.002),
    ring: float = 0.01,
    fade_s: float | None = None,
    mass_kg: float = 20.0,
    noise_nv: float = 90.0,
    faults: Faults = NO_FAULTS,
) -> Conversions:
    """20 kg on a cell of 1000 kgf, hung and cut `number` times in one recording, at random moments."""
    rng = np.random.default_rng(seed)
    cell = draw_cell(rng, capacity_n=1000 * KGF)
    load = mass_kg * KGF
    steps: list[phases.Phase] = [phases.Hold(2.0)]
    for _ in range(number):
        quiet_s, wait_s = 6.0 + rng.uniform(0.0, 1.0), 4.0 + rng.uniform(0.0, 1.0)
        steps.append(
            releases.Hang(
                load,
                take_s=1.5,
                hold_s=quiet_s,
                swing_rad=0.03,
                swing_decay_s=2.0,
                bumps=3,
                bump_n=0.1 * load,
            )
        )
        size, hertz, decay = ring * rng.uniform(0.3, 1.0), rng.uniform(8.0, 35.0), rng.uniform(0.03, 0.15)
        falls = releases.Break(0.0, "brittle", rng.uniform(*fall_s), size * load, hertz, decay)
        steps += [Fade(fade_s) if fade_s else falls, phases.Hold(wait_s)]
    converter = Converter(
        rate_hz=rng.uniform(75.0, 95.0),
        filter_order=order,
        supply_v=3.3,
        noise_nv=noise_nv,
        phase=rng.uniform(0.01, 1.0),
    )
    return measure(pull(steps, seed=seed), cell, converter, seed=seed, faults=faults)
