"""The JSON face: keys, what is left out, the way back, and hashes that outlive a tool which rewrites numbers."""

import json
import math
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any, ClassVar, Literal, NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breakyard.document import NOT_IN_JSON, Document, face, from_plain, hash_of, schema_of, to_plain
from breakyard.errors import DataError


class Colour(StrEnum):
    RED = "red"


class Shift(NamedTuple):
    source: str
    by_n: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Part:
    name: str
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Whole(Document):
    SCHEMA: ClassVar = "breakyard.whole/1"
    NOUN: ClassVar = "whole"
    HASHED: ClassVar = True
    BESIDE: ClassVar = ("picture",)
    ALSO_IN_JSON: ClassVar = {"first": "parts.0.name", "fit.kind": "kind"}

    parts: tuple[Part, ...]
    scale: float = field(metadata=face("fit.scale"))
    kept_by: tuple[tuple[str, float], ...] = field(metadata=face(pairs=True))
    span_n: tuple[float, float] = (0.0, 1.0)
    shifts: tuple[Shift, ...] = ()
    count: int | None = None
    way: Literal["up", "down"] = "up"
    ratio: float = field(default=1.0, metadata=face("lever.ratio", sparse=True))
    assumed: bool = field(default=False, metadata=face("lever.assumed", sparse=True))
    warmth_c: float | None = field(default=None, metadata=face(sparse=True))
    curve: Any = field(default=None, compare=False, metadata=NOT_IN_JSON)

    @property
    def kind(self) -> str:
        return "line"


WHOLE = Whole((Part("a"), Part("b", 0.5)), 2.0, (("one", 1.0),), shifts=(Shift("mass", (1.0, 2.0)),))


def test_each_field_stands_where_its_face_says() -> None:
    """Renamed, grouped, as pairs, taken from elsewhere, left out."""
    assert to_plain(WHOLE) == {
        "first": "a",
        "fit": {"kind": "line", "scale": 2.0},
        "parts": [{"name": "a", "share": 1.0}, {"name": "b", "share": 0.5}],
        "kept_by": {"one": 1.0},
        "span_n": [0.0, 1.0],
        "shifts": [{"source": "mass", "by_n": [1.0, 2.0]}],
        "count": None,
        "way": "up",
    }


def test_sparse_fields_of_one_object_come_together() -> None:
    """One that differs from its default brings the others; a lone one comes by itself."""
    document = to_plain(replace(WHOLE, assumed=True, warmth_c=12.0))

    assert document["lever"] == {"ratio": 1.0, "assumed": True}
    assert document["warmth_c"] == 12.0


def test_names_and_flat_mappings() -> None:
    """Items by their names, and a mapping beside the other fields."""

    @dataclass(frozen=True)
    class Checked:
        parts: tuple[Part, ...] = field(metadata=face(names=True))
        numbers: dict[str, float] = field(metadata=face(flat=True))

    assert to_plain(Checked((Part("a"),), {"share": 0.5})) == {"parts": ["a"], "share": 0.5}


def test_what_json_does_not_know_becomes_plain() -> None:
    """numpy's floats, enums, infinity."""
    values = (np.float64(1.5), Colour.RED, math.inf, float("nan"), True)

    assert json.dumps(to_plain(values), allow_nan=False) == '[1.5, "red", null, null, true]'
    assert type(to_plain(Colour.RED)) is str


@given(
    scale=st.floats(allow_nan=False, allow_infinity=False),
    ratio=st.floats(0.1, 10.0),
    assumed=st.booleans(),
    warmth=st.none() | st.floats(-40.0, 50.0),
    count=st.none() | st.integers(-(2**53), 2**53),
)
def test_text_and_back_is_the_same(
    scale: float, ratio: float, assumed: bool, warmth: float | None, count: int | None
) -> None:
    """Whatever the values, with the same hash."""
    value = replace(WHOLE, scale=scale, ratio=ratio, assumed=assumed, warmth_c=warmth, count=count)

    again = Whole.from_json(json.dumps(value.to_json(), allow_nan=False))

    assert again == value
    assert again.content_hash == value.content_hash


def test_what_stands_beside_the_content_is_not_hashed() -> None:
    """A file may get a picture's name; anything else is a change."""
    document = WHOLE.to_json()

    assert Whole.from_json(document | {"picture": "x.png"}) == WHOLE
    with pytest.raises(DataError, match="this whole was changed after it was made"):
        Whole.from_json(document | {"colour": "red"})


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"schema": "breakyard.whole/2"}, "breakyard.whole/1"),
        ({"way": "left"}, "'left' is not one of"),
        ({"count": 1.5}, "int was expected, not 1.5"),
        ({"count": True}, "int was expected, not True"),
        ({"fit": {"scale": "2"}}, "float was expected, not '2'"),
        ({"span_n": [1.0]}, "shorter"),
        ({"parts": "ab"}, "a list was expected"),
        ({"parts": [{"name": 3}]}, "str was expected, not 3"),
        ({"fit": {}}, "'scale'"),
        ({"fit": None}, "NoneType"),
    ],
)
def test_a_document_that_cannot_be_read_says_where(change: dict[str, Any], said: str) -> None:
    """One line, whose hash agrees: the fault is in the document itself."""
    content = {name: item for name, item in WHOLE.to_json().items() if name != "hash"} | change

    with pytest.raises(DataError, match=said) as problem:
        Whole.from_json(content | {"hash": hash_of(content)})
    assert "\n" not in str(problem.value)


@pytest.mark.parametrize("text", ["", "[1]", "nonsense", "3", "[" * 100_000])
def test_what_is_no_document_is_named(text: str) -> None:
    """Whatever the text, one sentence that says what was expected."""
    with pytest.raises(DataError, match="this is no whole"):
        Whole.from_json(text)


def test_a_number_that_json_does_not_know_is_refused() -> None:
    """NaN and infinity in a hashed document."""
    with pytest.raises(DataError, match="a number that JSON does not know"):
        Whole.from_json(json.dumps(WHOLE.to_json() | {"span_n": [0.0, math.inf]}))


def test_hashes_are_of_values_not_of_spelling() -> None:
    """Order and 20 for 20.0 change nothing; SHA-256 of the canonical text by hashlib (FIPS 180-4) is what comes out."""
    import hashlib

    text = '{"a":20.0,"b":[true,null,"x"]}'

    assert hash_of({"b": [True, None, "x"], "a": 20}) == hashlib.sha256(text.encode()).hexdigest()
    assert schema_of([]) is None
    assert schema_of({"schema": 3}) is None


def test_a_tuple_of_two_is_read_item_by_item() -> None:
    """Each by its own kind."""
    assert from_plain(tuple[int, str], [3, "x"]) == (3, "x")
