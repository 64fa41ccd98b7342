"""The zero line of a pull: what the load reads of nothing, at the time of the peak.

Zero is evidence, not a place. Up to four witnesses are heard: the quiet part before the pull, the unloaded part
after it, what the instrument itself was zeroed to (recordings of force), and the zero of the calibration (runs).
Each may be wrong: a hold in mid-pull or a preload looks quiet, something may hang on the cell after the break, a
scale may never have been zeroed, a cell that was overloaded has another zero afterwards. `weigh` says how likely
each of these is, given what all witnesses say; the zero is what the likeliest says, and what others leave
open goes into its uncertainty.

Nothing is compared with a fixed load. What counts as quiet follows from the recording's own noise, and the
onset is the corner of the best hinge through the samples around the departure from zero.
"""

import dataclasses
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.calibration.terms import Distribution
from breakyard.converter.noise import STEADY, noise_of, resolution_of
from breakyard.curve import LARGEST_N, Unloaded, ZeroAt
from breakyard.errors import NoPull
from breakyard.pull.witnesses import Begins, Prior, WeighedZero, Witness, weigh

Array = NDArray[np.float64]

BLOCK_S: Final = 0.25
"""Quiet is judged by medians over this time, so that a knock of a hand does not end it."""

FEWEST_IN_BLOCK: Final = 4

STAY_BLOCKS: Final = 3
"""A quiet stretch has at least this many blocks in a row; a shorter one amid a jerky pull is slack."""

ROUGH: Final = 0.05
"""What swings by more than this fraction of the peak within a block is not quiet."""

ZERO_SPAN_S: Final = 30.0
"""The zero line is drawn through at most this much quiet time before the onset."""

GUARD_S: Final = 0.1
"""Left out before the onset: the filter looks ahead of no event, but the hinge has an error."""

PLAUSIBLE_DRIFT_PER_S: Final = 0.001 / 60
"""Fraction of the peak per second. Steeper lines in the quiet part are slack being drawn in, not drift of the
instrument (0.05 % of capacity per minute is a bad one), and are not extended to the peak. Common practice."""

CREEPING: Final = 15.0
"""A stretch that climbs at more than this many times the plausible drift is a slow ramp, not quiet."""

SHIFT_FRACTION: Final = 0.002
"""A zero that moved by more than this fraction of the peak raises a flag (0.1 % of rated output is the usual
sign of an overloaded cell; a cell is commonly loaded to half of its rating)."""

SMALLEST_N: Final = 1e-9
"""A rise below this is no load: a wrong unit, or a file of something else."""

FEW_READINGS: Final = 40
"""So few samples may have been typed from a scale's display; from one to the next the load itself changes, so that what
lies between them tells nothing of noise ..."""

BY_EYE: Final = 0.01
"""... which is then taken to be at most this fraction of the load. Common practice, no source."""

QUIETEST: Final = 1.5
"""The quietest twentieth of blocks lies below normal noise by this much more than the quietest third (by
simulation)."""

PRELOADS: Final = 0.6
"""Chance that what is quiet at the start of another instrument's recording is nothing, and no preload: a machine's
force is zeroed before the specimen is gripped at its second end, and not again (ISO 6892-1, 10.2)."""

LEFT_OVER: Final = 0.9
"""Chance that what is quiet after another instrument's pull is nothing, and no friction, grip or half a specimen."""


@dataclass(frozen=True, slots=True)
class ZeroLine:
    """Load of nothing: level_n at `at_s`, changing by drift_n_per_s. Standard uncertainties beside them."""

    level_n: float
    standard_n: float
    drift_n_per_s: float
    drift_standard_n_per_s: float
    at_s: float
    noise_n: float
    onset_s: float
    onset: int
    """Index of the first sample after the onset."""
    start_s: float
    end_s: float
    quiet: bool
    """False when nothing unloaded was recorded before the pull, or what was is not believed."""
    believed: tuple[str, ...] = ("before",)
    """The witnesses that are believed: "before", "after", "recording", "instrument", "calibration"; none: no zero is
    known."""
    doubt: Distribution | None = None
    """True zero less this line at the peak, where that is no Gaussian; else the standard uncertainties hold."""
    shift_n: float | None = None
    """The unloaded reading after the pull less this line; None where nothing unloaded was recorded after it."""
    before_n: float | None = None
    """How far what was quiet before the pull lies above this line, where it is not believed."""
    moved: bool = False

    @property
    def known(self) -> bool:
        """Whether any witness is believed."""
        return bool(self.believed)

    def load_n(self, time_s: Array) -> Array:
        """The zero at these times."""
        return self.level_n + self.drift_n_per_s * (time_s - self.at_s)

    def at_n(self, time_s: float) -> float:
        """The zero at one time."""
        return self.level_n + self.drift_n_per_s * (time_s - self.at_s)

    def standard_at_n(self, time_s: float) -> float:
        """Standard uncertainty of the zero at a time: it grows with the distance from the quiet part."""
        return float(np.hypot(self.standard_n, self.drift_standard_n_per_s * (time_s - self.at_s)))


def find_zero(
    time: Array,
    load: Array,
    *,
    prior: Prior | None = None,
    stated: ZeroAt | None = None,
    unloaded: Unloaded | None = None,
) -> ZeroLine:
    """Find the zero line, the noise and the onset of the pull whose largest sample is the recording's largest.

    time, load: usable samples without glitches, shape (n,). prior: what is known of the zero beforehand. stated:
    where a person says it is; the others are then not heard. unloaded: what the rest of the recording says.
    Raises: NoPull if nothing rises above the noise, or what was stated is not there.
    """
    top = int(np.argmax(load))
    # Quick swings, as of cycles at a few samples a second, are no noise: differences of a higher order pass them less.
    least = resolution_of(load) / math.sqrt(12.0)
    noise = max(min(noise_of(load), 1.1 * noise_of(load, order=6)), least)
    blocks = Blocks.of(time, load)
    lowest = blocks.lowest
    height = float(load[top]) - lowest
    begins = _begins(time, load, noise)
    # Where nothing unloaded lasts, as in a rise of two samples to a hold, the lowest lasting level is no zero.
    whole = max(height, float(load[top]) - begins.level_n)
    if prior is not None and prior.relative > 0.0:
        whole = max(whole, float(load[top]) - prior.level_n)
    if not whole < LARGEST_N:
        raise NoPull(f"a load of {load[top]:.3g} N is no force of this world; is the unit right?")
    if len(load) < FEW_READINGS:
        noise = min(noise, BY_EYE * whole)
    if whole <= 8.0 * noise or whole < SMALLEST_N:
        raise NoPull("the load never rises clearly above its own noise; was the right channel recorded?")
    before = _before(blocks, time, load, top, noise, height)
    after = _after(blocks, time, load, top, noise, height)
    if before is None and after is None:  # a rough load is not taken for a noisy instrument
        noise = max(min(noise, QUIETEST * noise_of(load, share=0.05)), least)
    line = None if before is None else before[0]
    witnesses = []
    peak_s = float(time[top])
    if before is not None and stated in (None, "start"):
        found, trust = before
        spread = 0.0
        if prior is not None and prior.relative > 0.0:  # a recording of force: machines begin with a preload
            spread, trust = 0.0005 * whole, min(trust, PRELOADS)
        sure = math.hypot(found.standard_at_n(peak_s), spread)
        witnesses.append(Witness("before", found.at_n(peak_s), sure, trust))
    if after is not None and stated in (None, "end"):
        away = PLAUSIBLE_DRIFT_PER_S * whole * abs(after.at_s - peak_s)
        sure, trust = math.hypot(after.standard_n, away, 0.0005 * whole), after.trust
        if prior is not None and prior.relative > 0.0:
            trust = min(trust, LEFT_OVER)
        witnesses.append(Witness("after", after.level_n, sure, trust))
    if prior is not None and stated in (None, "instrument"):
        sure = math.hypot(prior.standard_n, prior.relative * whole)
        if stated == "instrument":
            sure = 0.0
        witnesses.append(Witness(prior.name, prior.level_n, sure, prior.trust, prior.nearly))
    if stated is not None:
        if not witnesses:
            where = {"start": "before the pull", "end": "after the pull", "instrument": "by the instrument"}
            raise NoPull(f"the zero was stated to be {where[stated]}, but there is nothing steady there")
        witnesses = [dataclasses.replace(one, trust=1.0) for one in witnesses[:1]]
    elif unloaded is not None:
        witnesses = _with_the_rest(witnesses, unloaded)
    given = {} if prior is None else {"shifts": prior.shifts}
    weighed = weigh(
        witnesses,
        whole,
        lowest,
        begins=begins if before is None else None,
        broke=after is not None and after.broke,
        **given,
    )
    return _as_line(weighed, line, after, time, load, top, noise, height)


def _with_the_rest(witnesses: list[Witness], unloaded: Unloaded) -> list[Witness]:
    """The witnesses, where the whole recording was lower than what is quiet beside this pull.

    Two pauses at one level do not confirm each other: a pre-tension is set again on purpose. So one of them is heard.
    """
    trusts = {"before": unloaded.before, "after": unloaded.after}
    above = [
        one
        for one in witnesses
        if one.name in trusts
        and trusts[one.name] < one.trust
        and one.level_n > unloaded.level_n + unloaded.near_n
    ]
    if not above:
        return witnesses
    doubted = dataclasses.replace(above[0], trust=min(trusts[one.name] for one in above))
    rest = [one for one in witnesses if one not in above]
    heard = Witness("recording", unloaded.level_n, unloaded.standard_n, unloaded.trust)
    return [doubted, heard, *rest]


@dataclass(frozen=True, slots=True)
class Blocks:
    """Medians over short times: `width` samples each, in order; what does not fill a block at the end is left out."""

    width: int
    medians: Array
    start_s: Array
    end_s: Array
    spreads: Array
    """Between the quartiles of each: medians alone would take whole cycles of a quick swing for quiet."""

    @classmethod
    def of(cls, time: Array, load: Array) -> "Blocks":
        steps = np.diff(time)
        usual = float(np.median(steps)) if len(steps) else BLOCK_S
        width = max(FEWEST_IN_BLOCK, round(BLOCK_S / max(usual, 1e-9)))
        width = min(width, max(FEWEST_IN_BLOCK, len(load) // 8))
        count = len(load) // width
        cut = load[: count * width].reshape(count, width)
        ends = np.arange(1, count + 1) * width - 1
        medians = np.median(cut, axis=1) if count else np.zeros(0)
        quartiles = np.quantile(cut, [0.25, 0.75], axis=1) if count else np.zeros((2, 0))
        starts_s, ends_s = time[: count * width : width], time[ends] if count else time[:0]
        return cls(width, medians, starts_s, ends_s, quartiles[1] - quartiles[0])

    @property
    def lowest(self) -> float:
        """The lowest level that lasts for two blocks."""
        if len(self.medians) < 2:
            return float(self.medians.min(initial=0.0))
        return float(np.maximum(self.medians[1:], self.medians[:-1]).min())

    def quiet(
        self, first: int, past: int, near: float, creep: float, fewest: int, most: float = math.inf
    ) -> list[tuple[int, int, float]]:
        """Stretches of blocks within [first, past) that stay within `near` of their level and do not climb.

        creep: newtons per second above which a stretch that climbs clearly is a ramp. most: spread within a block of
        what is quiet. Each as first block, block past the last, and level.
        """
        found: list[tuple[int, int, float]] = []
        i = first
        rough = self.spreads > most
        while i < past:
            level, j = float(self.medians[i]), i + 1
            while j < past and not rough[i] and not rough[j] and abs(self.medians[j] - level) <= near:
                share = 1.0 / min(j - i + 1, 5)  # an average at first; then it follows a slow drift
                level += share * float(self.medians[j] - level)
                j += 1
            lasts = self.end_s[j - 1] - self.start_s[i]
            if j - i >= fewest and lasts >= 0.8 * BLOCK_S * fewest and not self._climbs(i, j, creep):
                found.append((i, j, float(np.median(self.medians[i:j]))))
                i = j
            else:
                i += 1 if j - i < fewest else max(1, (j - i) // 2)
        return found

    def _climbs(self, first: int, past: int, creep: float) -> bool:
        y = self.medians[first:past]
        t = 0.5 * (self.start_s[first:past] + self.end_s[first:past])
        t = t - t.mean()
        slope = float(t @ y) / float(t @ t)
        left = y - y.mean() - slope * t
        sure = math.sqrt(float(left @ left) / max(len(y) - 2, 1) / float(t @ t))
        return abs(slope) > creep and abs(slope) > 4.0 * sure


def _begins(time: Array, load: Array, noise: float) -> Begins:
    """The first sample, if it goes with the next two; else the middle one of these three."""
    a, b, c = (float(one) for one in load[:3])
    fits = abs(b - a) <= 3.0 * abs(c - b) + 6.0 * noise
    return Begins(a if fits else sorted((a, b, c))[1], noise)


def _near(blocks: Blocks, noise: float, height: float) -> tuple[float, float]:
    """How far a block may lie from the level of a quiet stretch: as tight as the recording allows, and at most."""
    sway = noise_of(blocks.medians)
    loose = max(6.0 * noise, 0.01 * height)
    return min(max(6.0 * noise, 6.0 * sway, 1e-4 * height), loose), loose


def _before(
    blocks: Blocks, time: Array, load: Array, top: int, noise: float, height: float
) -> tuple[ZeroLine, float] | None:
    """The zero line through the quiet part before the pull, and how far it is to be trusted; None if there is none."""
    past = min(top // blocks.width, len(blocks.medians))
    if past < 1:
        return None
    creep = CREEPING * PLAUSIBLE_DRIFT_PER_S * height
    drift = 10.0 * PLAUSIBLE_DRIFT_PER_S * height
    most = ROUGH * height + 6.0 * noise
    for near, doubt in zip(_near(blocks, noise, height), (1.0, 0.8), strict=True):
        runs = blocks.quiet(0, past, near, creep, STAY_BLOCKS, most)
        if not runs or runs[0][0] > 0:
            runs = [*blocks.quiet(0, min(2, past), near, creep, 2, most), *runs]
        # A level that was undercut before is a hold in mid-pull, or slack amid it.
        runs = [
            run for run in runs if not _undercut(blocks.medians[: run[0]], run[2] - max(near, 0.01 * height))
        ]
        if not runs:
            continue
        low = min(runs, key=lambda run: run[2])
        level = [
            run
            for run in runs
            if run[2]
            <= low[2] + 3.0 * near + drift * abs(float(blocks.end_s[run[1] - 1] - blocks.end_s[low[1] - 1]))
        ]
        last = level[-1]
        last_quiet = last[1] * blocks.width
        onset_s = _hinge(time[: top + 1], load[: top + 1], last_quiet, height)
        inside = np.zeros(len(time), dtype=np.bool_)
        for first, end, _ in level:
            inside[first * blocks.width : end * blocks.width] = True
        inside &= (time >= onset_s - GUARD_S - ZERO_SPAN_S) & (time <= onset_s - GUARD_S)
        if inside.sum() < 4:
            inside[:] = False
            inside[max(0, last_quiet - 8) : last_quiet] = True
        onset = int(np.searchsorted(time, onset_s))
        line = _line(time[inside], load[inside], noise, height, onset_s, onset)
        lasts = line.end_s - line.start_s
        if level[0][0] == 0:
            trust = 0.99 if lasts >= 2.0 else 0.98 if lasts >= 0.8 else 0.9
        else:
            trust = 0.9 if lasts >= 3.0 else 0.7 if lasts >= 1.5 else 0.5
        return line, doubt * trust
    return None


def _undercut(medians: Array, level: float) -> bool:
    """Whether two blocks in a row, or the very first one, lie below a level."""
    if not len(medians):
        return False
    low = medians < level
    return bool(low[0] or (low[1:] & low[:-1]).any())


@dataclass(frozen=True, slots=True)
class _After:
    level_n: float
    standard_n: float
    at_s: float
    start_s: float
    end_s: float
    noise_n: float
    trust: float
    broke: bool
    """Whether the load went at once."""


def _after(blocks: Blocks, time: Array, load: Array, top: int, noise: float, height: float) -> _After | None:
    """The unloaded part after the pull; None if nothing steady and low was recorded after it."""
    first = top // blocks.width + 1
    count = len(blocks.medians)
    if count - first < 2:
        return None
    creep = CREEPING * PLAUSIBLE_DRIFT_PER_S * height
    most = ROUGH * height + 6.0 * noise
    for near, doubt in zip(_near(blocks, noise, height), (1.0, 0.8), strict=True):
        runs = blocks.quiet(first, count, near, creep, 2, most)
        runs = [run for run in runs if top < 0 or run[2] < load[top] - 0.5 * height]
        if not runs:
            continue
        lowest = min(run[2] for run in runs)
        runs = [run for run in runs if run[2] <= lowest + max(3.0 * near, 0.01 * height)]
        run = max(runs, key=lambda run: run[1] - run[0])
        part = slice(run[0] * blocks.width, run[1] * blocks.width)
        t, y = time[part], load[part]
        level = float(np.median(y))
        # Of blocks, which the end of the fall in the first of them does not spoil.
        pieces = np.array_split(blocks.medians[run[0] : run[1]], min(8, run[1] - run[0]))
        means = np.array([np.median(piece) for piece in pieces])
        standard = math.hypot(float(np.std(means, ddof=1)) / math.sqrt(len(means)), noise / math.sqrt(len(y)))
        lasts = float(t[-1] - t[0])
        broke = top >= 0 and _let_go_at_once(time, load, top, level)
        trust = (0.98 if broke else 0.9) if lasts >= 0.9 else 0.8
        scatter = STEADY * float(np.median(np.abs(y - level)))
        return _After(
            level,
            standard,
            float(t.mean()),
            float(t[0]),
            float(t[-1]),
            max(noise, scatter),
            doubt * trust,
            broke,
        )
    return None


def _let_go_at_once(time: Array, load: Array, top: int, level: float) -> bool:
    """Whether the load fell from above half of its height to near this level within half a second."""
    height = float(load[top]) - level
    low = np.flatnonzero(load[top:] < level + 0.1 * height)
    if not len(low):
        return False
    end = top + int(low[0])
    high = top + int(np.flatnonzero(load[top:end] > level + 0.5 * height)[-1])
    return bool(time[end] - time[high] <= 0.5)


def _as_line(
    weighed: WeighedZero,
    before: ZeroLine | None,
    after: _After | None,
    time: Array,
    load: Array,
    top: int,
    noise: float,
    height: float,
) -> ZeroLine:
    """The zero line that goes through what was found at the peak."""
    peak_s, level = float(time[top]), weighed.level_n
    believed = "before" in weighed.believed
    away = None if before is None else before.at_n(peak_s) - level
    simple = weighed.believed == ("before",) and weighed.table is None
    if before is not None and (believed or abs(away or 0.0) < 0.02 * height):
        line = ZeroLine(
            before.level_n - (away or 0.0),
            before.standard_n,
            before.drift_n_per_s if believed else 0.0,
            before.drift_standard_n_per_s if believed else 0.0,
            before.at_s if believed else peak_s,
            before.noise_n,
            before.onset_s,
            before.onset,
            before.start_s,
            before.end_s,
            believed,
        )
        if not believed:
            line = dataclasses.replace(line, level_n=level)
    else:
        found = (
            (after.start_s, after.end_s, after.noise_n)
            if after is not None and "after" in weighed.believed
            else None
        )
        start, end, own_noise = found or (float(time[0]), float(time[0]), noise)
        line = ZeroLine(
            level, 0.0, 0.0, 0.0, peak_s, max(noise, own_noise), float(time[0]), 0, start, end, False
        )
    if not simple:
        line = dataclasses.replace(
            line, standard_n=weighed.standard_n, drift_standard_n_per_s=0.0, doubt=weighed.table
        )
    shift = None
    if after is not None:
        shift = after.level_n - line.at_n(after.at_s)
    return dataclasses.replace(
        line,
        believed=weighed.believed,
        shift_n=shift,
        before_n=away if not believed else None,
        moved=weighed.moved,
    )


def _hinge(time: Array, load: Array, last_quiet: int, height: float) -> float:
    """Onset: corner of the best "level, then rising" curve (straight or bending up) around the departure."""
    level = float(np.median(load[max(0, last_quiet - 40) : last_quiet]))
    risen = np.flatnonzero(load[last_quiet:] > level + 0.05 * height)
    stop = last_quiet + (int(risen[0]) + 1 if len(risen) else 1)
    start = int(np.searchsorted(time, time[last_quiet - 1] - 1.5))
    stop = min(stop, int(np.searchsorted(time, time[last_quiet - 1] + 1.0)) + 1)
    step = max(1, (stop - start) // 400)
    stop = max(stop, min(last_quiet + 4, len(time)))
    t, y = time[start:stop:step], load[start:stop:step]
    if len(t) < 6:
        return float(time[last_quiet - 1])
    corners = np.linspace(t[2], t[-2], 60)
    best, best_error = float(t[2]), np.inf
    for power in (1.0, 2.0):
        basis = np.maximum(t[None, :] - corners[:, None], 0.0) ** power
        centred = basis - basis.mean(1, keepdims=True)
        rest = y - y.mean()
        size = (centred**2).sum(1)
        gain = np.maximum((centred * rest).sum(1), 0.0) ** 2 / np.maximum(size, 1e-300)
        error = (rest**2).sum() - gain
        at = int(np.argmin(error))
        if error[at] < best_error:
            best, best_error = float(corners[at]), float(error[at])
    return best


def _line(time: Array, load: Array, noise: float, height: float, onset_s: float, onset: int) -> ZeroLine:
    """Robust line through the quiet samples: knocks and their neighbours are left out."""
    keep = np.ones(len(time), dtype=np.bool_)
    middle = float(time.mean())
    level, slope = float(np.median(load)), 0.0
    for _ in range(4):
        rest = load - level - slope * (time - middle)
        spread = max(
            STEADY * float(np.median(np.abs(rest[keep] - np.median(rest[keep])))), noise, 1e-12 * height
        )
        away = np.abs(rest - np.median(rest[keep])) > 4.0 * spread
        away[2:] |= away[:-2].copy()
        away[:-2] |= away[2:].copy()
        if (~away).sum() < 4:
            break
        keep = ~away
        t, y = time[keep] - middle, load[keep]
        if len(t) >= 12 and np.ptp(t) > 0:
            slope = float(((t - t.mean()) * (y - y.mean())).sum() / ((t - t.mean()) ** 2).sum())
        level = float(y.mean() - slope * t.mean())
    t, y = time[keep] - middle, load[keep]
    rest = y - level - slope * t
    # Neighbouring samples may sway together: the scatter of block means tells what a mean is worth.
    blocks = min(8, len(rest) // 3)
    means = np.array([part.mean() for part in np.array_split(rest, max(blocks, 1))])
    scatter = max(
        float(np.std(means)) if blocks > 2 else 0.0, noise / np.sqrt(max(len(rest) / max(blocks, 1), 1))
    )
    standard = scatter / np.sqrt(max(blocks, 1)) if blocks > 2 else float(np.std(rest) + noise)
    span = float(np.ptp(t)) if len(t) > 1 else 1.0
    drift_standard = standard * np.sqrt(12.0) / max(span, 1e-9)
    plausible = PLAUSIBLE_DRIFT_PER_S * height
    if abs(slope) > 4.0 * np.hypot(plausible, drift_standard):
        standard = float(np.hypot(standard, abs(slope) * span / np.sqrt(12.0)))
        slope = 0.0
    trust = plausible**2 / (plausible**2 + drift_standard**2) if plausible > 0 else 0.0
    slope *= trust
    drift_standard = plausible * drift_standard / max(float(np.hypot(plausible, drift_standard)), 1e-300)
    return ZeroLine(
        level_n=level,
        standard_n=standard,
        drift_n_per_s=slope,
        drift_standard_n_per_s=drift_standard,
        at_s=middle,
        noise_n=max(noise, STEADY * float(np.median(np.abs(rest - np.median(rest)))))
        if len(rest) >= 24
        else noise,
        onset_s=onset_s,
        onset=onset,
        start_s=float(time[0]),
        end_s=float(time[-1]),
        quiet=True,
    )
