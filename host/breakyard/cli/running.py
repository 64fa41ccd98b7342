"""Runs what a command does over a link. asyncio is loaded only then: it would be a fifth of what the help takes."""

from collections.abc import Coroutine
from typing import Any, TypeVar

_T = TypeVar("_T")


def run_async(work: Coroutine[Any, Any, _T]) -> _T:
    """Run it to its end, as `asyncio.run` does."""
    import asyncio

    return asyncio.run(work)
