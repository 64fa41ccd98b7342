"""Summaries from files: whole, the same when written again, or a DataError."""

import json
import math
from functools import cache

from breakyard.errors import DataError
from breakyard.formats.write_json import json_text
from breakyard.pull.results import Summary

MAX_LEN = 4000


@cache
def example():
    """The JSON of a summary with everything in it, from its own annotations."""
    return json_text(_example(Summary) | {"schema": Summary.SCHEMA})


def _example(kind):
    import types
    from dataclasses import fields
    from typing import Literal, Union, get_args, get_origin, get_type_hints

    if hasattr(kind, "__dataclass_fields__"):
        hints = get_type_hints(kind)
        faces = {f.name: f.metadata.get("json") for f in fields(kind)}
        keys = {name: name if said is None or said.key == "" else said.key for name, said in faces.items()}
        return {key: _example(hints[name]) for name, key in keys.items() if key is not None}
    if get_origin(kind) is tuple:
        return [_example(get_args(kind)[0])]
    if get_origin(kind) in (Union, types.UnionType):
        return _example(get_args(kind)[0])
    if get_origin(kind) is Literal:
        return get_args(kind)[0]
    return {float: 1.5, int: 3, str: "x", bool: True}[kind]


def seeds():
    whole = example()
    return [
        whole.encode(),
        json.dumps(json.loads(whole)).replace("1.5", "1e999").encode(),
        json.dumps(json.loads(whole)).replace("3", "1e400").encode(),
        json.dumps(json.loads(whole)).replace("[", "[null, ").encode(),
        b"[" * 3000,
        b"[1]",
        b"{}",
    ]


def try_one(data):
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):  # the caller's business, and tried there
        return
    if isinstance(document, dict):
        document.setdefault("schema", Summary.SCHEMA)
    try:
        summary = Summary.from_json(document)
    except DataError as error:
        assert str(error)
        return
    again = Summary.from_json(summary.to_json())
    assert repr(again) == repr(summary)
    assert all(isinstance(flag, str) for flag in summary.flags)
    assert isinstance(summary.peak.estimate_n, float)
    json.loads(json_text(summary.to_json()))
    assert not math.isnan(summary.run.samples)
