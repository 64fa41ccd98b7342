"""A recording -> what was weighed in it."""

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from breakyard.calibration import Air, Gravity
from breakyard.calibration.weight import HIGHEST_ON_EARTH, LOWEST_ON_EARTH, air_at_height, gravity_at
from breakyard.errors import DataError, NoPull
from breakyard.session.in_use import in_use_of
from breakyard.session.pulls import PURPOSE, WEIGHING_PURPOSE
from breakyard.session.recordings import load_curve
from breakyard.units import STANDARD_GRAVITY

if TYPE_CHECKING:
    from breakyard.pull.weighing import Weighing
    from breakyard.session.options import ReadOptions
    from breakyard.session.pulls import Pull


WEIGHED_S: Final = 10.0
"""How long a swing is averaged where nobody says it: a load on 4 m of sling swings once in 4 s."""


def weigh_recording(
    pull: "Pull",
    options: "ReadOptions",
    *,
    for_s: float = WEIGHED_S,
    tare_kg: float | None,
    gravity: Gravity | None = None,
    air: Air | None = None,
    density: tuple[float, float] | None = None,
) -> "Weighing":
    """Weigh what hung in a recording.

    for_s: length of the window that is averaged. tare_kg: None for what hung before it ("first"); 0 for no tare; a mass
    that is taken off. Raises: NoPull (nothing steady), BreakyardError of any kind (the recording, its calibration).
    """
    from breakyard.pull.budget import instrument_terms
    from breakyard.pull.weighing import HEAVIEST, LIGHTEST, empty_before, hanging, weigh

    curve = load_curve(
        pull, options.calibration, accuracy_percent=options.accuracy_percent, response=options.response
    )
    if curve.line is not None:
        raise DataError(
            f"{pull.name}: its table [line] says that it does not hang on the cell; weigh it in line"
        )
    usable = np.flatnonzero(curve.usable)
    time, load = curve.time_s[usable], curve.load_n[usable]
    if len(time) < 2:
        raise NoPull(f"{pull.name}: nothing usable was recorded")
    try:
        hung = hanging(time, load, for_s)
        empty = empty_before(time, load, for_s, hung.start_s) if tare_kg is None else None
        zero_n = _nothing(curve, needed=empty is None)
    except NoPull as error:
        raise NoPull(f"{pull.name}: {error}") from None
    here, shared = _gravity(pull, curve, gravity)
    height = here.height_m if here.height_m is not None else 0.0
    force = hung.mean_n - (zero_n if empty is None else empty.mean_n)
    if not force > (0.0 if empty is None else hung.swing_n):
        # What weighs less than the load swung by is no thing, but the swing of one that hung all along.
        raise DataError(
            f"{pull.name}: nothing was hung on what hung before, or the other way round; "
            "record hook and slings first, or say --tare none"
        )
    terms = instrument_terms(
        curve,
        zero_n if empty is None else empty.mean_n,
        force,
        options.misalignment_deg,
        options.temperature_c,
        in_use_of(pull, curve.calibration),
    )
    return weigh(
        hung,
        empty,
        gravity=here,
        gravity_shared=shared,
        air=air or air_at_height(height),
        density=density or (LIGHTEST, HEAVIEST),
        terms=terms,
        tare_kg=tare_kg or 0.0,
        zero_n=zero_n,
        coverage=options.coverage,
    )


def _nothing(curve: Any, *, needed: bool) -> float:
    """The load of nothing by the instrument or its calibration. Raises: NoPull where it is needed and unknown."""
    from breakyard.pull.witnesses import prior_of

    known = prior_of(curve)
    if known is None:
        if not needed:
            return 0.0
        raise NoPull("the load of the empty hook is not known; record it first, and say --tare first")
    return float(known.level_n)


def _gravity(pull: "Pull", curve: Any, stated: Gravity | None) -> tuple[Gravity, bool]:
    """Gravity where it was weighed, and whether the calibration's own masses hung in the very same."""
    made = curve.calibration
    by_masses = made is not None and any(point.load.kilograms > 0.0 for point in made.points)
    if stated is not None:
        return stated, by_masses and made.gravity.value == stated.value
    info = None if pull.session is None else pull.session.info
    if info is not None and info.latitude_deg is not None:
        here = gravity_at(info.latitude_deg, info.height_m or 0.0)
        return here, by_masses and made.gravity.value == here.value
    middle = made.gravity.value if made is not None else STANDARD_GRAVITY
    spread = (HIGHEST_ON_EARTH - LOWEST_ON_EARTH) / 2.0 / math.sqrt(3.0)
    return Gravity(middle, spread, "standard"), False


def note_weighing(pull: "Pull") -> None:
    """Say in the notes of a session's recording that it is no pull, unless they say something already."""
    session = pull.session
    if session is None or pull.path.parent.resolve() != session.layout.runs.resolve():
        return
    if PURPOSE not in session.notes(pull.path.stem).more:
        session.change_notes(
            pull.path.stem, lambda notes: replace(notes, more={PURPOSE: WEIGHING_PURPOSE, **notes.more})
        )
