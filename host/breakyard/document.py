"""The JSON face of frozen values, once for all: to plain values, back from them, schema, hash.

A field's name is its key. What a field says otherwise stands in its metadata, `field(metadata=face(...))`; what is no
field stands in the class, `ALSO_IN_JSON`. A number that is not finite becomes null, since JSON knows none.

`Document` is for values that are documents of their own, with a schema, and with a hash where they are kept for long.
"""

import hashlib
import json
import math
import types
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, Field, fields
from functools import cache
from typing import (
    Any,
    ClassVar,
    Final,
    Literal,
    NamedTuple,
    Self,
    Union,
    get_args,
    get_origin,
    get_type_hints,
)

from breakyard.errors import DataError

_FACE: Final = "json"


class _Face(NamedTuple):
    """How a field stands in the document; see `face`."""

    key: str | None = ""
    sparse: bool = False
    names: bool = False
    pairs: bool = False
    flat: bool = False


NOT_IN_JSON: Final[Mapping[str, Any]] = types.MappingProxyType({_FACE: _Face(None)})
"""Metadata of a field that is no part of the document."""


def face(
    key: str = "", *, sparse: bool = False, names: bool = False, pairs: bool = False, flat: bool = False
) -> Mapping[str, Any]:
    """Metadata of a field that does not simply stand under its own name.

    Args:
        key: its key; "fit.scale" is the key "scale" of the object "fit".
        sparse: left out where it has its default, so that what was written before the field existed keeps its hash.
            Sparse fields of one object come and go together.
        names: of each item only its name.
        pairs: a tuple of (key, value) that stands as an object.
        flat: a mapping whose items stand beside the other fields.
    """
    return types.MappingProxyType({_FACE: _Face(key, sparse, names, pairs, flat)})


def to_plain(value: Any) -> Any:
    """A frozen value as plain dicts, lists, strings, numbers, booleans and None.

    Besides its fields an object has what its class lists in `ALSO_IN_JSON`: a key (dotted as in `face`) for each path
    of attributes and indices, as {"name": "element.name", "low_n": "range_n.0"}.
    """
    if hasattr(value, "__dataclass_fields__") or hasattr(value, "_fields"):
        return _object(value)
    if isinstance(value, Mapping):
        return {str(name): to_plain(item) for name, item in value.items()}
    if isinstance(value, tuple | list):
        return [to_plain(item) for item in value]
    if isinstance(value, bool) or value is None or isinstance(value, int):
        return value
    if isinstance(value, str):
        return str(value)  # an enum's value
    number = float(value)  # also numpy's floats, which json would refuse
    return number if math.isfinite(number) else None


def _object(value: Any) -> dict[str, Any]:
    document: dict[str, Any] = {}
    if not hasattr(value, "__dataclass_fields__"):  # a named tuple
        return {name: to_plain(getattr(value, name)) for name in value._fields}
    for key, path in getattr(value, "ALSO_IN_JSON", {}).items():
        _put(document, key, to_plain(_at(value, path)))
    present = {
        key.rpartition(".")[0] or key
        for field, key, said in _faces(type(value))
        if said.sparse and getattr(value, field.name) != field.default
    }
    for field, key, said in _faces(type(value)):
        if said.sparse and (key.rpartition(".")[0] or key) not in present:
            continue
        found = getattr(value, field.name)
        if said.flat:
            document |= to_plain(found)
        elif said.names:
            _put(document, key, [item.name for item in found])
        else:
            _put(document, key, to_plain(dict(found) if said.pairs else found))
    return document


def _said_of(kind: Any) -> tuple[tuple[Field[Any], str, _Face], ...]:
    said = [(field, field.metadata.get(_FACE, _Face())) for field in fields(kind)]
    return tuple((field, one.key or field.name, one) for field, one in said if one.key is not None)


_faces: Final[Callable[[Any], tuple[tuple[Field[Any], str, _Face], ...]]] = cache(_said_of)
"""The fields of a dataclass that are part of its document, with their keys."""
_hints: Final[Callable[[Any], dict[str, Any]]] = cache(get_type_hints)
"""The annotations of a class; working them out takes longer than reading a value."""
_origin: Final[Callable[[Any], Any]] = cache(get_origin)


def _put(document: dict[str, Any], key: str, value: Any) -> None:
    *groups, name = key.split(".")
    for group in groups:
        document = document.setdefault(group, {})
    document[name] = value


def _at(value: Any, path: str) -> Any:
    for part in path.split("."):
        if value is None:
            return None
        value = value[int(part)] if part.isdigit() else getattr(value, part)
    return value


def from_plain(kind: Any, value: Any) -> Any:
    """Turn a plain value back into what the annotation `kind` says; unknown keys are ignored.

    Raises: KeyError, TypeError, ValueError, OverflowError or AttributeError where it is incomplete or damaged.
    """
    if hasattr(kind, "__dataclass_fields__"):
        return kind(**dict(_fields_from(kind, value)))
    if hasattr(kind, "_fields"):  # a named tuple
        hints = _hints(kind)
        return kind(*(from_plain(hints[name], value[name]) for name in kind._fields))
    if _origin(kind) is tuple:
        if isinstance(value, str | Mapping):
            raise TypeError(f"a list was expected, not {value!r:.40}")
        inner = get_args(kind)
        if inner[-1] is Ellipsis:
            return tuple(from_plain(inner[0], item) for item in value)
        return tuple(from_plain(one, item) for one, item in zip(inner, value, strict=True))
    if _origin(kind) in (Union, types.UnionType):
        inner = next(option for option in get_args(kind) if option is not type(None))
        return None if value is None else from_plain(inner, value)
    if _origin(kind) is Literal:
        if value not in get_args(kind):
            raise ValueError(f"{value!r} is not one of {get_args(kind)}")
        return value
    return _scalar(kind, value)


def _fields_from(kind: Any, value: Any) -> Iterator[tuple[str, Any]]:
    hints = _hints(kind)
    for field, key, said in _faces(kind):
        *groups, name = key.split(".")
        place = value
        for group in groups:
            place = place.get(group, {})
        # A field with a default may be missing: files written before it was added stay readable.
        if name in place or (field.default is MISSING and field.default_factory is MISSING):
            found = place[name]
            yield (
                field.name,
                _pairs(hints[field.name], found) if said.pairs else from_plain(hints[field.name], found),
            )


def _pairs(kind: Any, value: Mapping[str, Any]) -> tuple[tuple[Any, Any], ...]:
    first, second = get_args(get_args(kind)[0])
    return tuple((first(name), from_plain(second, item)) for name, item in value.items())


def _scalar(kind: Any, value: Any) -> Any:
    """A string, number or truth value of just this kind; tools that rewrite JSON swap 20 and 20.0 freely."""
    if kind in (int, float):
        number = not isinstance(value, bool) and isinstance(value, int | float) and math.isfinite(value)
        if not number or (kind is int and int(value) != value):
            raise TypeError(f"{kind.__name__} was expected, not {value!r:.40}")
        return kind(value)
    if not isinstance(value, kind):
        raise TypeError(f"{kind.__name__} was expected, not {value!r:.40}")
    return value


class Document:
    """A frozen value that is a JSON document of its own. Subclasses are dataclasses.

    The classes say which document it is (`SCHEMA`, in words `NOUN`), what to do about one that cannot be used
    (`AGAIN`), whether it carries its hash, and which keys beside its content a file may have. Fields may be added under
    the same schema, never changed.
    """

    __slots__ = ()

    SCHEMA: ClassVar[str]
    NOUN: ClassVar[str] = "document"
    AGAIN: ClassVar[str] = "make it again"
    HASHED: ClassVar[bool] = False
    BESIDE: ClassVar[tuple[str, ...]] = ()

    def to_json(self) -> dict[str, Any]:
        """The document as plain dicts, lists, strings and numbers."""
        content = self._content()
        return content | ({"hash": hash_of(content)} if self.HASHED else {}) | self._derived()

    @property
    def content_hash(self) -> str:
        """SHA-256 of the content's canonical JSON, in hexadecimal; see `hash_of`."""
        return hash_of(self._content())

    @classmethod
    def from_json(cls, document: Mapping[str, Any] | str) -> Self:
        """Read a document back, from its text or parsed; keys that are not known are ignored.

        Raises: DataError if it is another document, incomplete or damaged, or was changed after it was hashed.
        """
        if isinstance(document, str):
            try:
                document = json.loads(document)
            except (ValueError, RecursionError):
                raise DataError(f"this is no {cls.NOUN}: it is not JSON") from None
        if not isinstance(document, Mapping) or schema_of(document) != cls.SCHEMA:
            raise DataError(
                f'this is no {cls.NOUN}: its "schema" is {schema_of(document)!r}, expected "{cls.SCHEMA}"'
            )
        if cls.HASHED:
            cls._check_hash(document)
        try:
            value: Self = from_plain(cls, document)
            value._check()
        except DataError:
            raise
        except (KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError) as error:
            raise DataError(f"this {cls.NOUN} cannot be read ({error}): {cls.AGAIN}") from None
        return value

    @classmethod
    def _check_hash(cls, document: Mapping[str, Any]) -> None:
        content = {name: item for name, item in document.items() if name not in ("hash", *cls.BESIDE)}
        try:
            agrees = document.get("hash") == hash_of(content)
        except (ValueError, OverflowError) as error:
            raise DataError(f"this {cls.NOUN} holds a number that JSON does not know ({error})") from error
        except RecursionError:
            raise DataError(f"this is no {cls.NOUN}: it is too deeply nested") from None
        if not agrees:
            raise DataError(
                f"this {cls.NOUN} was changed after it was made (its hash disagrees): {cls.AGAIN}"
            )

    def _content(self) -> dict[str, Any]:
        document: dict[str, Any] = {"schema": self.SCHEMA} | to_plain(self)
        return document

    def _derived(self) -> dict[str, Any]:
        """What stands beside the content and is not read back."""
        return {}

    def _check(self) -> None:
        """Whether what was read can be used. Raises: DataError, or what `from_plain` raises."""


def schema_of(document: Any) -> str | None:
    """The schema that a parsed document names; None for what is no document."""
    found = document.get("schema") if isinstance(document, Mapping) else None
    return found if isinstance(found, str) else None


def sha256_of(data: bytes) -> str:
    """Return the SHA-256 of some bytes in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def hash_of(document: Mapping[str, Any]) -> str:
    """SHA-256 of a document's canonical text, in hexadecimal: sorted keys, no spaces, ASCII, every number a double.

    Raises: ValueError for NaN or infinity.
    """
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
