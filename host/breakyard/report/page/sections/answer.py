"""The first screen: the verdict in a sentence, a large figure per group with its interval, and a picture of both.

It fits a phone held upright (360 by 800) and a desk; whatever explains it comes after it.
"""

from typing import Final

from breakyard.comparison import Comparison
from breakyard.comparison.groups import Group
from breakyard.report.page.chart import Frame, draw_axes, number, picture, sign
from breakyard.report.page.content import Content, Entry
from breakyard.report.page.curves_chart import COLOURS, shape_of
from breakyard.report.page.markup import Markup, join, tag
from breakyard.report.page.sections.overview import known_group
from breakyard.report.trace import limits
from breakyard.report.words.group_words import group_cells, middle_n, verdict_of
from breakyard.report.words.ranking import MANY, ranked_groups
from breakyard.report.words.values import strength_text
from breakyard.report.words.wording import MANNER_WORDS
from breakyard.units import from_newtons

MOST_TILES: Final = 6
"""Groups with a figure of their own; more are in the picture and in the table of groups."""
MOST_ROOM: Final = 1.5
"""Times the highest load: as far as the picture follows an interval."""
BESIDE: Final = 15
"""Letters of a name for which there is room beside its row."""
LONGEST_NAME: Final = 40
"""Letters of a name for which there is room above its row on a phone; all of it stands in the tables."""
ROW: Final = 26.0
"""Height of a group in the picture."""


def answer(content: Content) -> Markup:
    """Verdict, figures, picture."""
    groups = _in_order(content)
    tiles = [_tile(content, at, group) for at, group in groups[:MOST_TILES]]
    more = len(groups) - MOST_TILES
    rest = f"{more} more groups are in the picture and in the tables below." if more > 0 else ""
    if _ranked(content) is not None:
        rest = f"The strongest first. {rest}"
    return join(
        tag("p", verdict(content), class_="verdict"),
        tag("ul", *tiles, class_="tiles"),
        tag("p", rest, class_="small") if rest else None,
        _bars(content, narrow=False),
        _bars(content, narrow=True),
    )


def _ranked(content: Content) -> Comparison | None:
    """The comparison by which the groups are ranked; None where there are few of them, or nothing is compared."""
    return content.comparison if len(content.groups) > MANY else None


def _in_order(content: Content) -> list[tuple[int, str]]:
    """The groups with their places among the colours; many of them are ranked, the strongest first."""
    groups = list(enumerate(content.groups))
    comparison = _ranked(content)
    if comparison is None:
        return groups
    places = {one.name: place for place, one in enumerate(ranked_groups(comparison))}
    return sorted(groups, key=lambda group: places.get(group[1], len(places)))


def verdict(content: Content) -> str:
    """What came out, in a sentence or two."""
    comparison = content.comparison
    if comparison is None or not comparison.pairs:
        doubt = f"; {len(content.doubtful)} of them are doubtful or only a bound" if content.doubtful else ""
        count = len(content.entries)
        why = (
            "one group only, so nothing is compared"
            if len(content.groups) == 1
            else "the groups could not be compared"
        )
        return f"{count} pull{'s' if count > 1 else ''}{doubt}: {why}."
    return verdict_of(comparison)


def _tile(content: Content, at: int, name: str) -> Markup:
    large, small = figure_of(content, name)
    members = content.of_group(name)
    return tag(
        "li",
        tag("span", name or "without a group", class_="name", dir="auto"),
        tag("span", tag("b", large), f" {content.unit}", class_="large"),
        tag("span", small, class_="small"),
        tag("span", _broke(members), class_="small"),
        class_=f"g{at % COLOURS}",
    )


def figure_of(content: Content, name: str) -> tuple[str, str]:
    """A group's large figure and the words under it: its mean or median with the interval, else its one specimen's."""
    group = known_group(content.comparison, name)
    members = content.of_group(name)
    if group is None or group.n == 1:
        large, _, rest = strength_text(members[0].summary, content.unit).partition(" (")
        if len(members) > 1:
            return f"{len(members)}", "pulls, not compared"
        return large, ", ".join(part for part in (rest.rstrip(")"), "one specimen") if part)
    _, _, mean, within, _, _, median, _ = group_cells(group, content.unit)
    if group.mean_n is not None:
        return mean, f"{within}, mean of {group.n}"
    if middle_n(group) is not None:
        return median, f"{within}, median of {group.n}"
    lowest = group_cells(group, content.unit)[-1]
    return lowest.split(" to ")[0], f"lowest of {group.n}; too few broke"


def _broke(members: tuple[Entry, ...]) -> str:
    found = [entry.summary.failure.manner for entry in members]
    return ", ".join(
        f"{found.count(manner)} {MANNER_WORDS[manner]}" for manner in MANNER_WORDS if manner in found
    )


def _bars(content: Content, *, narrow: bool) -> Markup:
    """Each specimen's strength in a row for its group, and behind it the interval of the group's middle."""
    groups, unit = _in_order(content), content.unit
    # Names stand above their rows where there is no room for them beside.
    stacked = narrow or any(len(name) > BESIDE for _, name in groups)
    width = 344.0 if narrow else 720.0
    left, above = (8.0, 14.0) if stacked else (130.0, 0.0)
    height = 30.0 + (ROW + above) * len(groups) + 24.0
    highest = max((one.summary.strength.high_n or one.summary.strength.low_n) for one in content.entries)
    ends = [found[1] for _, name in groups if (found := _interval(content.comparison, name))]
    # An interval that is open upwards, or nearly so, does not push everything else into a corner.
    highest = max(highest, *(min(end, MOST_ROOM * highest) for end in ends), 0.0)
    span = (0.0, limits(0.0, from_newtons(highest, unit))[1])
    frame = Frame(width, height, left, 14.0, 8.0, 44.0, x=span, y=(0.0, 1.0))
    parts: list[Markup] = []
    for row, (at, name) in enumerate(groups):
        y = 8.0 + above + (ROW + above) * row + ROW / 2
        colour = f"g{at % COLOURS}"
        label = name or "without a group"
        if len(label) > LONGEST_NAME:
            label = label[: LONGEST_NAME - 1] + "\N{HORIZONTAL ELLIPSIS}"
        place = {"x": left, "y": number(y - ROW / 2 - 1)} if stacked else {"x": left - 8, "y": number(y + 4)}
        parts.append(tag("text", label, class_="" if stacked else "end", **place))
        interval = _interval(content.comparison, name)
        if interval is not None:
            low = frame.x_at(max(from_newtons(interval[0], unit), span[0]))
            high = frame.x_at(min(from_newtons(interval[1], unit), span[1]))
            parts.append(
                tag(
                    "rect",
                    class_=f"band {colour}",
                    x=number(low),
                    y=number(y - 9),
                    width=number(max(high - low, 2)),
                    height=18,
                )
            )
        shape = shape_of(at)
        parts += [_specimen(frame, y, colour, shape, entry, unit) for entry in content.of_group(name)]
    axes = draw_axes(frame, f"Strength [{unit}]", "", narrow=narrow, loads=False)
    words = (
        "Strength of each specimen by group, with the interval of each group's mean or median; the tables have the "
        "numbers."
    )
    return picture(frame, words, f"bars {'narrow' if narrow else 'roomy'}", axes, *parts)


def _specimen(frame: Frame, y: float, colour: str, shape: str, entry: Entry, unit: str) -> Markup:
    """A sign at a strength; with an arrow to the right where it is only "at least" this much."""
    strength = entry.summary.strength
    value_n = strength.low_n if strength.at_least or strength.high_n is None else strength.value_n
    x = frame.x_at(from_newtons(value_n, unit))
    mark = sign(shape, x, y, f"sign {colour}", 5.0)
    if strength.at_least or strength.high_n is None:
        arrow = f"M{number(x)} {number(y)}h18m-5 -4l5 4l-5 4"
        return tag("g", tag("path", class_=f"more {colour}", d=arrow), mark)
    return mark


def _interval(comparison: Comparison | None, name: str) -> tuple[float, float] | None:
    group: Group | None = known_group(comparison, name)
    if group is None or group.interval is None:
        return None
    high = group.interval.high_n
    return group.interval.low_n, group.interval.low_n * 10.0 if high is None else high
