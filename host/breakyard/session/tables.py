"""Tables of results: as one document for programs, and as results/summaries.csv for a spreadsheet."""

from collections.abc import Sequence
from typing import Any

from breakyard.formats.write_csv import summaries_csv
from breakyard.session.reading import PullResult

SCHEMA = "breakyard.summaries/1"


def table_document(results: Sequence[PullResult]) -> dict[str, Any]:
    """All pulls with their summaries, for JSON."""
    return {"schema": SCHEMA, "pulls": [result.to_json() for result in results]}


def write_tables(results: Sequence[PullResult], unit: str) -> None:
    """Write results/summaries.csv of each session that was read as a whole. Raises: DataError, UnitError."""
    for root in {result.pull.session.root for result in results if result.pull.session is not None}:
        inside = [
            result
            for result in results
            if result.pull.session is not None and result.pull.session.root == root
        ]
        good = [(result.pull, result.summary) for result in inside if result.summary is not None]
        session = inside[0].pull.session
        if session is None or len(inside) < 2 or not good:
            continue
        text = summaries_csv(
            [summary for _, summary in good],
            unit=unit,
            more={"specimen": [p.specimen for p, _ in good], "group": [p.group for p, _ in good]},
        )
        session.write_result("summaries.csv", text)
