"""Results of pulls in the terminal: a row for each, and under it what to doubt."""

from collections.abc import Sequence
from typing import Final

from breakyard.cli.output import Output
from breakyard.session.reading import PullResult

STRENGTH: Final = 3
"""Which column of the table tells what the specimen bears."""


def show(out: Output, results: Sequence[PullResult], unit: str) -> None:
    """Print the table, and under it what is to be doubted about which row."""
    from breakyard.report.words.table import make_table

    good = [(result, result.summary) for result in results if result.summary is not None]
    table = make_table(
        [summary for _, summary in good],
        unit=unit,
        specimens=[result.label for result, _ in good],
        groups=[result.pull.group for result, _ in good],
    )
    rows = []
    for row in table.rows:
        specimen, *cells = table.cells(row)
        # What a specimen bears is its peak, unless it did not break: only then it needs saying.
        cells = [
            "same" if cell == row.strength == row.peak and place == STRENGTH else cell
            for place, cell in enumerate(cells, start=1)
        ]
        rows.append([f"! {specimen}" if row.doubtful else specimen, *cells])
    out.table("", table.headings, rows)
    for sentence in table.advice:
        out.say(f"  {sentence}")
    for sentence in table.shared:
        out.say(f"  {sentence}")
    for row in table.rows:
        for doubt in row.doubts:
            out.say(f"{'! ' if row.doubtful else '  '}{row.specimen or row.name}: {doubt}")
