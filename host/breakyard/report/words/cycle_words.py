"""The cycles of one specimen in words: a line, and a table of every loading."""

from breakyard.pull.results import Cycle, Summary
from breakyard.report.words.values import load_text, rate_text, standard_n


def cycles_line(summary: Summary, unit: str) -> str:
    """How many loadings came before the one that was read, and what was meant. Raises: UnitError."""
    before = summary.cycles[:-1]
    if not before:
        return f"none found before this loading (meant: {summary.protocol})" if summary.protocol else ""
    text = (
        f"{len(before)} before this loading, tops {_span([one.top_n for one in before], unit)}, valleys "
        f"{_span([one.valley_n for one in summary.cycles[1:]], unit)} {unit}"
    )
    if not summary.protocol:
        return text
    from breakyard.pull.cycles import read_protocol

    meant = read_protocol(summary.protocol)
    found = len(before) if meant.breaks else len(summary.cycles)
    counted = "" if found == meant.count else f", which is {meant.count} and not {found}"
    return f"{text} (meant: {summary.protocol}{counted})"


def cycle_headings(summary: Summary, unit: str) -> tuple[str, ...]:
    """Headings for `cycle_rows`."""
    more = ("Loop [J]", "Extension at top [mm]") if _has_extension(summary) else ()
    return ("Loading", f"From [{unit}]", f"To [{unit}]", f"Rate [{unit}/s]", "Top at [s]", *more)


def cycle_rows(summary: Summary, unit: str) -> list[tuple[str, ...]]:
    """A row for each loading. Raises: UnitError."""
    deviation = standard_n(summary)
    return [_row(one, unit, deviation, _has_extension(summary)) for one in summary.cycles]


def _has_extension(summary: Summary) -> bool:
    return any(one.extension_at_top_m is not None for one in summary.cycles)


def _row(one: Cycle, unit: str, deviation: float, extension: bool) -> tuple[str, ...]:
    more: tuple[str, ...] = ()
    if extension:
        loop = "" if one.hysteresis_j is None else f"{one.hysteresis_j:.4g}"
        top = "" if one.extension_at_top_m is None else f"{1000 * one.extension_at_top_m:.4g}"
        more = (loop, top)
    return (
        str(one.number),
        load_text(one.valley_n, unit, deviation),
        load_text(one.top_n, unit, deviation),
        rate_text(one.rate_n_per_s, unit),
        f"{one.top_s:.1f}",
        *more,
    )


def _span(loads: list[float], unit: str) -> str:
    low, high = load_text(min(loads), unit), load_text(max(loads), unit)
    return low if low == high else f"{low} to {high}"
