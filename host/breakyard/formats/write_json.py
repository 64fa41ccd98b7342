"""JSON as the command line and the results folder write it: strict, readable, same text for same values."""

import json
import math
from typing import Any


def json_text(document: Any) -> str:
    """Write plain values as JSON; a number that is none (nan, infinity) becomes null, as JSON has no other word.

    Raises: TypeError for anything that is not a plain value (a bug of the caller).
    """
    return json.dumps(_finite(document), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _finite(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return value
