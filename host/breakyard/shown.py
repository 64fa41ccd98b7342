"""How values show themselves in a notebook. They ask here; what draws them is loaded only then.

This is the one way up from the stages of the line to the report. It goes by name, so that no stage depends on anything
that draws.
"""

from importlib import import_module
from typing import Any, Final, Literal, Protocol

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


_OF_A_SUMMARY: Final = frozenset(
    {
        "peak",
        "strength",
        "settled",
        "first_peak",
        "failure",
        "rate",
        "drops",
        "flags",
        "budget",
        "summary",
        "summarize",
    }
)


def no_attribute(value: object, name: str) -> AttributeError:
    """The error for a name that a recording does not have; who looks for what is read of a pull is told where it is."""
    hint = "; breakyard.summarize(...) reads a pull" if name in _OF_A_SUMMARY else ""
    return AttributeError(
        f"{type(value).__name__!r} object has no attribute {name!r}{hint}", name=name, obj=value
    )


def notebook() -> Any:
    """The module that makes tables and pictures of values."""
    return import_module("breakyard.report.notebook")
