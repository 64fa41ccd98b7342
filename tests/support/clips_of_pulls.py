"""Random clips of pulls with what is known of them: for the coverage of the alignment's stated uncertainty.

Rates from 24 to 240 a second, constant or not; shutters of 8 to 25 ms; distances of 2 to 45 m, said (to within 2 m or a
tenth) or not; a phone whose sound is up to 40 ms apart from its picture; hands that shake; noises before and after;
clips without sound, and stretched ones.
"""

from dataclasses import dataclass

import numpy as np
from clip_maker import Coding, Scene

from breakyard.video.alignment import Filmed, TiePoint
from breakyard.video.find import KnownBreak

RATES = (24.0, 25.0, 30.0, 30.0, 60.0, 60.0, 120.0, 240.0)
PERIOD_S = 1 / 92


@dataclass(frozen=True)
class ClipCase:
    """A clip, what a person says of it, and the truth."""

    scene: Scene
    coding: Coding
    filmed: Filmed
    break_in_clip_s: float
    """When it broke, plus the error with which the run knows its own break."""


def clip_case(number: int, *, quick: bool = False) -> ClipCase:
    """The case of a number: always the same."""
    chance = np.random.default_rng(1000 + number)
    rate = float(chance.choice(RATES[:6] if quick else RATES))
    stretch = 4 if rate >= 120.0 and chance.random() < 0.5 else 1
    length = float(chance.uniform(2.6, 3.4) if quick else chance.uniform(3.0, 6.0))
    if rate >= 120.0:
        length = 2.4
    broke = float(chance.uniform(0.45, 0.8) * length)
    distance = float(chance.uniform(2.0, 45.0))
    said = chance.random() < 0.6
    air_c = float(chance.uniform(2.0, 35.0))
    late = distance / (331.3 * np.sqrt(1.0 + air_c / 273.15)) + chance.uniform(-0.04, 0.04)
    others = tuple(
        (float(chance.uniform(0.1, length - 0.3)), float(chance.uniform(0.1, 0.45)))
        for _ in range(int(chance.integers(0, 3)))
    )
    scene = Scene(
        break_s=broke,
        length_s=length,
        width=160,
        height=90,
        rate=rate,
        jitter=0.12 if chance.random() < 0.4 else 0.0,
        shutter_s=float(chance.uniform(min(0.008, 0.5 / rate), min(0.025, 1.0 / rate))),
        shake_px=float(chance.choice([0.0, 1.0, 2.0])),
        bang_late_s=float(late),
        other_bangs=others,
        wind=float(chance.uniform(0.005, 0.05)),
        seed=number,
    )
    silent = stretch != 1 or chance.random() < 0.15
    coding = Coding(sound=None if silent else "aac", stretch=stretch)
    guess = distance + float(chance.uniform(-1.0, 1.0)) * max(2.0, 0.1 * distance)
    filmed = Filmed(max(0.0, guess) if said else None, None, float(stretch))
    slip = float(chance.uniform(-0.5, 0.5)) * PERIOD_S
    return ClipCase(scene, coding, filmed, (broke + slip) * stretch)


def true_known(case: ClipCase) -> KnownBreak:
    """What the run of a case says."""
    return KnownBreak(TiePoint(12.0, 0.5 * PERIOD_S / 3**0.5), broke=True, onset_s=4.0)
