"""The JSON face of frozen values, once for all: to plain values, back from them, schema, hash.

A field's name is its key. A field may say otherwise in its metadata: `field(metadata=key("break"))` names another key,
`field(metadata=NOT_IN_JSON)` leaves it out.
"""

import hashlib
import json
import types
from collections.abc import Mapping
from dataclasses import MISSING, Field, fields
from typing import Any, Final, Literal, Union, get_args, get_origin, get_type_hints

_KEY: Final = "json"
NOT_IN_JSON: Final[Mapping[str, str | None]] = types.MappingProxyType({_KEY: None})
"""Metadata of a field that is no part of the document."""


def key(name: str) -> Mapping[str, str | None]:
    """Metadata of a field that has another key than its name."""
    return types.MappingProxyType({_KEY: name})


def to_plain(value: Any) -> Any:
    """A frozen value as plain dicts, lists, strings, numbers, booleans and None."""
    if hasattr(value, "__dataclass_fields__"):
        return {name: to_plain(getattr(value, field.name)) for field, name in _keys(value)}
    if isinstance(value, Mapping):
        return {str(name): to_plain(item) for name, item in value.items()}
    if isinstance(value, tuple | list):
        return [to_plain(item) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    return float(value)  # also numpy's floats, which json would refuse


def from_plain(kind: Any, value: Any) -> Any:
    """Turn a plain value back into what the annotation `kind` says; unknown keys are ignored.

    Raises: KeyError, TypeError, ValueError, OverflowError or AttributeError where it is incomplete or damaged.
    """
    if hasattr(kind, "__dataclass_fields__"):
        hints = get_type_hints(kind)
        # A field with a default may be missing: files written before it was added stay readable.
        present = [(field, name) for field, name in _keys(kind) if field.default is MISSING or name in value]
        return kind(**{field.name: from_plain(hints[field.name], value[name]) for field, name in present})
    if get_origin(kind) is tuple:
        return tuple(from_plain(get_args(kind)[0], item) for item in value)
    if get_origin(kind) in (Union, types.UnionType):
        inner = next(option for option in get_args(kind) if option is not type(None))
        return None if value is None else from_plain(inner, value)
    if get_origin(kind) is Literal:
        if value not in get_args(kind):
            raise ValueError(f"{value!r} is not one of {get_args(kind)}")
        return value
    return kind(value)


def _keys(value: Any) -> "list[tuple[Field[Any], str]]":
    """The fields of a dataclass that are part of its document, with their keys."""
    named = [(field, field.metadata.get(_KEY, field.name)) for field in fields(value)]
    return [(field, name) for field, name in named if name is not None]


def schema_of(document: Any) -> str | None:
    """The schema that a parsed document names; None for what is no document."""
    found = document.get("schema") if isinstance(document, Mapping) else None
    return found if isinstance(found, str) else None


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
