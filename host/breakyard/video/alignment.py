"""Which moment of a clip is which moment of a run, and how well that is known.

What ties the two together is the break: the run knows when the load fell, the clip shows and lets hear it. Several
clues are combined, each with a budget of its own (JCGM 100:2008, 5.1.2, independent sources); clues that disagree are
not averaged away but reported.

    picture   it happened between two frames: half of the step before the frame, rectangular (JCGM 100:2008, 4.3.7:
              half-width / sqrt 3). A rolling shutter reads the picture within SHUTTER_S from top to bottom; neither the
              row in which the break is seen nor the one whose time the file tells is known, so the two may be apart by
              all of it either way, triangular (4.3.9: half-width / sqrt 6).
    sound     later than the break by distance / speed of sound. 343.2 m/s at 20 C (ISO 9613-1:1993), going with the
              root of the absolute temperature; a distance that nobody states is assumed wide. A phone's own sound and
              picture are apart by what broadcasting tolerates as well as any (ITU-R BT.1359-1: seen from 45 ms on).
    stated    a person's frame, as the picture's.
    run       the break lies between two samples.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from breakyard.video.moments import ClipMoment

SPEED_M_PER_S: Final = 343.2
"""Of sound in air at 20 C; ISO 9613-1:1993, equation for the reference temperature 293.15 K."""
WARMTH_C: Final = (20.0, 20.0)
"""Air temperature outdoors where nobody says: middle and half-width, rectangular."""
DISTANCE_UNSTATED_M: Final = (1.0, 60.0)
"""Between camera and specimen where nobody says: from a tripod beside it to well beyond the usual stand-off."""
DISTANCE_STATED_M: Final = 2.0
"""Half-width of a stated distance; and a tenth of it at least: it is paced or guessed."""
SHUTTER_S: Final = 0.025
"""Longest time in which a phone reads a picture from top to bottom (8 to 25 ms; from memory)."""
SOUND_APART_S: Final = 0.045
"""Half-width of a phone's own difference between sound and picture (ITU-R BT.1359-1, figure 2: detectability)."""
ONSET_S: Final = 0.002
"""Half-width of the moment at which a bang begins in coded sound."""
STATED_ONSET_S: Final = 0.3
"""Half-width of the moment at which a person sees a line come taut."""
COVERING: Final = 2.0
"""Standard uncertainties in the half-width that is stated: about 95 % (JCGM 100:2008, 6.3.3)."""
AGREE: Final = 2.5
"""Clues further apart than this many of their joint standard uncertainties disagree."""
ALONE: Final = 1.6
"""A moment found by one sense alone must be this many times as strong as the next one."""
SOLE: Final = 0.72
"""Weight below which a moment's rivals must lie, relative to the chosen, where sound and picture agree."""

Source = Literal["stated", "sound", "picture", "lamp", "onset"]

_RECTANGULAR: Final = math.sqrt(3.0)
_TRIANGULAR: Final = math.sqrt(6.0)


@dataclass(frozen=True, slots=True)
class TimeTerm:
    """One source of doubt about a moment, as a standard uncertainty in seconds."""

    source: str
    standard_s: float


@dataclass(frozen=True, slots=True)
class Clue:
    """When the break was in the clip, by one clue: seconds of the clip, and its own doubts."""

    source: Source
    time_s: float
    terms: tuple[TimeTerm, ...]
    frame_s: float | None = None
    """The frame, or the moment of the sound, that it was taken from."""

    @property
    def standard_s(self) -> float:
        """Combined standard uncertainty (JCGM 100:2008, 5.1.2)."""
        return math.hypot(*(term.standard_s for term in self.terms))


@dataclass(frozen=True, slots=True)
class TiePoint:
    """When the break, or another moment that both know, was in the run: seconds of the run."""

    time_s: float
    standard_s: float
    what: str = "break"


@dataclass(frozen=True, slots=True)
class Filmed:
    """What a person says of how the clip was filmed; None: not said."""

    distance_m: float | None = None
    temperature_c: float | None = None
    stretch: float = 1.0
    """Seconds of the clip in a second of the world."""


@dataclass(frozen=True, slots=True)
class Alignment:
    """Clip and run side by side: run time = run_s + (clip time - clip_s) / stretch.

    `clues` were combined; `others` disagree with them, or were not taken. `sure` is False where another moment of the
    clip may as well be the break.
    """

    clip_s: float
    run_s: float
    standard_s: float
    stretch: float
    clues: tuple[Clue, ...]
    terms: tuple[TimeTerm, ...]
    others: tuple[Clue, ...] = ()
    sure: bool = True
    words: tuple[str, ...] = ()

    def run_time(self, clip_s: float) -> float:
        """The run's time of a moment of the clip."""
        return self.run_s + (clip_s - self.clip_s) / self.stretch

    def clip_time(self, run_s: float) -> float:
        """The clip's time of a moment of the run."""
        return self.clip_s + (run_s - self.run_s) * self.stretch

    @property
    def half_width_s(self) -> float:
        """Half of the interval that is stated, about 95 %; in seconds of the world."""
        return COVERING * self.standard_s

    def load_doubt_n(self, rate_n_per_s: float) -> float:
        """What the half-width means for the number on the picture while the load rises at a rate, in newtons."""
        return abs(rate_n_per_s) * self.half_width_s


def speed_of_sound(temperature_c: float) -> float:
    """In m/s, dry air: proportional to the root of the absolute temperature (ISO 9613-1:1993)."""
    return SPEED_M_PER_S * math.sqrt((temperature_c + 273.15) / 293.15)


def heard_clue(moment: ClipMoment, filmed: Filmed) -> Clue:
    """When the break was, by a noise."""
    if filmed.distance_m is None:
        low, high = DISTANCE_UNSTATED_M
        distance, half = 0.5 * (low + high), 0.5 * (high - low)
    else:
        distance = filmed.distance_m
        half = max(DISTANCE_STATED_M, 0.1 * distance)
    middle, around = (filmed.temperature_c, 2.0) if filmed.temperature_c is not None else WARMTH_C
    speed = speed_of_sound(middle)
    late = distance / speed
    terms = (
        TimeTerm("distance of the camera", half / speed / _RECTANGULAR),
        TimeTerm("temperature of the air", late * 0.5 * around / (middle + 273.15) / _RECTANGULAR),
        TimeTerm("the phone's own sound and picture", SOUND_APART_S / _RECTANGULAR),
        TimeTerm("where the noise begins", ONSET_S / _RECTANGULAR),
    )
    return Clue("sound", moment.time_s - late * filmed.stretch, terms, moment.time_s)


def seen_clue(moment: ClipMoment, filmed: Filmed) -> Clue:
    """When the break was, by the first frame that shows it."""
    return _frame_clue("picture", moment.time_s, moment.step_s, filmed)


def stated_clue(frame_s: float, step_s: float, filmed: Filmed) -> Clue:
    """When the break was, by a person who points at the first frame that shows it."""
    return _frame_clue("stated", frame_s, step_s, filmed)


def lamp_clue(moment: ClipMoment, filmed: Filmed) -> Clue:
    """When the lamp was lit, by the first frame that shows it."""
    return _frame_clue("lamp", moment.time_s, moment.step_s, filmed)


def onset_clue(time_s: float) -> Clue:
    """When the line came taut, by a person."""
    return Clue(
        "onset", time_s, (TimeTerm("when the line came taut", STATED_ONSET_S / _RECTANGULAR),), time_s
    )


def _frame_clue(source: Source, frame_s: float, step_s: float, filmed: Filmed) -> Clue:
    half = 0.5 * step_s / filmed.stretch
    terms = (
        TimeTerm("the frame's half-width", half / _RECTANGULAR),
        TimeTerm("rolling shutter", SHUTTER_S / _TRIANGULAR),
    )
    return Clue(source, frame_s - 0.5 * step_s, terms, frame_s)


def align(clues: Sequence[Clue], anchor: TiePoint, stretch: float) -> Alignment:
    """Combine clues of one moment, the first being the leading one; those that disagree with it are left out.

    The best mean of independent values is weighted by 1 / u^2 (JCGM 100:2008, example H.5 and F.1.2.4).
    """
    first = clues[0]
    taken, others, words = [first], [], []
    for clue in clues[1:]:
        apart = abs(clue.time_s - first.time_s) / stretch
        if apart <= AGREE * math.hypot(clue.standard_s, first.standard_s):
            taken.append(clue)
        else:
            others.append(clue)
            words.append(
                f"{NAMES[clue.source]} says {clue.time_s:.3f} s, {NAMES[first.source]} {first.time_s:.3f} s: "
                f"they disagree by {1000 * apart:.0f} ms, and {NAMES[first.source]} was followed"
            )
    weights = [1.0 / max(clue.standard_s, 1e-6) ** 2 for clue in taken]
    share = [weight / sum(weights) for weight in weights]
    clip_s = sum(part * clue.time_s for part, clue in zip(share, taken, strict=True))
    terms = [
        TimeTerm(f"{NAMES[clue.source]}: {term.source}", part * term.standard_s)
        for part, clue in zip(share, taken, strict=True)
        for term in clue.terms
    ]
    terms.append(TimeTerm(f"the {anchor.what} in the recording", anchor.standard_s))
    # A shutter's time is one unknown for all that is seen.
    standard = math.hypot(*(term.standard_s for term in terms))
    return Alignment(
        clip_s=clip_s,
        run_s=anchor.time_s,
        standard_s=standard,
        stretch=stretch,
        clues=tuple(taken),
        terms=tuple(terms),
        others=tuple(others),
        words=tuple(words),
    )


NAMES: Final = {
    "stated": "what was stated",
    "sound": "the sound",
    "picture": "the picture",
    "lamp": "the lamp",
    "onset": "the stated onset",
}


def choose(
    heard: Sequence[ClipMoment], seen: Sequence[ClipMoment], anchor: TiePoint, filmed: Filmed
) -> Alignment | None:
    """The moment of the break by sound and picture; None where there is neither.

    A noise and a change that belong together (their difference is what distance and phone allow) outweigh either alone.
    It is sure if no other moment, or pair of them, is nearly as strong.
    """
    pairs: list[tuple[float, tuple[Clue, ...]]] = [
        (sound.weight, (heard_clue(sound, filmed),)) for sound in heard
    ]
    for picture in seen:
        pairs.append((picture.weight, (seen_clue(picture, filmed),)))
        for sound in heard:
            clue = heard_clue(sound, filmed)
            eye = seen_clue(picture, filmed)
            apart = (clue.time_s - eye.time_s) / filmed.stretch / math.hypot(clue.standard_s, eye.standard_s)
            if abs(apart) <= AGREE:
                together = (sound.weight + picture.weight) * math.exp(-0.5 * (apart / AGREE) ** 2)
                pairs.append((together, (eye, clue)))
    if not pairs:
        return None
    pairs.sort(key=lambda pair: -pair[0])
    best, clues = pairs[0]
    found = align(clues, anchor, filmed.stretch)
    apart_s = max(3.0 * found.standard_s, 0.05) * filmed.stretch
    rivals = [
        (weight, other)
        for weight, other in pairs[1:]
        if min(abs(clue.time_s - found.clip_s) for clue in other) > apart_s
    ]
    limit = best / ALONE if len(clues) == 1 else SOLE * best
    near = [other[0] for weight, other in rivals if weight > limit]
    others = tuple(dict.fromkeys([*found.others, *(other[0] for _, other in rivals)]))
    words = list(found.words)
    if near:
        times = ", ".join(f"{clue.time_s:.2f} s" for clue in near[:3])
        words.append(f"another moment may as well be the {anchor.what}: {times}")
    return replace(found, others=others, sure=not near, words=tuple(words))
