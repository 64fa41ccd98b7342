"""The report in short as Markdown: for a forum, a note, a repository. Nothing in it can become markup by accident."""

import re

from breakyard.report.page.content import Content
from breakyard.report.page.markup import clean
from breakyard.report.page.sections.overview import counted, in_short
from breakyard.report.page.sections.pulls import words_of
from breakyard.report.page.sections.safety import FIRST_WORDS
from breakyard.report.words.group_words import (
    CLAIMS_NOTE,
    INTERVAL_NOTE,
    claim_cells,
    claim_headings,
    doubt_lines,
    group_cells,
    group_headings,
)
from breakyard.report.words.table import ResultsTable
from breakyard.report.words.wording import doubts, said_once


def make_markdown(content: Content) -> str:
    """Write the summary. Raises: UnitError."""
    facts = [
        ("Place", content.place),
        ("Date", content.date),
        ("Logger", content.logger),
        ("Pulls", counted(content)),
    ]
    words = words_of(content)
    common = said_once([entry.summary for entry in content.entries])
    lines = [f"# {literal(content.title)}", ""]
    lines += [f"- {name}: {literal(value)}" for name, value in facts if value]
    lines += ["", *(literal(line) for line in content.notes.splitlines() if line.strip())]
    lines += ["", "## In short", "", *(f"- {literal(line)}" for line in in_short(content))]
    lines += ["", "## The pulls", ""]
    lines += _table(words.headings, [ResultsTable.cells(row) for row in words.rows])
    lines += ["", *(literal(sentence) for sentence in words.shared)]
    lines += [literal(sentence) for sentence in words.advice]
    lines += [f"- {literal(name)} was not read: {literal(why)}" for name, why in content.unread]
    if content.doubtful:
        lines += ["", "## Doubtful pulls, and why", ""]
        for entry in content.doubtful:
            why = " ".join(doubts(entry.summary, content.unit, common)) or "its peak is only a bound."
            lines.append(f"- **{literal(entry.label)}**: {literal(why)}")
    lines += _comparison(content)
    lines += ["", "## To compute it again", ""]
    lines += [f"    {clean(command)}" for command in content.commands]
    lines += [
        "",
        *(f"- {literal(name)}: {literal(value)}" for name, value in (*content.settings, *content.versions)),
    ]
    lines += [
        f"- calibration {literal(one.name)}: SHA-256 of its content {one.content_hash}"
        for one in content.calibrations
    ]
    lines += ["", literal(FIRST_WORDS), ""]
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines))


def _comparison(content: Content) -> list[str]:
    lines = ["", "## Comparison", ""]
    comparison = content.comparison
    if comparison is None:
        return [*lines, literal(content.comparison_problem or "There is nothing to compare.")]
    lines += [*(f"- {literal(pair.sentence)}" for pair in comparison.pairs), ""]
    rows = [group_cells(group, content.unit) for group in comparison.groups]
    unit = content.unit + comparison.quantity.unit.removeprefix("N")
    lines += [f"{comparison.quantity.name.replace('_', ' ').capitalize()} in {unit}.", ""]
    lines += [*_table(group_headings(comparison), rows), "", literal(INTERVAL_NOTE), ""]
    claims = [claim_cells(group, content.unit) for group in comparison.groups]
    lines += [*_table(claim_headings(comparison), claims), "", literal(CLAIMS_NOTE), ""]
    lines += [f"- {literal(line)}" for line in comparison.notes]
    noted = "; ".join(doubt_lines(comparison))
    lines += [f"- Noted of some pulls, which are in here all the same: {literal(noted)}"] if noted else []
    return lines + [f"- Left out: {literal(line)}" for line in comparison.left_out]


def _table(headings: tuple[str, ...], rows: list[tuple[str, ...]]) -> list[str]:
    return [
        f"| {' | '.join(literal(cell) for cell in headings)} |",
        f"|{' --- |' * len(headings)}",
        *(f"| {' | '.join(literal(cell) for cell in row)} |" for row in rows),
    ]


def literal(value: str) -> str:
    """Text that Markdown shows as it stands, on one line (CommonMark: any ASCII punctuation may be escaped)."""
    line = " ".join(clean(value).split())
    escaped = re.sub(r"([\\`*_{}\[\]<>|~$&#])", r"\\\1", line)
    # At the start of a line these begin lists and headings.
    return re.sub(r"^([-+=]|\d+[.)])(?=\s|$)", lambda found: found[1][:-1] + "\\" + found[1][-1], escaped)
