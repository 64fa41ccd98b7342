"""Tables for a terminal of any width: no word and no number is ever split, and what is piped is not wrapped at all."""

from collections.abc import Sequence
from typing import Final

from breakyard.report.words.printable import printable

GAP: Final = 3
"""Columns between two cells, as rich sets them with this frame."""
EDGES: Final = 2
UNWRAPPED: Final = 100_000
"""Wider than any table."""


def lay_out(title: str, headings: Sequence[str], rows: Sequence[Sequence[str]], width: int | None) -> str:
    """A table as text, its first column naming the row; a block for each row where the columns do not fit.

    width: of the terminal; None: a file or a pipe, where nothing is wrapped.
    """
    from io import StringIO

    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    told = [[" ".join(printable(cell).split()) for cell in row] for row in rows]
    names = [printable(heading) for heading in headings]
    least = [_least(column, whole=at == 0) for at, column in enumerate(zip(names, *told, strict=True))]
    if width is not None and sum(least) + GAP * len(least) + EDGES > width:
        return _blocks(printable(title), names, told, width)
    table = Table(title=Text(printable(title)) if title else None, box=box.SIMPLE_HEAD, pad_edge=False)
    table.title_justify = "left"
    for at, (name, narrow) in enumerate(zip(names, least, strict=True)):
        table.add_column(Text(name), overflow="fold", no_wrap=at == 0, min_width=narrow)
    for row in told:
        table.add_row(*map(Text, row))
    out = StringIO()
    Console(file=out, width=width or UNWRAPPED, force_terminal=False).print(table)
    return "\n".join(line.rstrip() for line in out.getvalue().rstrip("\n").split("\n"))


def _least(cells: Sequence[str], *, whole: bool) -> int:
    """The narrowest that a column may be: its longest word, or the whole of its longest cell."""
    from rich.cells import cell_len

    pieces = cells if whole else [word for cell in cells for word in cell.split()]
    return max(map(cell_len, pieces), default=1) or 1


def _blocks(title: str, headings: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> str:
    """Each row under its name, a line for each cell."""
    from rich.cells import cell_len

    label = max(map(cell_len, headings[1:]), default=0)
    lines = [title] if title else []
    for name, *cells in rows:
        lines += ["", name]
        for heading, cell in zip(headings[1:], cells, strict=True):
            if not cell:
                continue
            lead = f"  {heading}{' ' * (label - cell_len(heading))}  "
            # Beside its heading where that leaves room for it, else below.
            if cell_len(lead) + 20 > width:
                lines.append(f"  {heading}")
                lead = "    "
            lines += _wrapped(lead, cell, width)
    return "\n".join(lines)


def _wrapped(lead: str, text: str, width: int) -> list[str]:
    """Text behind its lead, further lines below its beginning; only between words."""
    from rich.cells import cell_len

    lines, line, empty = [], lead, True
    for word in text.split():
        if not empty and cell_len(line) + 1 + cell_len(word) > width:
            lines.append(line)
            line, empty = " " * cell_len(lead), True
        line += word if empty else f" {word}"
        empty = False
    return [*lines, line]
