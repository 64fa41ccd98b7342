"""Which polynomial the points support, and which points do not fit.

A line is the default. More is taken only where the capacity is known and the points cover enough of it (points low
in the range say nothing about the bend of the whole), and where the bend itself is significant: its coefficient
against everything that may have made it, the scatter and the errors of the known loads alike. Replicates must show
besides that the line misses them by more than they miss each other (lack-of-fit F test). And a curve holds little
beyond its points: it is not read further than REACH times the highest.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from breakyard.calibration.fit import Floats, fit_polynomial

HIGHEST: Final = 3
SIGNIFICANCE: Final = 0.05
BEND: Final = 0.01
"""Chance of calling a straight cell bent, at each degree: a line that is a little bent does less harm."""
ENOUGH_RANGE: Final = 0.4
"""Of the capacity: below it a curve through the points would be thrown far up."""
REACH: Final = 1.5
"""Times the highest known load: further a curve is not followed (a parabola's error grows with the square)."""
SUSPECT: Final = 0.01
"""Chance of naming any point of a sound calibration, shared among all points (Bonferroni)."""
MATERIAL: Final = 0.0005
"""Of the highest known load: what is off by less is hysteresis or drift, and harmless."""


@dataclass(frozen=True, slots=True)
class LackOfFit:
    """The F test of a fit against the scatter of its replicates."""

    f: float
    between_df: int
    within_df: int
    p_value: float


@dataclass(frozen=True, slots=True)
class Suspect:
    """Points (indices) that the others do not agree with: how far off, in newtons of load and in Student's t."""

    points: tuple[int, ...]
    off_n: float
    t: float


def lack_of_fit(x: ArrayLike, y: ArrayLike, degree: int) -> LackOfFit | None:
    """Test a polynomial of this degree where equal x were measured more than once; None without such.

    Source: Draper and Smith, Applied Regression Analysis, "lack of fit and pure error".
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    level, which = np.unique(x, return_inverse=True)
    within_df, between_df = len(x) - len(level), len(level) - degree - 1
    if within_df < 1 or between_df < 1:
        return None
    means = np.bincount(which, weights=y) / np.bincount(which)
    pure = float(np.sum((y - means[which]) ** 2))
    residuals = fit_polynomial(x, y, degree).residuals
    lack = max(float(residuals @ residuals) - pure, 0.0)
    if pure == 0.0:
        return LackOfFit(math.inf if lack > 0.0 else 0.0, between_df, within_df, 0.0 if lack > 0.0 else 1.0)
    from scipy.special import fdtrc

    f = (lack / between_df) / (pure / within_df)
    return LackOfFit(f, between_df, within_df, float(fdtrc(between_df, within_df, f)))


def supported(loads: Floats, capacity_n: float | None) -> int:
    """The highest degree these loads can carry: two different loads to spare, and enough of a known range."""
    if capacity_n is None or float(np.max(np.abs(loads))) < ENOUGH_RANGE * capacity_n:
        return 1
    return max(1, min(HIGHEST, len(np.unique(loads)) - 2, len(loads) - 3))


def choose_degree(
    loads: Floats,
    counts: Floats,
    patterns: Floats | None = None,
    capacity_n: float | None = None,
    standard: Floats | None = None,
    alike: NDArray[np.bool_] | None = None,
) -> int:
    """Degree 1 to 3 for these points. `patterns` (n, sources) are the newtons one standard uncertainty of
    each source of the loads adds to each point: a bend they could explain is not believed. `standard` (n,)
    is what the readings of each point are uncertain by, where it differs (hysteresis of the falling ones), `alike`
    (n,) tells which of them are replicates of one another if their loads are equal: those on the rising branch."""
    highest = supported(loads, capacity_n)
    kept = slice(None) if alike is None else alike
    degree = 1
    while degree < highest:
        tested = lack_of_fit(loads[kept], counts[kept], degree)
        missed = tested is None or tested.within_df < 2 or tested.p_value < SIGNIFICANCE
        if not missed or chance_of_bend(loads, counts, degree + 1, patterns, standard) > BEND:
            break
        degree += 1
    return degree


def chance_of_bend(
    loads: Floats, counts: Floats, degree: int, patterns: Floats | None = None, standard: Floats | None = None
) -> float:
    """The chance that points without it show a highest coefficient this large (two-sided Student's t).

    Its variance is that of the scatter and of the known loads' errors (JCGM 100, 5.1.2); only the scatter is itself
    uncertain (Welch-Satterthwaite, JCGM 100, G.4.1). Arguments as in `choose_degree`.
    """
    from scipy.special import stdtr

    fit = fit_polynomial(counts, loads, degree, standard)
    scatter = float(fit.covariance[-1, -1])
    masses = 0.0 if patterns is None else float(np.sum((fit.jacobian[-1] @ patterns) ** 2))
    total = scatter + masses
    if total == 0.0:
        return 0.0 if fit.coefficients[-1] != 0.0 else 1.0
    # Arithmetic's own noise is no bend.
    least = 1e-10 * float(np.max(np.abs(loads)))
    t = max(abs(float(fit.coefficients[-1])) - least, 0.0) / math.sqrt(total)
    freedom = fit.degrees_of_freedom * (total / scatter) ** 2 if scatter > 0.0 else math.inf
    return 2.0 * float(stdtr(min(freedom, 1e9), -t))


def find_suspects(
    loads: Floats, counts: Floats, degree: int, own: Floats, masses: Floats, groups: Sequence[str]
) -> tuple[Suspect, ...]:
    """Points, or all points of one load, that the fit through the others contradicts.

    `own` (n,) are the standard uncertainties of the readings, `masses` (n,) those of the loads, in newtons;
    `groups` names what hung. A point whose load was hung more than once is held against its own reading
    only: a wrong mass would move its twins as well, and then the whole load is named. The strongest comes
    first, and only it is sure: one bad point makes its neighbours look odd.
    """
    n = len(loads)
    members_of = {name: tuple(i for i in range(n) if groups[i] == name) for name in groups}
    candidates: list[tuple[int, ...]] = [(i,) for i in range(n)]
    candidates += [members for members in members_of.values() if len(members) > 1]
    found: list[Suspect] = []
    for members in candidates:
        twins = len(members) == 1 and len(members_of[groups[members[0]]]) > 1
        standard = own if twins else np.hypot(own, masses)
        suspect = _held_against_the_rest(loads, counts, degree, standard, members, SUSPECT / len(candidates))
        if suspect is not None:
            found.append(suspect)
    return tuple(sorted(found, key=lambda suspect: -abs(suspect.t)))


def _held_against_the_rest(
    loads: Floats, counts: Floats, degree: int, standard: Floats, members: tuple[int, ...], chance: float
) -> Suspect | None:
    """The members if the fit through all other points lies further off than this chance allows."""
    from scipy.special import ndtri, stdtrit

    rest = np.array([i for i in range(len(loads)) if i not in members])
    freedom = len(rest) - degree - 1
    if freedom < 2 or len(np.unique(loads[rest])) < degree + 1:
        return None
    known = standard[rest]
    fit = fit_polynomial(counts[rest], loads[rest], degree, known if np.any(known > 0.0) else None)
    chosen = np.array(members)
    off = float(np.mean(loads[chosen] - fit.value(counts[chosen])))
    row = fit.basis(counts[chosen]).mean(axis=0)
    seen = fit.between**2 * (1.0 / len(members) + float(row @ (fit.jacobian @ fit.jacobian.T) @ row))
    total = fit.between**2 / len(members) + float(np.mean(standard[chosen] ** 2))
    total += float(row @ fit.covariance @ row)
    t = off / max(math.sqrt(total), 1e-9 * float(np.max(np.abs(loads))))
    # Only the scatter that was estimated here is uncertain itself (Welch-Satterthwaite).
    share = min(seen / total, 1.0) if total > 0.0 else 1.0
    upper = 1.0 - chance / 2.0
    limit = float(stdtrit(freedom / share**2, upper)) if share > 1e-3 else float(ndtri(upper))
    matters = abs(off) > MATERIAL * float(np.max(np.abs(loads)))
    return Suspect(members, off, t) if matters and abs(t) > limit else None


def rising(loads: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) True where a load was reached from below; the first counts as rising."""
    step = np.diff(loads, prepend=loads[0] - 1.0)
    up = step > 0.0
    for i in range(1, len(up)):
        if step[i] == 0.0:
            up[i] = up[i - 1]
    return np.asarray(up)
