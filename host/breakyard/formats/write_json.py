"""JSON as the command line and the results folder write it: strict, readable, same text for same values."""

import json
import math
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from breakyard.curve import LoadCurve

CURVE_SCHEMA: Final = "breakyard.curve/1"


def json_text(document: Any, *, ascii_only: bool = False) -> str:
    """Write plain values as JSON; a number that is none (nan, infinity) becomes null, as JSON has no other word.

    `ascii_only`: other letters as escapes, so that no code page on the way can spoil them.

    Raises: TypeError for anything that is not a plain value (a bug of the caller).
    """
    return json.dumps(_finite(document), indent=2, ensure_ascii=ascii_only, allow_nan=False) + "\n"


def curve_json(curve: "LoadCurve", *, zero_n: float = 0.0) -> str:
    """Write a curve as columns of numbers; `zero_n` newtons are subtracted, as the summary's zero."""
    document = {
        "schema": CURVE_SCHEMA,
        "name": curve.name,
        "zero_n": zero_n,
        "time_s": curve.time_s.tolist(),
        "load_n": (curve.load_n - zero_n).tolist(),
        "usable": curve.usable.tolist(),
        "clipped": curve.clipped.tolist(),
        "counts": None if curve.counts is None else curve.counts.tolist(),
        "extension_m": None if curve.extension_m is None else curve.extension_m.tolist(),
        "flags": list(curve.flags),
    }
    # One line for each column: a curve has thousands of numbers.
    lines = (
        f" {json.dumps(key)}: {json.dumps(_finite(value), allow_nan=False)}"
        for key, value in document.items()
    )
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _finite(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return value
