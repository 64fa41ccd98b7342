"""A comparison in words and cells, for tables of any kind. Loads are in the unit, without naming it."""

from typing import Final

from breakyard.comparison import Comparison
from breakyard.comparison.groups import Group
from breakyard.comparison.pairwise import Beats
from breakyard.comparison.verdict import Pair
from breakyard.report.words.ranking import MANY, ranked_groups
from breakyard.report.words.scatter import NOTHING, scatter_n, spread_text
from breakyard.report.words.values import bound_text
from breakyard.report.words.wording import short_words

WIDEST: Final = 10.0
"""An interval whose ends differ by more than this factor is called "too few"; its numbers are in the JSON."""

MOST_SENTENCES: Final = 2
"""Pairs that a short verdict tells one by one."""

INTERVAL_NOTE: Final = (
    'Interval*: of the mean or, where some loads are only "at least", of the median of the Weibull curve. It includes '
    "the instrument's own uncertainty."
)


CLAIMS_NOTE: Final = (
    "Bounds: the lowest of the curves that these loads do not speak against (normal, log-normal, Weibull), named "
    "beside it. No number here makes a part safe to lift, to hold people, or to trust one's weight to. Local codes and "
    "qualified people come first."
)
"""Stands under every table of bounds."""


def group_headings(comparison: Comparison) -> tuple[str, ...]:
    """What the cells of `group_cells` are."""
    level = f"{100 * comparison.coverage:.6g} %"
    return (
        "Group",
        "Specimens",
        "Mean",
        f"{level} interval*",
        "SD",
        "Scatter (SD/mean)",
        "Median",
        "Lowest to highest",
    )


def claim_headings(comparison: Comparison) -> tuple[str, ...]:
    """What the cells of `claim_cells` are."""
    bounds = comparison.groups[0].bounds
    told = (
        f"{100 * one.content:.0f} % bear it, {100 * one.confidence:.0f} % sure ({one.name})" for one in bounds
    )
    return ("Group", *told, "Weibull shape", "Weibull scale")


def claim_cells(group: Group, unit: str) -> tuple[str, ...]:
    """What may be claimed of a group's next specimens. Raises: UnitError."""
    spread = scatter_n(group)
    curve = group.weibull
    shape = scale = NOTHING
    if curve is not None:
        ends = ("?" if end is None else f"{end:.3g}" for end in (curve.shape_low, curve.shape_high))
        shape = f"{curve.shape:.3g} ({' to '.join(ends)})"
        scale = spread_text(curve.scale_n, unit, spread)
        low, high = curve.scale_low_n, curve.scale_high_n
        if low is None or high is None or high > WIDEST * low:
            scale += " (too few breaks)"
        else:
            scale += f" ({spread_text(low, unit, spread, -1)} to {spread_text(high, unit, spread, 1)})"
    claims = (_claimed(spread_text(bound.value_n, unit, spread, -1), bound.method) for bound in group.bounds)
    return (group.name, *claims, shape, scale)


def group_cells(group: Group, unit: str) -> tuple[str, ...]:
    """One group's numbers; what the data can't say is a dash. Raises: UnitError."""
    spread = scatter_n(group)

    def load(value: float | None, way: int = 0) -> str:
        return spread_text(value, unit, spread, way)

    # Beside the interval stands the median that it belongs to.
    interval = group.interval
    median = group.median_n if group.mean_n is not None or group.weibull is None else middle_n(group)
    if interval is None:
        within = NOTHING
    elif interval.high_n is None or interval.high_n > WIDEST * interval.low_n:
        within = "too few breaks"
    else:
        within = f"{load(interval.low_n, -1)} to {load(interval.high_n, 1)}"
    return (
        group.name,
        f"{group.n}" + (f', {group.at_least} only "at least"' if group.at_least else ""),
        load(group.mean_n),
        within,
        load(group.sd_n),
        NOTHING if group.cv is None else f"{100 * group.cv:.1f} %",
        load(median),
        _ends(group, unit),
    )


def _ends(group: Group, unit: str) -> str:
    """Lowest to highest load, each rounded as in every other table, and marked where it is only a bound."""
    shown = []
    for pull in (
        min(group.pulls, key=lambda one: (one.value_n, one.at_least)),
        max(group.pulls, key=lambda one: (one.value_n, one.at_least)),
    ):
        if pull.at_least:
            shown.append(f"at least {bound_text(pull.sure_n, pull.half_n / 2.0, unit)}")
        else:
            shown.append(spread_text(pull.value_n, unit, pull.half_n or scatter_n(group)))
    return shown[0] if group.n == 1 else f"{shown[0]} to {shown[1]}"


def spread_cell(group: Group, unit: str) -> str:
    """Between which loads most of such parts lie, rounded outwards. Raises: UnitError."""
    if group.spread is None:
        return NOTHING
    spread = scatter_n(group)
    low, high = group.spread.low_n, group.spread.high_n
    return f"{spread_text(low, unit, spread, -1)} to {spread_text(high, unit, spread, 1)}"


def interval_line(group: Group, unit: str) -> str:
    """A group's mean or median with its interval, in words; "" where the data give none. Raises: UnitError."""
    interval = group.interval
    if interval is None:
        return ""
    spread = scatter_n(group)
    low = spread_text(interval.low_n, unit, spread, -1)
    what = f"{100 * interval.coverage:g} % interval of the {'mean' if group.mean_n is not None else 'median'}"
    if interval.high_n is None or interval.high_n > WIDEST * interval.low_n:
        return f"{what}: from {low} {unit} up, no useful upper end"
    return f"{what}: {low} to {spread_text(interval.high_n, unit, spread, 1)} {unit}"


def middle_n(group: Group) -> float | None:
    """What a group's interval belongs to: its mean, else the median of its Weibull curve."""
    if group.mean_n is not None:
        return group.mean_n
    return None if group.weibull is None else group.weibull.median_n


def _claimed(text: str, curve: str) -> str:
    """A bound with the curve that gives it."""
    return NOTHING if text == NOTHING or float(text) == 0.0 else f"{text} ({curve})"


def short_verdict(pair: Pair) -> str:
    """A pair's verdict without its numbers, which are in its own sentence."""
    if pair.verdict == "first_more":
        return f"{pair.first} carries more than {pair.second}."
    if pair.verdict == "second_more":
        return f"{pair.second} carries more than {pair.first}."
    if pair.verdict == "no_difference_shown":
        return f"No difference shown between {pair.first} and {pair.second}."
    return f"Can't tell {pair.first} from {pair.second}: too few specimens."


def verdict_of(comparison: Comparison) -> str:
    """The pairs of a comparison in a sentence or two: what is shown first, then how much is left open."""
    if len(comparison.groups) > MANY:
        return _of_many(comparison)
    decided = [pair for pair in comparison.pairs if _more(pair)]
    alike = sum(pair.verdict == "no_difference_shown" for pair in comparison.pairs)
    open_ = len(comparison.pairs) - len(decided) - alike
    if len(comparison.pairs) <= MOST_SENTENCES:
        return " ".join(short_verdict(pair) for pair in comparison.pairs)
    more: dict[str, list[str]] = {}
    for pair in decided:
        for winner, loser in _more(pair):
            more.setdefault(winner, []).append(loser)
    told = [f"{winner} carries more than {_listed(losers)}" for winner, losers in more.items()]
    parts = [f"{'; '.join(told)}."] if told else []
    if open_:
        pairs = f"{open_} of the {len(comparison.pairs)} pairs"
        parts.append(f"Too few specimens to tell {'any of them' if not told and not alike else pairs} apart.")
    if alike:
        names = [
            f"{pair.first} and {pair.second}"
            for pair in comparison.pairs
            if pair.verdict == "no_difference_shown"
        ]
        where = f"between {_listed(names)}" if alike <= MOST_SENTENCES else f"in {alike} pairs"
        parts.append(f"No difference shown {where}.")
    return " ".join(parts)


def _of_many(comparison: Comparison) -> str:
    """Which group is ahead, what is not told from it, and how many pairs are told apart: the picture shows the rest."""
    best = ranked_groups(comparison)[0].name
    behind = {loser for pair in comparison.pairs for winner, loser in _more(pair) if winner == best}
    level = [
        name
        for pair in comparison.pairs
        if best in (pair.first, pair.second)
        for name in (pair.first, pair.second)
        if name != best and name not in behind
    ]
    decided = sum(bool(_more(pair)) for pair in comparison.pairs)
    if not decided:
        return f"None of the {len(comparison.pairs)} pairs is told apart."
    head = f"{best} came out strongest"
    if not level:
        head += ", and carries more than every other group."
    elif behind:
        head += f"; it is not told from {_listed(level)}, and carries more than the other groups."
    else:
        head += ", but is not shown to carry more than any other group."
    return f"{head} {decided} of the {len(comparison.pairs)} pairs are told apart."


def _more(pair: Pair) -> list[tuple[str, str]]:
    """Which carries more than which, if that is shown."""
    if pair.verdict == "first_more":
        return [(pair.first, pair.second)]
    return [(pair.second, pair.first)] if pair.verdict == "second_more" else []


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def chance_text(first: str, second: str, chance: Beats) -> str:
    """How likely one group's next specimen bears more than another's."""
    return (
        f"The next {first} bears more than the next {second}: {100 * chance.probability:.0f} % likely "
        f"({100 * chance.low:.0f} to {100 * chance.high:.0f} %)."
    )


def group_remarks(group: Group, unit: str) -> tuple[str, ...]:
    """What to know about a group's numbers. Raises: UnitError."""
    lines = list(group.notes)
    if (held := group.survived) is not None:
        lines.append(
            f"nothing broke up to {spread_text(held.load_n, unit, 0.01 * group.max_n, -1)} {unit}: with "
            f"{100 * held.confidence:.6g} % confidence that is true of {100 * held.share:.0f} % of such parts"
        )
    reasons = [bound for bound in group.bounds if bound.reason and group.n > 1]
    lines += [f"no {bound.name} bound: {bound.reason}" for bound in reasons[:1]]
    if (odd := group.outlier) is not None:
        lines.append(
            f"{odd.specimen} lies {odd.statistic:.2f} SD from the mean, more than scatter explains "
            f"({odd.critical:.2f}): look at its curve. It is in every number here."
        )
    return tuple(lines)


def doubt_lines(comparison: Comparison) -> tuple[str, ...]:
    """Which pulls carry which doubt; they are in every number all the same."""
    pulls = sum(group.n for group in comparison.groups)
    by_flag: dict[str, list[str]] = {}
    for group in comparison.groups:
        for doubt in group.doubts:
            for flag in doubt.flags:
                by_flag.setdefault(flag, []).append(doubt.specimen)
    return tuple(
        f"{short_words(flag)}: {'all pulls' if len(names) == pulls else ', '.join(names)}"
        for flag, names in by_flag.items()
    )
