"""The pulls: their table, their curves, what they bear, how they broke, which to doubt, and each by itself."""

import base64
from collections.abc import Sequence
from typing import Final

from breakyard.pull.results import Summary
from breakyard.report.figures.strip_figure import Strip, strip_figure
from breakyard.report.page.chart import sign
from breakyard.report.page.content import Content, Entry, Photo
from breakyard.report.page.curves_chart import (
    COLOURS,
    ChartCurves,
    overlay_charts,
    pull_chart,
    shape_of,
    store_curves,
)
from breakyard.report.page.inline import both_widths, figure
from breakyard.report.page.markup import Child, Markup, element, items, join, table, tag
from breakyard.report.trace import Trace
from breakyard.report.words.account import story
from breakyard.report.words.budget_rows import budget_rows
from breakyard.report.words.cycle_words import cycle_headings, cycle_rows
from breakyard.report.words.table import ResultsTable, make_table
from breakyard.report.words.values import strength_text
from breakyard.report.words.wording import MANNER_WORDS, doubts, said_once

STRENGTH: Final = 3
"""Which cell of a row tells what the specimen bears."""


def words_of(content: Content) -> ResultsTable:
    """The table's texts."""
    return make_table(
        [entry.summary for entry in content.entries],
        unit=content.unit,
        specimens=[entry.label for entry in content.entries],
        groups=[entry.group for entry in content.entries],
    )


def pulls_table(content: Content, curves: ChartCurves) -> Markup:
    """All pulls in the order of the day."""
    words = words_of(content)
    rows, classes = [], []
    for at, (entry, row) in enumerate(zip(content.entries, words.rows, strict=True)):
        cells: list[Child] = list(ResultsTable.cells(row))
        if cells[STRENGTH] == row.peak:
            cells[STRENGTH] = tag("span", "same", class_="same")
        name = tag("a", cells[0], href=f"#pull-{at}", dir="auto")
        mark = None
        if entry.doubtful:
            mark = tag(
                "a",
                f"doubt {curves.doubts[entry.name]}",
                href=f"#doubt-{curves.doubts[entry.name]}",
                class_="badge",
            )
        rows.append([join(name, " ", mark) if mark else name, *cells[1:]])
        classes.append("doubtful" if entry.doubtful else "")
    caption = f"Every pull, with {100 * words.coverage:g} % intervals in brackets"
    made = table(caption, words.headings, rows, row_classes=classes, stacked=True)
    shared = [join(sentence) for sentence in words.shared]
    shared += [join(sentence) for sentence in words.advice]
    unread = [join(tag("b", f"{name}: "), f"not read: {why}") for name, why in content.unread]
    return join(
        tag("div", made, class_="brief"),
        tag(
            "p",
            "Peak is the load that was measured. Strength is what the specimen bears: its peak if it broke there, "
            '"at least" that much if it did not break, or if the peak itself is only a bound.',
            class_="small",
        ),
        items(shared, "small"),
        items(unread, "small"),
    )


def curves_section(curves: ChartCurves) -> Markup:
    """All curves over one another, with switches for the groups that work without scripts."""
    switches = []
    for at, group in enumerate(curves.groups):
        dot = element(
            "svg",
            {"class": "dot", "viewBox": "0 0 16 16", "width": "16", "height": "16", "aria-hidden": "true"},
            sign(shape_of(at), 8, 8, f"sign g{at % COLOURS}", 5.0),
        )
        count = sum(entry.group == group for entry in curves.entries)
        box = tag("input", type="checkbox", id=f"show-{at}", checked=True)
        switches.append(tag("label", box, dot, f" {group or 'pulls'} ({count})"))
    hint = tag("output", "Point at a curve to read it.", class_="readout script", aria_hidden="true")
    fieldset = tag("fieldset", tag("legend", "Groups shown"), *switches, class_="switches")
    caption = "Each pull from the moment its load is seen to rise."
    if curves.doubts:
        caption += " Dashed and numbered: doubtful pulls or bounds, explained below."
    return join(
        store_curves(curves),
        tag(
            "figure",
            fieldset,
            *overlay_charts(curves),
            hint,
            tag("figcaption", caption),
            class_="curves-of-all",
        ),
    )


def switch_rules(curves: ChartCurves) -> Markup:
    """The style rules by which the switches hide their groups."""
    return Markup(
        "".join(
            f".curves-of-all:has(#show-{at}:not(:checked)) .group-{at}{{display:none}}"
            for at in range(len(curves.groups))
        )
    )


def strengths(content: Content) -> Markup:
    """The strip plot."""
    strips = [Strip(entry.summary, entry.label, entry.group) for entry in content.entries]
    pictures = both_widths(
        lambda mode, form: strip_figure(
            strips, unit=content.unit, comparison=content.comparison, mode=mode, form=form
        ),
        "strip",
    )
    return figure(
        pictures,
        "What each specimen bears. An arrow means at least this much. The band behind a group is the interval of its "
        "mean or, where loads are only known to be at least something, of its median; it is cut off at the edge.",
    )


def how_they_broke(content: Content) -> Markup:
    """Manners of break by group."""
    used = [
        manner for manner in MANNER_WORDS if any(e.summary.failure.manner == manner for e in content.entries)
    ]
    rows = []
    for group in content.groups:
        members = content.of_group(group)
        cells = []
        for manner in used:
            found = [entry for entry in members if entry.summary.failure.manner == manner]
            unsure = sum(not entry.summary.failure.sure for entry in found) if manner != "none" else 0
            names = ", ".join(entry.label for entry in found[:MOST_NAMED])
            more = ", ..." if len(found) > MOST_NAMED else ""
            note = f" ({unsure} unsure)" if unsure else ""
            cells.append(f"{len(found)}: {names}{more}{note}" if found else "0")
        rows.append([group or "Without a group", *cells])
    headings = ["Group", *(MANNER_WORDS[manner].capitalize() for manner in used)]
    return join(
        table("Manner of break, counted by group", headings, rows, stacked=True),
        tag(
            "p",
            "Brittle: it let go all at once. Ductile: it gave way, or held a settled load, before it let go. "
            "Progressive: it let go in steps. The rule that decided stands with each pull below.",
            class_="small",
        ),
    )


MINOR: Final = frozenset(
    (
        "Largest sample",
        "Peak read by",
        "Times",
        "First trace of a load",
        "Onset",
        "Steady enough",
        "Zero",
        "Recording",
        "Place in the day",
    )
)
"""What is told of a pull on the screen, and left out on paper."""
MOST_NAMED: Final = 12


def doubts_section(content: Content, curves: ChartCurves) -> Markup:
    """Doubtful pulls and bounds, each with the reason; then notes on ordinary ones."""
    shared = said_once([entry.summary for entry in content.entries])
    lines = []
    for entry in content.doubtful:
        why = doubts(entry.summary, content.unit, shared)
        number = curves.doubts[entry.name]
        lines.append(
            tag(
                "li",
                tag("b", entry.label),
                f" ({entry.group})" if entry.group else None,
                ": ",
                " ".join(why) or "its peak is only a bound.",
                tag("span", f" In the day's notes: {entry.notes}", class_="said") if entry.notes else None,
                id=f"doubt-{number}",
                value=number,
            )
        )
    ordinary = [
        join(tag("b", entry.label), ": ", " ".join(said))
        for entry in content.entries
        if not entry.doubtful and (said := doubts(entry.summary, content.unit, shared))
    ]
    if not lines:
        start = tag(
            "p",
            "No pull is doubtful by the signs that a recording can show: nothing off scale, no shock, no gap "
            "at the peak, no moved zero, nothing let go before it broke.",
        )
    else:
        start = tag("ol", *lines, class_="doubts")
    more = (
        tag("details", tag("summary", f"Notes on the others ({len(ordinary)})"), items(ordinary))
        if ordinary
        else None
    )
    return join(start, more)


def each_pull(content: Content, curves: ChartCurves) -> Markup:
    """A folded block for each pull: its curve, its story, its budget, what people wrote."""
    shared = said_once([entry.summary for entry in content.entries])
    return tag(
        "div", *(_one(content, curves, at, shared) for at in range(len(content.entries))), class_="each"
    )


def _one(content: Content, curves: ChartCurves, at: int, shared: Sequence[str]) -> Markup:
    entry = content.entries[at]
    row = strength_text(entry.summary, content.unit)
    head = [
        tag("b", entry.label, dir="auto"),
        f" {entry.group}: " if entry.group else ": ",
        f"{row} {content.unit}",
    ]
    if entry.doubtful:
        head += [" ", tag("span", f"doubt {curves.doubts[entry.name]}", class_="badge")]
    facts: list[Markup] = []
    for name, value in _facts(content, entry, curves.overlay.traces[at]):
        class_ = "minor" if name in MINOR else None
        if value:
            facts.append(join(tag("dt", name, class_=class_), tag("dd", value, class_=class_)))
    said = doubts(entry.summary, content.unit, shared)
    return tag(
        "details",
        tag("summary", *head),
        tag(
            "div",
            tag("figure", pull_chart(curves, at)),
            tag(
                "div",
                tag("dl", *facts, class_="facts"),
                items(said, "small"),
            ),
            class_="side-by-side",
        ),
        tag("div", *photos(entry.photos, entry.label), class_="photos") if entry.photos else None,
        _still(content, entry),
        _cycles(entry.summary, content.unit),
        tag(
            "details",
            tag("summary", "Where the doubt of its peak comes from"),
            _budget(entry.summary, content.unit),
            class_="deep",
        ),
        id=f"pull-{at}",
    )


def photos(pictures: Sequence[Photo], of: str) -> list[Markup]:
    """Pictures as parts of the page itself; one that is missing is said."""
    shown: list[Markup] = []
    for photo in pictures:
        if photo.problem:
            shown.append(tag("p", f"Photo {photo.name}: {photo.problem}.", class_="missing"))
            continue
        source = f"data:image/jpeg;base64,{base64.b64encode(photo.jpeg).decode()}"
        shown.append(
            tag(
                "figure",
                tag("img", src=source, alt=f"{of}, photo {photo.name}", loading="lazy"),
                tag("figcaption", photo.name, dir="auto"),
            )
        )
    return shown


def _still(content: Content, entry: Entry) -> Markup | None:
    """The moment of the break as it was filmed."""
    still = entry.still
    if still is None:
        return None
    if not still.jpeg:
        return tag("p", tag("b", "Film: "), f"no still can be shown: {still.problem}.", class_="small")
    broke = entry.summary.failure.manner != "none"
    moment = "at its break" if broke else "as it was let go"
    bears = f"{strength_text(entry.summary, content.unit)} {content.unit}"
    alt = f"{entry.label} {moment}, with the load on the picture: {bears}"
    data = base64.b64encode(still.jpeg).decode("ascii")
    return tag(
        "figure",
        tag("img", src=f"data:image/jpeg;base64,{data}", alt=alt, class_="still", loading="lazy"),
        tag("figcaption", f"{entry.label} {moment}: {still.file}, {still.clip_s:.2f} s from its beginning."),
    )


def _facts(content: Content, entry: Entry, trace: Trace) -> list[tuple[str, str]]:
    place = str(entry.order) if entry.order is not None else ""
    return [
        *story(entry.summary, content.unit, trace.rise_s),
        *entry.own,
        ("Notes", entry.notes.strip()),
        ("Place in the day", place),
    ]


def _cycles(summary: Summary, unit: str) -> Markup | None:
    """Every loading, where one specimen was loaded several times."""
    if not summary.cycles:
        return None
    rows: list[list[Child]] = [list(row) for row in cycle_rows(summary, unit)]
    return table("Every loading", list(cycle_headings(summary, unit)), rows, stacked=True)


def _budget(summary: Summary, unit: str) -> Markup:
    """Every source of doubt in the unit, the largest first, and what was taken for granted."""
    rows: list[list[Child]] = [
        [row.source, row.size, row.share, row.meaning] for row in budget_rows(summary, unit)
    ]
    return join(
        table(
            "Where the doubt of the peak comes from",
            ["Source", f"Standard uncertainty [{unit}]", "Of the peak", "What it is"],
            rows,
            stacked=True,
        ),
        items(summary.assumptions, "small"),
    )
