"""Rows for people: plain texts, to be laid out by whoever shows them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from breakyard.pull.results import Summary
from breakyard.report.words.narrowing import narrowing
from breakyard.report.words.values import load_text, peak_text, rate_text, standard_n, strength_text
from breakyard.report.words.wording import (
    doubts,
    far_sentence,
    is_doubtful,
    manner_text,
    once_sentence,
    said_once,
)
from breakyard.units import force_unit


@dataclass(frozen=True, slots=True)
class Row:
    """One pull in words. Loads are in the unit of the table, without naming it."""

    name: str
    specimen: str
    group: str
    peak: str
    """As "447.3 (445.1 to 449.5)" or "at least 512": the load that was measured."""
    strength: str
    """Likewise: what the specimen can bear."""
    settled: str
    manner: str
    rate: str
    doubts: tuple[str, ...]
    doubtful: bool
    """Whether the number must not stand beside the others as an ordinary one."""


@dataclass(frozen=True, slots=True)
class ResultsTable:
    """Rows with their headings; `headings` belong to `cells(row)`."""

    unit: str
    coverage: float
    rows: tuple[Row, ...]
    shared: tuple[str, ...] = ()
    """Sentences that hold for all rows, and so stand in none of them."""
    advice: tuple[str, ...] = ()
    """Sentences that say what would make the rows surer."""

    @property
    def headings(self) -> tuple[str, ...]:
        """Column headings, with the unit where there is one."""
        percent = f"{100 * self.coverage:g} %"
        return (
            "Specimen",
            "Group",
            f"Peak [{self.unit}] ({percent})",
            f"Strength [{self.unit}] ({percent})",
            "How it broke",
            f"Rate [{self.unit}/s]",
        )

    @staticmethod
    def cells(row: Row) -> tuple[str, ...]:
        """A row's texts under the headings; the doubts go below or beside them."""
        return (row.specimen or row.name, row.group, row.peak, row.strength, row.manner, row.rate)


def make_row(
    summary: Summary, *, unit: str = "N", specimen: str = "", group: str = "", without: Iterable[str] = ()
) -> Row:
    """Put one summary into words, without the doubts of the flags in `without`. Raises: UnitError."""
    unit = force_unit(unit)
    settled = summary.settled
    return Row(
        name=summary.run.name,
        specimen=specimen,
        group=group,
        peak=peak_text(summary, unit),
        strength=strength_text(summary, unit),
        settled="" if settled is None else load_text(settled.load_n, unit, standard_n(summary)),
        manner=manner_text(summary),
        rate=rate_text(summary.rate.median_n_per_s, unit),
        doubts=doubts(summary, unit, without),
        doubtful=is_doubtful(summary),
    )


def make_table(
    summaries: Sequence[Summary],
    *,
    unit: str = "N",
    specimens: Iterable[str] | None = None,
    groups: Iterable[str] | None = None,
) -> ResultsTable:
    """Put summaries into words, in the order given; `specimens` and `groups` go along with them.

    Raises: UnitError.
    """
    unit = force_unit(unit)
    names = list(specimens) if specimens is not None else [""] * len(summaries)
    kinds = list(groups) if groups is not None else [""] * len(summaries)
    common = said_once(summaries)
    rows = tuple(
        make_row(summary, unit=unit, specimen=name, group=group, without=common)
        for summary, name, group in zip(summaries, names, kinds, strict=True)
    )
    return ResultsTable(
        unit=unit,
        coverage=summaries[0].peak.coverage if summaries else 0.95,
        rows=rows,
        shared=tuple(once_sentence(flag, summaries, unit) for flag in common),
        advice=(*far_sentence(summaries), *narrowing(summaries)),
    )
