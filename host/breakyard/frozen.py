"""Frozen values that hold arrays: two are equal when all that they hold is."""

from dataclasses import fields
from typing import Any

import numpy as np


def equal(first: Any, second: Any) -> bool:
    """What `==` says of two values of one dataclass; NotImplemented for values of two kinds, as Python wants it."""
    if type(first) is not type(second):
        return NotImplemented  # type: ignore[no-any-return]
    return all(_same(getattr(first, one.name), getattr(second, one.name)) for one in fields(first))


def _same(first: Any, second: Any) -> bool:
    if isinstance(first, np.ndarray) and isinstance(second, np.ndarray):
        return np.array_equal(first, second, equal_nan=first.dtype.kind == second.dtype.kind == "f")
    return bool(first == second)
