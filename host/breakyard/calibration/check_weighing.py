"""Check weighing: one known mass before the day's pulls, and what many such checks say together.

The rule follows from the calibration's own interval. The mass hangs, the calibration shows a load; their difference
is compared with what the calibration allows at this load: its fit and the cell's own terms, another mounting than at
the calibration, the reading, and the known load, where what both share (the same masses, the same gravity) cancels,
because it made the calibration err in the same way. Within, the calibration holds. Beyond, it no longer tells the
truth: calibrate again.

Several checks since the calibration show a drift: a line through the differences, in parts of what is allowed, the
checks of one day together (they share its temperature and mounting, and say nothing about time). Where the line is
more than chance and will leave the allowed band within HORIZON of the latest check, the day on which it does is named.
A history is looked at again after each check; so that noise alone warns in at most CHANCE of all histories, however
long, the k-th look may only use CHANCE / (k (k + 1)) of it (these add up to CHANCE). Checks are compared only with
those of the same calibration.

Recalibrating resets nothing here: older checks stay in the history under their calibration's hash.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Final

import numpy as np

from breakyard.calibration.in_use import mounting
from breakyard.calibration.known_loads import (
    ASSUMED_SOURCE,
    COMMON_SOURCE,
    EACH,
    Force,
    KnownLoad,
    Piece,
    larger_only,
)
from breakyard.calibration.model import Calibration
from breakyard.calibration.propagate import half_width_n
from breakyard.calibration.terms import Shape, Term, limits
from breakyard.errors import CalibrationError
from breakyard.units import significant

SPAN_DRIFT: Final = 0.0005
"""Of the load: how much the span of a cell without a stated temperature coefficient may differ between two days,
as a limit: 0.05 % for 10 degrees is what sheets of cheap cells state (typical values, from memory)."""

ZERO_NOTICE: Final = 0.001
ZERO_BAD: Final = 0.01
"""Of the capacity: a zero that moved by more is the usual gauge of an overload; by ten times more, of damage."""

FEW: Final = 4
"""Checks on fewer days show no drift that could be distinguished from chance."""

TIME_BASE_DAYS: Final = 7.0
"""From the first check to the last: over less, warmth and mounting of single days look like a drift."""

CHANCE: Final = 0.05
"""Of a warning at any time in the history of a cell that does not drift."""

HORIZON_DAYS: Final = 60.0
DAY_S: Final = 86400.0


@dataclass(frozen=True, slots=True)
class CheckCounts:
    """Mean counts of the empty cell and under the known load, with the standard uncertainties of the means."""

    zero_counts: float
    loaded_counts: float
    zero_standard: float = 0.0
    loaded_standard: float = 0.0


@dataclass(frozen=True, slots=True)
class CheckWeighing:
    """One check weighing, in newtons. `allowed_n` is the 95 % half-width for the difference shown - known."""

    ALSO_IN_JSON: ClassVar = {"difference_n": "difference_n", "share": "share", "holds": "holds"}

    when_utc_s: float
    text: str
    known_n: float
    shown_n: float
    allowed_n: float
    zero_counts: float
    loaded_counts: float
    calibration_hash: str
    logger: str = ""
    source: str = ""

    @property
    def difference_n(self) -> float:
        """Shown less known."""
        return self.shown_n - self.known_n

    @property
    def share(self) -> float:
        """The difference in parts of what is allowed; beyond 1 the check fails."""
        return self.difference_n / self.allowed_n

    @property
    def holds(self) -> bool:
        """Whether the calibration still tells the truth at this load."""
        return abs(self.share) <= 1.0


@dataclass(frozen=True, slots=True)
class Drift:
    """A line through the shares of checks of one calibration.

    `share_per_day` and its `standard`; `significant` if CHANCE, shared among all looks, does not explain
    it; `due_utc_s` is when the line leaves the allowed band, if it does within the horizon and the line is no chance.
    """

    checks: int
    share_per_day: float
    standard: float
    significant: bool
    due_utc_s: float | None


@dataclass(frozen=True, slots=True)
class CheckVerdict:
    """What the checks say: `recalibrate` now, or not; sentences for people, codes for programs."""

    recalibrate: bool
    drift: Drift | None
    codes: tuple[str, ...]
    sentences: tuple[str, ...]


def weigh(
    calibration: Calibration,
    load: KnownLoad,
    reading: CheckCounts,
    *,
    when_utc_s: float,
    same_place: bool = True,
    known: Force | None = None,
    mounted: tuple[float | None, float] = (None, math.inf),
    logger: str = "",
    source: str = "",
) -> CheckWeighing:
    """Compare what the calibration shows under a known load with that load.

    `known` is the load's force where gravity or air differ from the calibration's; then `same_place` is False, and
    gravity no longer cancels. `mounted`: how one mounting scatters, as a share of the load, with its degrees of
    freedom; None takes the default, since the cell hangs otherwise than when it was calibrated.
    Raises: CalibrationError when nothing hangs, or hardly anything.
    """
    if load.nothing:
        raise CalibrationError("a check weighing needs a known mass: hang one that you used to calibrate")
    load = as_calibrated(calibration, load)
    force = load.force(calibration.gravity, calibration.air) if known is None else known
    shown = float(calibration.load_n(reading.loaded_counts, reading.zero_counts))
    terms = [
        term for term in calibration.terms(reading.loaded_counts, reading.zero_counts) if term.source in _OWN
    ]
    limited = calibration.limited_sources
    for name, size in _shared(calibration, reading, force, same_place).items():
        shape: Shape = "rectangular" if name in limited else "normal"
        terms.append(Term(name, abs(size), shape=shape))
    slope = abs(float(calibration.slope_n_per_count(reading.loaded_counts)))
    own = slope * math.hypot(reading.zero_standard, reading.loaded_standard)
    # Readings of the calibration scattered about its line by more than their noise; the two of today will as well.
    scatter = math.sqrt(2.0) * calibration.between_n
    freedom = float(calibration.degrees_of_freedom or math.inf)
    terms.append(mounting(abs(force.newtons), *mounted))
    terms += [Term("reading", own, kind="A"), Term("repeatability", scatter, freedom, "A")]
    if calibration.plate is None or calibration.plate.span_per_c is None:
        terms.append(limits("span from day to day", SPAN_DRIFT * force.newtons))
    allowed = half_width_n(terms)
    if not 0.0 < allowed < abs(force.newtons):
        raise CalibrationError(
            f'"{load.text}" is too light for a check: the calibration itself is unsure by '
            f"{significant(allowed, 3)} N there"
        )
    return CheckWeighing(
        when_utc_s=when_utc_s,
        text=load.text,
        known_n=force.newtons,
        shown_n=shown,
        allowed_n=allowed,
        zero_counts=reading.zero_counts,
        loaded_counts=reading.loaded_counts,
        calibration_hash=calibration.content_hash,
        logger=logger,
        source=source,
    )


def as_calibrated(calibration: Calibration, load: KnownLoad) -> KnownLoad:
    """The load with what the calibration took for its masses where the user says nothing about them now.

    A mass of the same size is then the same mass, with the same limit, so that its error cancels as far as it may.
    """
    known: dict[float, list[Piece]] = {}
    for point in calibration.points:
        for piece in point.load.pieces:
            same = known.setdefault(piece.kilograms, [])
            if piece.source in (ASSUMED_SOURCE, COMMON_SOURCE) and piece not in same:
                same.append(piece)
    pieces = []
    for piece in load.pieces:
        same = known.get(piece.kilograms, [])
        pieces.append(same.pop(0) if piece.assumed and same else piece)
    return replace(load, pieces=tuple(pieces))


_OWN: Final = (
    "calibration fit",
    "non-linearity",
    "extrapolation",
    "hysteresis",
    "zero return",
    "temperature",
)
"""Terms of the calibration that the check's known load does not share."""


def _shared(
    calibration: Calibration, reading: CheckCounts, force: Force, same_place: bool
) -> dict[str, float]:
    """Newtons by which each source of known loads moves shown - known: equal names are one and the same error."""
    powers = _gradient(calibration, reading)
    moved = {
        source: float(powers @ np.asarray(shift))
        for source, shift in calibration.effects
        if source not in _OWN
    }
    here = {}
    for source, size in force.sources.items():
        own = not same_place and source in ("gravity", "air density")
        apart = calibration.told_apart if EACH in source else 1.0
        here[f"{source} at the check" if own else source] = apart * size
    names = sorted({*moved, *here})
    return larger_only({name: moved.get(name, 0.0) - here.get(name, 0.0) for name in names})


def _gradient(calibration: Calibration, reading: CheckCounts) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    z, z_zero = (
        (counts - calibration.centre) / calibration.scale
        for counts in (reading.loaded_counts, reading.zero_counts)
    )
    return np.array([z**k - z_zero**k for k in range(calibration.degree + 1)])


def judge(calibration: Calibration, checks: Sequence[CheckWeighing]) -> CheckVerdict:
    """What the checks of one calibration say together; the latest decides whether to calibrate again.

    Checks of other calibrations are left out. Raises: CalibrationError without any check.
    """
    own = sorted(
        (check for check in checks if check.calibration_hash == calibration.content_hash),
        key=lambda check: check.when_utc_s,
    )
    if not own:
        raise CalibrationError("there is no check weighing for this calibration yet")
    latest = own[-1]
    drift = find_drift(own)
    codes, said = [], []
    percent = 100.0 * latest.difference_n / latest.known_n
    size = f"it shows {percent:+.3f} % of the load, {abs(latest.share):.2g} of what the calibration allows"
    if not latest.holds:
        codes.append("beyond_interval")
        said.append(
            f"The calibration no longer holds: {size}. Hang the mass again and check what hung and that nothing "
            "touched; if it stays, calibrate again before you pull."
        )
    else:
        said.append(f"The calibration holds: {size}.")
    if drift is not None and drift.due_utc_s is not None and latest.holds:
        codes.append("drifting")
        days = max(0.0, (drift.due_utc_s - latest.when_utc_s) / DAY_S)
        said.append(
            f"It drifts: at this pace it leaves its interval in {days:.0f} days. Calibrate again before then."
        )
    codes_zero, said_zero = _zero(calibration, latest)
    return CheckVerdict(not latest.holds, drift, (*codes, *codes_zero), (*said, *said_zero))


def find_drift(checks: Sequence[CheckWeighing]) -> Drift | None:
    """A least-squares line through the days' mean shares; None for fewer than FEW days or a shorter TIME_BASE_DAYS."""
    by_day: dict[int, list[CheckWeighing]] = {}
    for check in checks:
        by_day.setdefault(math.floor(check.when_utc_s / DAY_S), []).append(check)
    days = [by_day[day] for day in sorted(by_day)]
    times = np.array([np.mean([check.when_utc_s for check in day]) for day in days]) / DAY_S
    shares = np.array([np.mean([check.share for check in day]) for day in days])
    if len(days) < FEW or times[-1] - times[0] < TIME_BASE_DAYS:
        return None
    centred = times - times.mean()
    power = float(centred @ centred)
    pace = float(centred @ shares) / power
    left = shares - shares.mean() - pace * centred
    freedom = len(days) - 2
    standard = math.sqrt(float(left @ left) / freedom / power)
    from scipy.special import stdtrit

    look = len(days) - FEW + 1
    chance = CHANCE / (look * (look + 1))
    significant = abs(pace) > float(stdtrit(freedom, 1.0 - chance / 2.0)) * standard
    due = None
    if significant:
        latest = float(shares.mean() + pace * centred[-1])
        left_days = (math.copysign(1.0, pace) - latest) / pace
        if left_days <= HORIZON_DAYS:
            due = (float(times[-1]) + max(left_days, 0.0)) * DAY_S
    return Drift(len(checks), pace, standard, significant, due)


def _zero(calibration: Calibration, latest: CheckWeighing) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The zero against that of the calibration, as a gauge of overload; only where the capacity is known."""
    if calibration.plate is None:
        return (), ()
    slope = abs(float(calibration.slope_n_per_count(calibration.zero_counts)))
    shift = (latest.zero_counts - calibration.zero_counts) * slope / calibration.plate.capacity_n
    if abs(shift) <= ZERO_NOTICE:
        return (), ()
    said = (
        f"The empty cell stands {100.0 * shift:+.2f} % of its capacity from where it was at the calibration: the same "
        "hook and shackles? If so, suspect an overload"
    )
    if abs(shift) > ZERO_BAD:
        return ("zero_far_off",), (f"{said}, and calibrate again up to a higher load before you trust it.",)
    return ("zero_moved",), (f"{said}.",)
