"""Cells of text that a spreadsheet would run as a formula (OWASP, "CSV Injection")."""

import re
from typing import Final

_RUNS: Final = re.compile("'*[=+\\-@\uff1d\uff0b\uff0d\uff20\x00-\x1f\x7f]")
"""What a spreadsheet may take for the beginning of a formula, or drop and then look at what follows: = + - @, the same
in full width, control characters; and what would be taken for such a cell made harmless."""


def defused(text: str) -> str:
    """The cell with an apostrophe before it, if it needs one: a spreadsheet then shows it as it is."""
    return f"'{text}" if _RUNS.match(text) else text


def as_typed(cell: str) -> str:
    """What `defused` was given."""
    return cell[1:] if cell.startswith("'") and _RUNS.match(cell) else cell
