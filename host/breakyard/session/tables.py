"""Tables of results: as one document for programs, and as results/summaries.csv for a spreadsheet."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from breakyard.errors import DataError
from breakyard.formats.write_csv import summaries_csv
from breakyard.pull.rows import summaries_to_frame
from breakyard.session.reading import PullResult, not_kept
from breakyard.units import FORCE_UNITS, force_unit

if TYPE_CHECKING:
    import pandas as pd

SCHEMA = "breakyard.summaries/1"


def table_document(results: Sequence[PullResult]) -> dict[str, Any]:
    """All pulls with their summaries, for JSON."""
    return {"schema": SCHEMA, "pulls": [result.described() for result in results]}


def write_tables(results: Sequence[PullResult], unit: str) -> tuple[str, ...]:
    """Write results/summaries.csv of each session that was read as a whole. Raises: UnitError.

    Returns what could not be kept of these results and why, for people: they can be computed again.
    """
    problems = not_kept(results)
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
        try:
            session.write_result("summaries.csv", text)
        except DataError as error:
            problems += (str(error),)
    return problems


def results_frame(results: Sequence[PullResult], unit: str) -> "pd.DataFrame":
    """One row per pull: pull, specimen, group, what was read (loads in the unit: peak_kgf ...), and the problem.

    Raises: UnitError.
    """
    import pandas as pd

    unit = force_unit(unit)
    read = [(result, result.summary) for result in results if result.summary is not None]
    frame = summaries_to_frame([summary for _, summary in read]).drop(columns="name", errors="ignore")
    for column in [name for name in frame.columns if name.endswith(("_n", "_n_per_s"))]:
        frame[column] = pd.to_numeric(frame[column]) / FORCE_UNITS[unit]
    frame.columns = pd.Index([_in_unit(str(name), unit) for name in frame.columns])
    known = pd.DataFrame(
        [
            {"pull": result.pull.name, "specimen": result.pull.specimen, "group": result.pull.group}
            for result in results
        ]
    )
    frame.index = pd.Index([place for place, result in enumerate(results) if result.summary is not None])
    table = known.join(frame)
    table["problem"] = [result.problem for result in results]
    return table


def _in_unit(name: str, unit: str) -> str:
    """peak_n -> peak_kgf, rate_n_per_s -> rate_kgf_per_s."""
    if name.endswith("_n_per_s"):
        return f"{name.removesuffix('_n_per_s')}_{unit}_per_s"
    return f"{name.removesuffix('_n')}_{unit}" if name.endswith("_n") else name
