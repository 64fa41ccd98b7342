"""The comparison: a verdict for each pair, each group's numbers, and what they leave out."""

from breakyard.report.page.content import Content
from breakyard.report.page.markup import Markup, items, join, table, tag
from breakyard.report.words.group_words import (
    CLAIMS_NOTE,
    INTERVAL_NOTE,
    chance_text,
    claim_cells,
    claim_headings,
    doubt_lines,
    group_cells,
    group_headings,
    group_remarks,
    short_verdict,
)


def compared(content: Content) -> Markup:
    """Verdicts first. Says why where there is nothing to compare."""
    comparison = content.comparison
    if comparison is None:
        return tag("p", content.comparison_problem or "There is nothing to compare.")
    unit = content.unit + comparison.quantity.unit.removeprefix("N")
    verdicts = []
    for pair in comparison.pairs:
        chance = None if pair.beats is None else chance_text(pair.first, pair.second, pair.beats)
        verdicts.append(
            tag(
                "details",
                tag("summary", short_verdict(pair)),
                tag("p", pair.sentence),
                tag("p", chance, class_="said") if chance else None,
            )
        )
    what = comparison.quantity.name.replace("_", " ").capitalize()
    remarks = [
        join(tag("b", f"{group.name}: "), line)
        for group in comparison.groups
        for line in group_remarks(group, content.unit)
    ]
    alike = comparison.all_equal
    overall = None if alike is None else f"All groups alike? Welch's F = {alike.f:.2f}, p = {alike.p:.2g}."
    left_out = [join(tag("b", "Left out: "), line) for line in comparison.left_out]
    noted = "; ".join(doubt_lines(comparison))
    doubtful = (
        join(tag("b", "Noted of some pulls, which are in here all the same: "), noted) if noted else None
    )
    numbers = join(
        table(
            f"{what} by group, in {unit}",
            group_headings(comparison),
            [group_cells(group, content.unit) for group in comparison.groups],
            stacked=True,
        ),
        table(
            f"What the next ones may bear, in {unit}",
            claim_headings(comparison),
            [claim_cells(group, content.unit) for group in comparison.groups],
            stacked=True,
        ),
        tag("p", INTERVAL_NOTE, class_="small"),
        tag("p", CLAIMS_NOTE, class_="small"),
        items([*remarks, overall], "small"),
    )
    return join(
        items(verdicts, "verdicts"),
        items([*comparison.notes, doubtful, *left_out], "small"),
        tag("details", tag("summary", "The groups' numbers, and what the next ones may bear"), numbers),
        tag(
            "p",
            f'"Carries more" is said only where chance alone would show such a difference in at most '
            f"{100 * (1 - comparison.coverage):.3g} % of such comparisons, all pairs taken together. "
            f'"No difference shown" is said only where a difference of {100 * comparison.matters:.3g} % is ruled out. '
            "Everything else is: can't tell. None of it makes a part safe to trust one's weight to.",
            class_="small",
        ),
    )
