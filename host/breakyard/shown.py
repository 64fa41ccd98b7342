"""How values show themselves in a notebook. They ask here; what draws them is loaded only then.

This is the one way up from the stages of the line to the report. It goes by name, so that no stage depends on anything
that draws.
"""

from importlib import import_module
from typing import Any, Literal, Protocol

Mode = Literal["light", "dark"]
"""Dark letters on light paper, or the reverse."""
Form = Literal["wide", "phone"]
"""For a page, or for a phone held upright."""
View = Literal["pull", "break"]
"""The whole pull, or the moment of its break."""


class Picture(Protocol):
    """A finished picture; notebooks show it as it is."""

    @property
    def alt(self) -> str:
        """What it shows, for those who cannot see it."""

    def png(self) -> bytes:
        """The picture as PNG."""

    def svg(self) -> bytes:
        """The picture as SVG."""

    def save(self, path: Any) -> Any:
        """Write it to a file, .png or .svg as its name ends. Raises: UsageError, OSError."""


def notebook() -> Any:
    """The module that makes tables and pictures of values."""
    return import_module("breakyard.report.notebook")
