"""The package behind Parquet, loaded only when a Parquet file is wanted: it is large, and most people need none."""

import importlib
from typing import Any

from breakyard.errors import UsageError


def arrow() -> Any:
    """The module pyarrow. Raises: UsageError, which says how to install it."""
    return _load("pyarrow")


def parquet() -> Any:
    """The module pyarrow.parquet. Raises: UsageError, which says how to install it."""
    return _load("pyarrow.parquet")


def first_line(problem: BaseException) -> str:
    """What pyarrow says, in one line."""
    return (str(problem).splitlines() or [type(problem).__name__])[0]


def _load(name: str) -> Any:
    try:
        return importlib.import_module(name)
    except ImportError:
        raise UsageError(
            "Parquet needs the package pyarrow: install it with: pip install 'breakyard[parquet]'"
        ) from None
