"""What was tested, and what came out, in a few lines."""

from typing import Final

from breakyard.comparison import Comparison
from breakyard.comparison.groups import Group
from breakyard.report.page.content import Content, Entry
from breakyard.report.page.markup import Markup, join, paragraphs, tag
from breakyard.report.words.group_words import group_cells, middle_n, short_verdict
from breakyard.report.words.values import strength_text
from breakyard.report.words.wording import MANNER_WORDS

MOST_TOLD: Final = 4
"""Loads that are listed one by one where a group could not be described."""


def overview(content: Content) -> Markup:
    """Place, day and specimens."""
    facts = [("Place", content.place), ("Date", content.date), ("Logger", content.logger)]
    facts += [("Pulls", counted(content)), ("Groups", ", ".join(group for group in content.groups if group))]
    given = [join(tag("dt", name), tag("dd", value)) for name, value in facts if value]
    notes = tag("div", paragraphs(content.notes), class_="note") if content.notes.strip() else None
    return join(notes, tag("dl", *given, class_="facts"))


def counted(content: Content) -> str:
    """How many pulls there are, how many are doubtful or bounds, how many could not be read."""
    text = f"{len(content.entries)}"
    if content.doubtful:
        text += f", of which {len(content.doubtful)} doubtful or only a bound"
    if content.unread:
        text += f"; {len(content.unread)} more could not be read"
    return text


def in_short(content: Content) -> tuple[str, ...]:
    """One sentence per group, then the comparison's verdicts."""
    lines = [group_sentence(content, group) for group in content.groups]
    if content.comparison is not None:
        lines += [short_verdict(pair) for pair in content.comparison.pairs]
    return tuple(lines)


def group_sentence(content: Content, name: str) -> str:
    """What a group bears, as plainly as its numbers allow."""
    members = content.of_group(name)
    title = name or "Without a group"
    unit = content.unit
    if len(members) == 1:
        told = f"{title}: one specimen, {strength_text(members[0].summary, unit)} {unit}"
        return f"{told}; {manners(members)}."
    group = known_group(content.comparison, name)
    if group is None:
        spread = "; ".join(strength_text(one.summary, unit) for one in members[:MOST_TOLD])
        more = f" and {len(members) - MOST_TOLD} more" if len(members) > MOST_TOLD else ""
        return f"{title}: {len(members)} pulls, {spread}{more} {unit}; {manners(members)}."
    count = f"{group.n} specimens" + (f' ({group.at_least} only "at least")' if group.at_least else "")
    _, _, mean, interval, _, scatter, median, span = group_cells(group, unit)
    if group.mean_n is not None:
        middle = f"mean {mean} {unit} (interval {interval}), scatter {scatter}"
    elif middle_n(group) is not None:
        middle = f"median {median} {unit}"
    else:
        middle = "no median: too few broke"
    return f"{title}: {count}, {middle}, loads {span} {unit}; {manners(members)}."


def manners(members: tuple[Entry, ...]) -> str:
    """How they broke, counted."""
    found = [entry.summary.failure.manner for entry in members]
    counts = [(manner, found.count(manner)) for manner in MANNER_WORDS if manner in found]
    if len(counts) == 1:
        return f"all {MANNER_WORDS[counts[0][0]]}" if len(found) > 1 else MANNER_WORDS[counts[0][0]]
    return ", ".join(f"{count} {MANNER_WORDS[manner]}" for manner, count in counts)


def known_group(comparison: Comparison | None, name: str) -> Group | None:
    """The group of this name in a comparison, if it has one."""
    return None if comparison is None else next((one for one in comparison.groups if one.name == name), None)
