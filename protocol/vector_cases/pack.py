"""Bytes of records by the table, with struct, zlib and the third-party package `cobs`: neither of our codecs.

A value is an int, a float, a str (text), bytes, for a block of samples a list of (counts, step, quality), the
step in units of STEP_US, for a block of means a list of (number, quality, step_ms, mean, lowest, highest).
"""

import hashlib
import json
import struct
import zlib
from pathlib import Path

from cobs import cobs

_FOLDER = Path(__file__).resolve().parent.parent
TABLE = json.loads((_FOLDER / "records.json").read_text("utf-8"))
RELEASED = hashlib.sha256((_FOLDER / "released" / "1.json").read_bytes()).digest()[:8]
KINDS = {kind["name"]: kind for kind in TABLE["kinds"]}
COMMANDS = {command["name"]: command for command in TABLE["commands"]}
LIMITS = {name: limit["value"] for name, limit in TABLE["limits"].items()}
ERRORS = {error["name"]: error["value"] for error in TABLE["errors"]}
DAMAGE = {damage["name"]: damage["value"] for damage in TABLE["damage"]}

DecodeError = cobs.DecodeError

_FORMATS = {"u8": "<B", "u16": "<H", "u32": "<I", "f32": "<f"}


def pack_value(kind, value):
    if kind in _FORMATS:
        return struct.pack(_FORMATS[kind], value)
    if kind == "i24":
        return struct.pack("<i", value)[:3]
    if kind == "text":
        raw = value.encode("utf-8")
        return struct.pack("<B", len(raw)) + raw
    if kind == "samples":
        parts = [struct.pack("<B", len(value))]
        for counts, step, quality in value:
            parts.append(struct.pack("<i", counts)[:3] + struct.pack("<H", quality * 8192 + step))
        return b"".join(parts)
    if kind == "means":
        parts = [struct.pack("<B", len(value))]
        for number, quality, step_ms, *counts in value:
            parts.append(struct.pack("<HH", quality * 8192 + number, step_ms))
            parts += [struct.pack("<i", one)[:3] for one in counts]
        return b"".join(parts)
    return bytes(value)  # bytes8, bytes32, rest


def pack_fields(fields, values):
    assert set(values) == {field["name"] for field in fields}, values
    return b"".join(pack_value(field["type"], values[field["name"]]) for field in fields)


def seal(body):
    """Append the checksum."""
    return body + struct.pack("<I", zlib.crc32(body))


def header(kind, run, index, version=1):
    return struct.pack("<BBHI", kind, version, run, index)


def record(name, run, index, values, version=1, extra=b""):
    kind = KINDS[name]
    return seal(header(kind["value"], run, index, version) + pack_fields(kind["fields"], values) + extra)


def command(name, index, /, version=1, extra=b"", **arguments):
    """A COMMAND record."""
    packed = pack_fields(COMMANDS[name]["arguments"], arguments)
    values = {"command": COMMANDS[name]["value"], "arguments": packed + extra}
    return record("COMMAND", 0, index, values, version)


def answer(name, index, /, error="OK", **results):
    """An ANSWER record."""
    packed = pack_fields(COMMANDS[name]["results"], results) if error == "OK" else b""
    values = {"command": COMMANDS[name]["value"], "error": ERRORS[error], "results": packed}
    return record("ANSWER", 0, index, values)


def stuff(data):
    return cobs.encode(data)


def unstuff(body):
    return cobs.decode(body)


def frame(data):
    return b"\0" + cobs.encode(data) + b"\0"


def plain(fields, values):
    """Field values as JSON has them: bytes and floats as hex, a block of samples as three lists."""
    shown = {}
    for field in fields:
        value = values[field["name"]]
        if field["type"] == "samples":
            counts, steps, quality = (list(column) for column in zip(*value, strict=True))
            value = {"counts": counts, "steps": steps, "quality": quality}
        elif field["type"] == "means":
            names = ("number", "quality", "step_ms", "mean", "lowest", "highest")
            value = {name: list(column) for name, column in zip(names, zip(*value, strict=True), strict=True)}
        elif field["type"] == "f32":
            value = pack_value("f32", value).hex()
        elif isinstance(value, bytes):
            value = value.hex()
        shown[field["name"]] = value
    return shown
