"""The budget of one pull's peak, for people."""

from typing import TYPE_CHECKING

from breakyard.cli.output import Output

if TYPE_CHECKING:
    from breakyard.pull.results import Summary


def show_budget(out: Output, summary: "Summary", unit: str) -> None:
    """Print every source of doubt with its size, the largest first, and what was taken for granted."""
    if out.as_json:
        return
    from breakyard.report.words.budget_rows import budget_rows

    rows = [[row.source, row.size, row.share, row.meaning] for row in budget_rows(summary, unit)]
    out.table(
        "Where the doubt of the peak comes from (standard uncertainties)",
        ["source", f"[{unit}]", "of the peak", "what it is"],
        rows,
    )
    for sentence in summary.assumptions:
        out.say(f"  {sentence}")
