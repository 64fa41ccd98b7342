"""The JSON face of frozen values, once for all: to plain values, to text, to a hash."""

import hashlib
import json
from collections.abc import Mapping
from typing import Any


def sha256_of(data: bytes) -> str:
    """Return the SHA-256 of some bytes in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def hash_of(document: Mapping[str, Any]) -> str:
    """SHA-256 of a document's canonical text, in hexadecimal. Raises: ValueError for NaN or infinity."""
    text = json.dumps(
        _as_doubles(document), sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _as_doubles(value: Any) -> Any:
    """Every number as a double, so that 20 and 20.0 (which JSON tools swap freely) hash alike."""
    if isinstance(value, Mapping):
        return {str(key): _as_doubles(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_as_doubles(inner) for inner in value]
    if isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    return value
