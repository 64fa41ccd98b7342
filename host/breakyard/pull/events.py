"""What happened: first peak, plateaus, settled load, partial drops, and how the specimen let go.

The rules use the load alone and do not depend on the sampling step. They are common practice unless a source
is named; the manner of break says which rule decided, and `sure` is False near a rule's limit.

brittle      a sudden fall from within 2 % of the peak, at once after it was reached
ductile      the load bent over: it stayed within 3 % of the peak five times longer than the loading rate
             explains, or it had eased by 2 % or more before it let go
progressive  at least one partial drop of 5 % of the peak or more before the last fall
none         no fall to below half of the load

A recording that ends in a fall which is faster than any unloading broke, to whatever level it was followed. Falls
that are the drive's (ripple, stops; see `swings`) are neither partial drops nor the end of a first peak.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from breakyard.pull.falls import Fall, find_falls
from breakyard.pull.results import Break, Drop, Energy, Manner, Plateau, Ripple, Settled
from breakyard.pull.swings import Swing, find_swings, of_the_drive, ripple_of

Array = NDArray[np.float64]

FIRST_PEAK_FALL: Final = 0.005
"""ISO 6892-1, upper yield: the highest load before a reduction of at least 0.5 % (from memory)."""

FIRST_PEAK_FLOOR: Final = 0.1
"""Below this fraction of the peak a maximum is handling or take-up, not the specimen."""

PARTIAL_DROP: Final = 0.05
EASED: Final = 0.02
NEAR_PEAK: Final = 0.97
BENT_OVER: Final = 5.0
LEFT_AFTER_BREAK: Final = 0.5
SLOWEST_TEAR_S: Final = 0.2
"""A tear takes no longer from four fifths of the load to one; a valve or a brake lets go more slowly."""

ENDS_WITHIN_S: Final = 0.3
"""A recording that ends so soon after a sudden fall shows no level that was held after it."""

ENDING_FALL: Final = 0.1
"""A fall at the recording's end of at least this fraction of the peak is a break, ..."""

ENDING_RATE: Final = 5.0
"""... if it is this many times faster than the load was put on."""

SWING: Final = 0.0025
"""Smallest fall, as a fraction of the peak, that is looked at as ripple."""

NOISY: Final = 8.0
"""A fall is no noise if it is this many times as large."""

AVERAGED_RISE: Final = 0.01
"""Noise is averaged over at most this fraction of the rise, ..."""

MOST_AVERAGED: Final = 400
"""... and at most this many samples."""

EASED_WITHIN_S: Final = 0.5
"""A load that goes from a half to nothing within this time, or EASED_STEPS, and EASED_FASTER than it came last, may
have been let go or have torn, seen through a slow filter; ..."""

EASED_STEPS: Final = 8.0

EASED_FASTER: Final = 8.0

STRAIGHT: Final = 0.05
"""... where the filter is known, only if it did not go evenly, to within this part of the time it took: nothing tears
at one speed; ..."""

EASED_SLOWLY_S: Final = 10.0
"""... one that takes longer than this, and than EASED_SHARE of the loading, may be the specimen's own giving way."""

EASED_SHARE: Final = 0.1

TELLING_S: Final = 0.3
"""Values of a fall that are farther apart than this do not show whether it was sudden (a break takes up to 0.2 s,
`falls.SUDDEN_S`), ..."""

FELL_WITHIN_S: Final = 0.5
"""... nor does a fall that took longer than this, unless it was the converter's filter that drew it out."""

SEEN_BY: Final = 1.0 / (0.5 * PARTIAL_DROP)
"""A rise over fewer values than this may hide partial drops: each is made up for in its share of the rise."""

FEW_STEPS: Final = 3
"""A fall over no more steps than this may have been sudden, however long they are."""

PULSE_S: Final = 0.2
"""A load that comes within this time is a pulse: the rules on how something breaks know nothing of it."""

ENDED_EARLY: Final = 0.1
"""A recording that ends above this fraction of the peak, unbroken, ended early."""

PLATEAU_RATE: Final = 0.1
"""On a plateau the load changes at less than this fraction of the loading rate ..."""
PLATEAU_S: Final = 0.75
"""... for at least this long."""


@dataclass(frozen=True, slots=True)
class PullSamples:
    """What the rules look at. time_s, load_n: usable samples without glitches, zero subtracted, shape (n,)."""

    time_s: Array
    load_n: Array
    onset: int
    """Index of the first sample after the onset."""
    period_s: float
    noise_n: float
    usual_rate: float
    """Typical loading rate in N/s."""
    delay_s: float
    """By how much the filter shows a sudden fall late."""
    clipped: bool
    """Whether the top of the curve is cut off at a rail."""
    too_short: bool = False
    """Whether the event is too short for the rate, so that its shape is the filter's."""
    filter_known: bool = False
    """Whether it is known how long the converter's filter draws out a sudden fall."""

    @property
    def top(self) -> int:
        """Index of the largest sample."""
        return int(np.argmax(self.load_n))

    @property
    def peak_n(self) -> float:
        return float(self.load_n.max())


@dataclass(frozen=True, slots=True)
class PullEvents:
    """The events of one pull."""

    first_peak: int | None
    """Index of the largest sample of the first peak; None if no fall of the specimen follows any."""
    failure: Break
    settled: Settled | None
    plateaus: tuple[Plateau, ...]
    drops: tuple[Drop, ...]
    break_index: int | None
    """Index of the last sample before the break."""
    ended_early: bool
    end_load_n: float
    rising: bool = False
    """Whether the recording ends while the load is at its highest and still rises."""
    in_fall: bool = False
    """Whether the recording ends in the fall of the break."""
    ripple: Ripple | None = None


def find_events(pull: PullSamples, falls: list[Fall] | None = None) -> PullEvents:
    """Tell the events of a pull. falls: its sudden falls, where they were looked for already."""
    time, load, top, peak = pull.time_s, pull.load_n, pull.top, pull.peak_n
    found = find_falls(time, load, peak, pull.noise_n, pull.usual_rate) if falls is None else falls
    sudden = [fall for fall in found if fall.start >= pull.onset]
    last = _break_of(pull, sudden)
    in_fall = False
    if last is None:
        last = _ending_fall(pull, sudden)
        in_fall = last is not None
    ended = float(np.median(load[-max(3, int(0.2 / pull.period_s)) :]))
    stop = last.start if last else _end_of_hold(load, top, peak)
    swings, shown, noise = _swings(pull, stop)
    driven = of_the_drive(swings, time, shown, pull.usual_rate, pull.period_s)
    theirs = [one for one, yes in zip(swings, driven.all, strict=True) if yes]
    ripple = ripple_of(swings, driven.rippling, time)
    plateaus = _plateaus(pull, stop)
    settled = _settled(plateaus, time, top, stop, broke=last is not None)
    drops = tuple(
        Drop(float(time[fall.start]) - pull.delay_s, fall.from_n, fall.to_n)
        for fall in sudden
        if fall is not last
        and fall.start < stop
        and fall.to_n >= 0.2 * peak
        and fall.beats(pull.usual_rate, time)
        and not any(one.top <= fall.end and fall.start <= one.bottom for one in theirs)
    )
    rising = last is None and _rises_to_the_end(pull)
    first = _first_peak(pull, swings, driven.all, last, noise)
    few = _may_hide_drops(pull)
    hidden = few or _between_steps(pull, swings, driven.all, drops)
    return PullEvents(
        first_peak=first,
        failure=_failure(
            pull,
            last,
            drops,
            settled,
            ripple,
            shown,
            noise,
            in_fall=in_fall,
            ended=ended,
            first=first,
            few=few,
            hidden=hidden,
        ),
        settled=settled,
        plateaus=plateaus,
        drops=drops,
        break_index=last.start if last else None,
        ended_early=last is None and ended > ENDED_EARLY * peak,
        end_load_n=ended,
        rising=rising,
        in_fall=in_fall,
        ripple=ripple,
    )


def work(time: Array, load: Array, extension: Array, onset: int, top: int, broke: int | None) -> Energy:
    """Work under the load over the extension, from the onset."""
    stretch = extension - extension[onset]

    def until(stop: int) -> float:
        return float(np.trapezoid(load[onset : stop + 1], stretch[onset : stop + 1]))

    return Energy(until(top), None if broke is None else until(broke), float(stretch[top]))


def _tenth(pull: PullSamples) -> int:
    """Index from which the load is no handling: the first sample above a tenth of the peak."""
    if pull.top <= pull.onset:
        return pull.top
    return pull.onset + int(
        np.argmax(pull.load_n[pull.onset : pull.top + 1] >= FIRST_PEAK_FLOOR * pull.load_n[pull.top])
    )


def _swings(pull: PullSamples, stop: int) -> tuple[list[Swing], Array, float]:
    """Falls that noise does not make, up to index `stop`; the load in which they were looked for, and its noise.

    Where noise would hide falls that count it is averaged out, over no more of the rise than such a fall may take;
    white noise then shrinks by the root of the number of samples.
    """
    time, load, peak = pull.time_s, pull.load_n, pull.peak_n
    begin, shown, noise = _tenth(pull), load[: stop + 1], pull.noise_n
    if NOISY * noise > SWING * peak:
        rise_s = float(time[max(pull.top, begin)] - time[begin])
        most = int(
            min(AVERAGED_RISE * rise_s / max(_usual_step(time[begin : stop + 1]), 1e-12), MOST_AVERAGED)
        )
        half = min(int((NOISY * noise / (SWING * peak)) ** 2), most) // 2
        if half and stop + 1 > 4 * half:
            over = np.ones(2 * half + 1)  # at the ends over as many samples as there are
            shown = np.convolve(shown, over, mode="same") / np.convolve(np.ones(stop + 1), over, mode="same")
            noise = 1.25 * noise / (2 * half + 1) ** 0.5
    else:
        half = 0
    found = []
    for one in find_swings(shown[begin:], max(SWING * peak, NOISY * noise)):
        at, least = begin + one.top, begin + one.bottom
        if half:
            near = slice(max(begin, at - half), min(at + half, stop) + 1)
            at = near.start + int(np.argmax(load[near]))
            least = max(least, at)
        found.append(Swing(at, least, one.from_n, one.to_n))
    return found, shown, noise


def _usual_step(time: Array) -> float:
    """The step in which half of the time passes: a window of many samples is short amid means of a second."""
    steps = np.sort(np.diff(time))
    passed = np.cumsum(steps)
    return float(steps[np.searchsorted(passed, 0.5 * passed[-1])]) if len(steps) else 0.0


def _first_peak(
    pull: PullSamples, swings: list[Swing], driven: list[bool], last: Fall | None, noise_n: float
) -> int | None:
    """The first highest load before a fall of 0.5 % that is not the drive's; the peak itself if it broke there."""
    highest = -np.inf
    for swing, known in zip(swings, driven, strict=True):
        if swing.top > pull.top:
            break
        least = max(FIRST_PEAK_FALL * swing.from_n, NOISY * noise_n)
        if swing.from_n > highest and swing.size_n >= least and not known:
            return swing.top
        highest = max(highest, swing.from_n)
    after = pull.load_n[pull.top :]
    fell = float(pull.load_n[pull.top] - after.min()) >= FIRST_PEAK_FALL * pull.peak_n
    return pull.top if last is not None or fell else None


def _rises_to_the_end(pull: PullSamples) -> bool:
    """Whether the load is at its highest, and still rising, when the recording ends."""
    time, load = pull.time_s, pull.load_n
    if load[-1] < NEAR_PEAK * pull.peak_n or time[-1] - time[pull.top] > max(1.0, 4.0 * pull.period_s):
        return False
    first = min(int(np.searchsorted(time, time[-1] - 0.3)), len(time) - 4)
    if first < 0:
        return True
    slope = float(np.polyfit(time[first:] - time[-1], load[first:], 1)[0])
    return slope > 0.1 * pull.usual_rate


def _break_of(pull: PullSamples, falls: list[Fall]) -> Fall | None:
    """The first fall that left less than half of what it fell from, with nothing as high after it."""
    load, top, peak = pull.load_n, pull.top, pull.peak_n
    for fall in falls:
        gone = fall.to_n < LEFT_AFTER_BREAK * fall.from_n
        if gone and fall.from_n > 0.1 * peak and fall.end >= top and load[fall.end :].max() < fall.from_n:
            return fall
    return _slow_break(pull.time_s, load, top, peak)


def _ending_fall(pull: PullSamples, falls: list[Fall]) -> Fall | None:
    """A sudden fall in which the recording ends, or right after which it does: nobody unloads as fast as that."""
    time, load = pull.time_s, pull.load_n
    if not falls or falls[-1].start < pull.top - 6:
        return None
    fall = falls[-1]
    least = float(load[fall.start :].min())
    size = fall.from_n - least
    spent = max(float(time[fall.end] - time[fall.start]), pull.period_s)
    soon = time[-1] - time[fall.end] <= max(ENDS_WITHIN_S, 3.0 * pull.period_s)
    fast = size / spent > ENDING_RATE * max(pull.usual_rate, 0.0)
    still_down = load[-1] < fall.from_n - 0.5 * size
    if not (soon and fast and still_down and size >= ENDING_FALL * pull.peak_n):
        return None
    return Fall(fall.start, fall.end, fall.from_n, float(load[-1]))


def _slow_break(time: Array, load: Array, top: int, peak: float) -> Fall | None:
    """A tear: too slow for a sudden fall, too quick for letting the line out."""
    below = np.flatnonzero(load[top:] < 0.2 * peak)
    if not len(below):
        return None
    end = top + int(below[0])
    start = top + int(np.flatnonzero(load[top:end] > 0.8 * peak)[-1])
    if time[end] - time[start] > SLOWEST_TEAR_S:
        return None
    after = load[end : end + max(3, int(np.searchsorted(time[end:], time[end] + 0.3)))]
    return Fall(start, end, float(load[start]), float(np.median(after)))


def _end_of_hold(load: Array, top: int, peak: float) -> int:
    """Where the last descent of an unbroken pull begins, or the end of the recording."""
    high = np.flatnonzero(load[top:] > 0.8 * peak)
    return top + int(high[-1])


def _failure(
    pull: PullSamples,
    last: Fall | None,
    drops: tuple[Drop, ...],
    settled: Settled | None,
    ripple: Ripple | None,
    shown: Array,
    noise_n: float,
    *,
    in_fall: bool,
    ended: float,
    first: int | None,
    few: bool,
    hidden: bool,
) -> Break:
    """How it let go.

    few: whether few values show the rise; hidden: whether partial drops may not be seen. shown, noise_n: the load up
    to there, its noise averaged out where it would matter, and the rest of that noise.
    """
    time, load, top, peak = pull.time_s, pull.load_n, pull.top, pull.peak_n
    swing = 0.0 if ripple is None else ripple.size_n
    if last is None:
        if ENDED_EARLY * peak < ended < (1.0 - EASED) * peak - swing:
            share = 100.0 * ended / peak
            reason = (
                f"the load had eased to {share:.0f} % of the peak when the recording ended; no sudden fall"
            )
            return Break("none", None, None, None, False, reason)
        # Who stops recording under load does not know what came next.
        over = ended <= ENDED_EARLY * peak and not pull.too_short
        doubt = _doubted_unloading(pull) if over else ""
        return Break(
            "none", None, None, None, over and not doubt, doubt or "no fall to below half of the load"
        )
    residual = None if in_fall else _residual(time, load, last)
    instant = _half_way(time, load, last) - pull.delay_s
    sizes = [(drop.from_n - drop.to_n) / peak for drop in drops]
    partial = [size for size in sizes if size >= PARTIAL_DROP]
    highest, held = peak, last.from_n
    if noise_n < pull.noise_n:  # the largest of many noisy samples is no peak, nor the last one what was held
        load, top = shown, int(np.argmax(shown))
        highest, held = float(shown[top]), float(shown[-1])
    eased = 1.0 - held / highest - 1.2 * swing / peak
    near = _came_near(load, max(top, last.start), highest)
    rate = pull.usual_rate
    if ripple is not None:  # strokes rise faster than the load does on the whole
        half = int(np.argmax(load[: near + 1] >= 0.5 * peak))
        rate = min(rate, (NEAR_PEAK - 0.5) * peak / max(float(time[near] - time[half]), pull.period_s))
    expected = max(((1 - NEAR_PEAK) * peak + swing) / max(rate, 1e-9), 4.0 * pull.period_s)
    lingered = float(time[last.start] - time[near]) / expected
    manner: Manner
    if partial:
        manner, sure = "progressive", len(partial) >= 2 or max(partial) >= 2 * PARTIAL_DROP
        sure = sure and max(partial) * peak > 2.0 * swing
        reason = f"{len(partial)} partial drop(s) of 5 % of the peak or more before the last fall"
    elif eased >= EASED and last.start > top + 6:
        manner, sure = "ductile", eased >= 1.5 * EASED + NOISY * noise_n / peak and not sizes
        reason = f"the load had eased by {100 * (1.0 - held / highest):.0f} % before it let go"
    elif lingered >= BENT_OVER and not pull.clipped:
        manner, sure = "ductile", lingered >= 1.6 * BENT_OVER
        reason = f"it stayed near the peak {lingered:.0f} times longer than the loading rate explains"
    else:
        manner, sure = (
            "brittle",
            lingered <= 0.6 * BENT_OVER and eased < 0.5 * EASED + 6 * noise_n / peak,
        )
        reason = "a sudden fall from the peak at once after it was reached"
        # What gave before, and hardened, need not have been brittle.
        sure = sure and not sizes and not pull.clipped and (first is None or first >= pull.top - 6)
    if in_fall:
        reason += "; the recording ends in the fall"
    if between_values(time, instant):
        sure = False
        reason += "; the values are too far apart to tell whether it was let down"
    elif not pull.filter_known and time[last.end] - time[last.start] > FELL_WITHIN_S:
        sure = False
        reason += "; it took long enough to have been let down"
    pulse = float(time[top] - time[min(pull.onset, top)]) < PULSE_S
    sure = sure and not pulse and not pull.too_short and last.beats(pull.usual_rate, time)
    sure = sure and not (few and manner == "ductile") and not (hidden and manner == "brittle")
    return Break(manner, instant, last.from_n, residual, bool(sure), reason)


def between_values(time: Array, at_s: float | None) -> bool:
    """Whether a moment lies where values are too far apart to tell a fall from a load that is let down."""
    if at_s is None:
        return False
    at = int(np.searchsorted(time, at_s))
    return float(np.diff(time[max(at - 1, 0) : at + 2]).max(initial=0.0)) > TELLING_S


def _may_hide_drops(pull: PullSamples) -> bool:
    """Whether the rise was recorded in so few values that a partial drop may lie between two of them."""
    steps = np.diff(pull.time_s[pull.onset : pull.top + 1])
    whole = float(steps.sum())
    return (
        not len(steps) or SEEN_BY * float((steps**2).sum()) > whole**2
    )  # the mean step, each weighed by its time


def _between_steps(
    pull: PullSamples, swings: list[Swing], driven: list[bool], drops: tuple[Drop, ...]
) -> bool:
    """Whether a fall as large as a partial drop lies within a few values, too far apart to show how sudden it was."""
    least = 0.3 * PARTIAL_DROP * pull.peak_n  # a mean over the drop shows a part of it
    return any(
        one.size_n >= least
        and one.bottom - one.top <= FEW_STEPS
        and not theirs
        and not any(abs(drop.from_n - one.from_n) < 0.5 * one.size_n for drop in drops)
        for one, theirs in zip(swings, driven, strict=True)
        if one.bottom < len(pull.load_n) - 1 and one.top < pull.top
    )


def _came_near(load: Array, last: int, highest: float) -> int:
    """Index at which the load came near the peak for good: what it did before it was let off to a half is another
    loading."""
    close = int(np.flatnonzero(load[: last + 1] >= NEAR_PEAK * highest)[-1])
    let_off = np.flatnonzero(load[:close] < 0.5 * highest)
    begin = int(let_off[-1]) + 1 if len(let_off) else 0
    return begin + int(np.argmax(load[begin : close + 1] >= NEAR_PEAK * highest))


def _doubted_unloading(pull: PullSamples) -> str:
    """Why an unloading may be something else: too fast for a hand, or too slow; empty if nothing speaks against it."""
    time, load, top, peak = pull.time_s, pull.load_n, pull.top, pull.peak_n

    def took(high: float, low: float) -> float:
        """Time between these shares of the peak on the last way down; endless if it never came there."""
        start = top + int(np.flatnonzero(load[top:] > high * peak)[-1])
        below = np.flatnonzero(load[start:] < low * peak)
        return float(time[start + int(below[0])] - time[start]) if len(below) else math.inf

    quick, whole = took(0.55, 0.15), took(0.8, 0.2)
    if math.isinf(quick) or math.isinf(whole):
        return ""
    short = quick < max(EASED_WITHIN_S, EASED_STEPS * pull.period_s)
    if pull.filter_known and abs(quick / whole - 0.4 / 0.6) < STRAIGHT:
        short = False
    # What bent over before rose more slowly than it was loaded on the whole.
    last = int(np.flatnonzero(load[top:] > 0.8 * peak)[-1]) + top
    first = int(np.searchsorted(time, time[last] - max(10.0 * quick, 4.0 * pull.period_s)))
    before = (float(load[top]) - float(load[first])) / max(float(time[last] - time[first]), 1e-12)
    came = min(max(pull.usual_rate, 0.0), max(before, 0.0))
    if short and 0.4 * peak / max(quick, 1e-12) > EASED_FASTER * came:
        return f"the load went within {quick:.2g} s: let go, or torn and seen through a slow filter"
    if whole > max(EASED_SLOWLY_S, EASED_SHARE * float(time[top] - time[min(pull.onset, top)])):
        return f"the load eased for {whole:.3g} s: let out, or the specimen gave way slowly"
    return ""


def _residual(time: Array, load: Array, last: Fall) -> float:
    stop = int(np.searchsorted(time, time[last.end] + 0.8))
    after = load[last.end : max(stop, last.end + 1)]
    return float(np.median(after))


def _half_way(time: Array, load: Array, last: Fall) -> float:
    """When the samples are half-way down: the break, seen late by the filter's delay."""
    middle = 0.5 * (last.from_n + min(last.to_n, float(load[last.end])))
    k = last.start + int(np.argmax(load[last.start : last.end + 1] <= middle))
    if k == last.start:
        return float(time[k])
    part = (load[k - 1] - middle) / (load[k - 1] - load[k])
    return float(time[k - 1] + part * (time[k] - time[k - 1]))


def _plateaus(pull: PullSamples, stop: int) -> tuple[Plateau, ...]:
    """Stretches of nearly constant load above a third of the peak."""
    time, load, onset, peak = pull.time_s, pull.load_n, pull.onset, pull.peak_n
    if stop - onset < 12:
        return ()
    width = max(4, int(np.searchsorted(time[onset:], time[onset] + 0.25)))
    count = (stop - onset) // width
    if count < 3:
        return ()
    used = load[stop - count * width : stop].reshape(count, width)
    at = time[stop - count * width : stop].reshape(count, width)
    levels, middles = np.median(used, axis=1), at.mean(axis=1)
    rates = np.abs(np.diff(levels) / np.diff(middles))
    still = (
        (rates < PLATEAU_RATE * pull.usual_rate)
        & (levels[1:] > peak / 3)
        & (np.ptp(used[1:], axis=1) < 0.03 * peak)
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8)))
    found = []
    for first, past in zip(edges[::2], edges[1::2], strict=True):
        start, end = float(at[first, 0]), float(at[past, -1])
        level = float(np.median(used[first : past + 1]))
        cut_off = pull.clipped and level > 0.998 * peak  # the rail is level, the load was not
        if end - start >= PLATEAU_S and not cut_off:
            found.append(Plateau(level, start, end))
    return tuple(found)


def _settled(
    plateaus: tuple[Plateau, ...], time: Array, top: int, stop: int, *, broke: bool
) -> Settled | None:
    """The last plateau at or after the peak, if the specimen still held it when it broke or was let go."""
    for plateau in reversed(plateaus):
        if plateau.end_s > time[top] and (plateau.end_s >= time[stop] - 1.0 or not broke):
            return Settled(plateau.load_n, max(plateau.start_s, float(time[top])), plateau.end_s)
    return None
