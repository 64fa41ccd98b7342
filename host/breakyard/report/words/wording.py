"""One sentence for each doubt: what happened and what it means for the number. No advice on safety here."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final

from breakyard.pull.results import Summary
from breakyard.report.words.values import bound_text, load_text, standard_n

Sentence = Callable[[Summary, str], str]

SERIOUS: Final = frozenset(
    {
        "clipped",
        "shock",
        "gap",
        "zero_shift",
        "no_zero",
        "ended_early",
        "incomplete",
        "store_full",
        "over_safe_load",
    }
)
"""Flags that put the number itself in doubt; the others only tell what happened, or have widened its interval
(as "extrapolated" has, which is the rule where known masses are far below the loads pulled)."""

SHORT: Final[Mapping[str, str]] = {
    "clipped": "off scale",
    "shock": "too short for the rate",
    "glitch": "spikes left out",
    "gap": "samples missing at the peak",
    "zero_shift": "zero moved",
    "no_break": "did not break",
    "ended_early": "recording ends under load",
    "extrapolated": "beyond the known loads",
    "incomplete": "recording incomplete",
    "no_zero": "nothing unloaded was recorded",
    "zero_after": "zero taken after the pull",
    "preload": "a preload before the pull",
    "reversed": "recorded as a push",
    "cycles": "perhaps one specimen, loaded several times",
    "ripple": "strokes or surges of the drive",
    "ends_in_fall": "recording ends in the fall",
    "accuracy_assumed": "accuracy not stated",
    "filter_unknown": "converter not known",
    "over_capacity": "above the cell's capacity",
    "over_safe_load": "above the cell's safe load",
    "store_full": "the store was full",
    "means": "means were stored",
    "repeats": "readings written down several times",
    "odd_filter": "the converter's filter is unusual",
}
"""A few words for each flag, for pictures."""

_LONG: Final[Mapping[str, Sentence]] = {
    "clipped": lambda s, u: (
        "The load went off the converter's scale, so the peak is only known to lie above "
        f"{bound_text(s.peak.low_n, standard_n(s), u)} {u}; use a lower gain or a larger cell."
    ),
    "shock": lambda s, u: (
        f"The load rose and fell too fast for {_per_second(s.run.rate_hz)} samples a second, so the peak is a lower "
        f"bound (to be caught within 1 % it would have to last {_time(s.peak.shortest_event_s)}); pull more slowly."
    ),
    "glitch": lambda s, u: (
        f"Left out: {_count(len(s.glitches), 'sample', 'samples')} that no force can make through the converter."
        if s.filter is None or s.filter.source != "none"
        else f"Left out: {_count(len(s.glitches), 'sample', 'samples')} alone, far from the load before and after."
    ),
    "gap": lambda s, u: "Samples are missing at the peak or for long before it; the interval allows for it.",
    "no_zero": lambda s, u: (
        "Nothing unloaded was recorded, so the zero is not that of this pull; start the recording sooner."
    ),
    "zero_after": lambda s, u: "The recording begins under load; the zero was taken from after the pull.",
    "preload": lambda s, u: (
        "What was read before the pull was taken for a load that was on already, and not subtracted; if nothing was on "
        "the cell then, the peak is lower by it (of an imported file: import it again with --zero start)."
    ),
    "reversed": lambda s, u: (
        "The load was recorded as a push and turned round; look whether the signal wires are swapped."
    ),
    "ripple": lambda s, u: (
        "The load swung with the drive (strokes or surges); that is taken for nothing that the specimen did."
        if s.ripple is None
        else f"The load swung by {load_text(s.ripple.size_n, u)} {u}, {s.ripple.rate_hz:.2g} times a second: strokes "
        "or surges of the drive, taken for nothing that the specimen did."
    ),
    "ends_in_fall": lambda s, u: (
        "The recording ends in the fall: the specimen broke, and what it still held is not known."
    ),
    "accuracy_assumed": lambda s, u: (
        "Nobody stated how accurate the instrument is; a wide accuracy was assumed (--accuracy)."
    ),
    "filter_unknown": lambda s, u: (
        "What made the numbers is not known; what its filter may have hidden at the break is in the interval."
    ),
    "over_capacity": lambda s, u: (
        "The peak is above the cell's capacity: look whether its zero has moved before the next pull."
    ),
    "over_safe_load": lambda s, u: (
        "The peak is above 1.5 times the cell's capacity, the usual safe overload: calibrate it again."
    ),
    "means": lambda s, u: (
        "Means were stored, not samples: what was shorter than one of them shows only around the largest peaks."
    ),
    "repeats": lambda s, u: (
        f"Each reading was written down several times; about {_per_second(s.run.rate_hz)} a second are new, and count."
    ),
    "store_full": lambda s, u: (
        "The logger's store was full before the pull was over; a higher load may have followed."
    ),
    "cycles": lambda s, u: (
        "All pulls of this recording but the last were let out slowly: if they are of one specimen, say so "
        "(--one-specimen)."
    ),
    "zero_shift": lambda s, u: (
        f"The unloaded reading after the pull is {load_text(s.zero.shift_n or 0.0, u)} {u} from that before it: an "
        "overloaded cell, a slipped mount, or something that still hung on it; the interval allows for that."
    ),
    "no_break": lambda s, u: (
        "The specimen did not break, so it bears at least this load and perhaps much more."
    ),
    "ended_early": lambda s, u: (
        f"The recording ends while {load_text(s.end_load_n, u)} {u} are still on, so a higher peak "
        "may have followed."
    ),
    "extrapolated": lambda s, u: (
        f"Extrapolated{_times(s)}: beyond the highest known load of the calibration; its interval allows for that."
    ),
    "odd_filter": lambda s, u: (
        "The converter's measured step response is that of no filter of order 3 or 4; the interval allows for it."
    ),
    "incomplete": lambda s, u: (
        "Parts of the recording are missing or damaged; the highest load may be among them."
    ),
}

_MANNERS: Final[Mapping[str, str]] = {
    "brittle": "brittle: all at once",
    "ductile": "ductile: gave way before it broke",
    "progressive": "progressive: let go in steps",
    "none": "did not break",
}

MANNER_WORDS: Final[Mapping[str, str]] = {
    "brittle": "brittle",
    "ductile": "ductile",
    "progressive": "progressive",
    "none": "did not break",
}
"""One or a few words for each manner, for counts."""


def doubts(summary: Summary, unit: str, without: Iterable[str] = ()) -> tuple[str, ...]:
    """One sentence per flag, serious ones first. A flag of a newer version is named as it is.

    Raises: UnitError.
    """
    left_out = set(without)
    return tuple(sentence_for(flag, summary, unit) for flag in _ordered(summary) if flag not in left_out)


def sentence_for(flag: str, summary: Summary, unit: str) -> str:
    """The sentence for one flag. Raises: UnitError."""
    return _LONG.get(flag, _unknown(flag))(summary, unit)


def short_doubts(summary: Summary, without: Iterable[str] = ()) -> tuple[str, ...]:
    """A few words per flag, serious ones first; flags in `without` are left out."""
    left_out = set(without)
    return tuple(short_words(flag) for flag in _ordered(summary) if flag not in left_out)


def short_words(flag: str) -> str:
    """A few words for a flag; one of a newer version is named as it is."""
    return SHORT.get(flag, flag.replace("_", " "))


EXTRAPOLATED: Final = "extrapolated"


def shared_flags(summaries: Sequence[Summary]) -> tuple[str, ...]:
    """Mild flags that all of several pulls carry: they say nothing of any one of them."""
    if len(summaries) < 2:
        return ()
    common = set.intersection(*(set(summary.flags) for summary in summaries)) - SERIOUS
    return tuple(flag for flag in _ordered(summaries[0]) if flag in common)


def said_once(summaries: Sequence[Summary]) -> tuple[str, ...]:
    """Flags that a table says once for its rows: those that all share, and that several lie beyond the known loads."""
    shared = shared_flags(summaries)
    beyond = sum(EXTRAPOLATED in summary.flags for summary in summaries)
    return (*shared, EXTRAPOLATED) if beyond > 1 and EXTRAPOLATED not in shared else shared


def once_sentence(flag: str, summaries: Sequence[Summary], unit: str) -> str:
    """What a table says once for a flag. Raises: UnitError."""
    if flag != EXTRAPOLATED:
        return f"All: {sentence_for(flag, summaries[0], unit)}"
    beyond = [summary for summary in summaries if flag in summary.flags]
    times = sorted(one.extrapolation for one in beyond if one.extrapolation is not None)
    ends = dict.fromkeys(f"x {end:.1f}" for end in (times[0], times[-1])) if times else {}
    far = f" {' to '.join(ends)}" if ends else ""
    who = "All" if len(beyond) == len(summaries) else f"{len(beyond)} of {len(summaries)}"
    return f"{who}: Extrapolated{far}: beyond the highest known load of the calibration; the intervals allow for that."


def _ordered(summary: Summary) -> list[str]:
    return sorted(dict.fromkeys(summary.flags), key=lambda flag: flag not in SERIOUS)


def is_doubtful(summary: Summary) -> bool:
    """Whether the number must not stand beside the others as an ordinary one."""
    return (
        summary.peak.bound == "lower"
        or summary.strength.at_least
        or bool(SERIOUS.intersection(summary.flags))
    )


def manner_text(summary: Summary) -> str:
    """How it broke, in words."""
    text = _MANNERS[summary.failure.manner]
    return text if summary.failure.sure or summary.failure.manner == "none" else f"probably {text}"


def _unknown(flag: str) -> Sentence:
    return lambda summary, unit: f"Flag: {flag.replace('_', ' ')}."


FAR: Final = 5.0
"""Times the highest known load: further the sheet of the cell is believed more than any mass that hung."""


def far_sentence(summaries: Sequence[Summary]) -> tuple[str, ...]:
    """What is needed where pulls lie far beyond the known loads, and how sure they are without it."""
    far = [s for s in summaries if (s.extrapolation or 0.0) > FAR and s.peak.high_n is not None]
    if not far:
        return ()
    percent = 100 * max(
        abs(end / s.peak.estimate_n - 1.0)
        for s in far
        for end in (s.peak.low_n, s.peak.high_n or s.peak.low_n)
    )
    sentence = (
        f"Beyond {FAR:g} times the highest known load: for better than {percent:.2g} % a second, certified cell in the "
        "same line or a proof load is needed."
    )
    return (sentence,)


def _times(summary: Summary) -> str:
    return "" if summary.extrapolation is None else f" x {summary.extrapolation:.1f}"


def _per_second(rate_hz: float) -> str:
    return f"{rate_hz:.0f}" if rate_hz >= 9.5 else f"{rate_hz:.2g}"


def _time(seconds: float) -> str:
    return f"{1000 * seconds:.0f} ms" if seconds < 1.0 else f"{seconds:.1f} s"


def _count(number: int, one: str, many: str) -> str:
    return f"1 {one}" if number == 1 else f"{number} {many}"
