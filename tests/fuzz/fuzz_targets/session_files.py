"""session.toml, notes of a run, the file of keys: read whole, or one line that names the file; written as read."""

import os
from collections.abc import Mapping
from dataclasses import fields, is_dataclass

import tomli_w

from breakyard.device.keys import KEYS_VARIABLE, read_keys
from breakyard.errors import BreakyardError
from breakyard.session.files.info import read_info, write_info
from breakyard.session.files.notes import read_notes, write_notes
from fuzz_targets.feeding import Cursor
from fuzz_targets.places import scratch

MAX_LEN = 300


def seeds():
    info = {
        "place": "Slipway",
        "latitude_deg": 48.2,
        "height_m": 160,
        "unit": "kgf",
        "rig": {"parts": [{"name": "shackle", "limit_n": 1e4}]},
        "logger": "1a2b",
        "calibration": "may",
        "notes": "windy",
        "mine": [1, 2.5, True, "x"],
    }
    notes = {
        "specimen": "a-1",
        "notes": "two\nlines",
        "photos": ["a.jpg"],
        "import": {"sha256": "00", "accuracy": 0.005, "time_column": 1, "unit": "kN", "decimal": ","},
    }
    found = [b"\0" + tomli_w.dumps(info).encode(), b"\1" + tomli_w.dumps(notes).encode()]
    found += [b"\0date = 2026-05-03\nlatitude_deg = nan\n", b"\0date = 2026-05-03T10:00:00Z\nheight_m=inf\n"]
    return [*found, b'\2{"1a2b": "00ff"}', b"\2[1]", b"\0a=" + b"[" * 200, b"\2" + b"[" * 200]


def try_one(data):
    cursor = Cursor(data)
    kind = cursor.number() % 3
    path = scratch("text.toml")
    path.write_bytes(cursor.rest())
    if kind == 2:
        os.environ[KEYS_VARIABLE] = str(path)
        try:
            keys = read_keys()
        except BreakyardError as error:
            _names_the_file(error)
        else:
            assert all(type(name) is str and type(key) is bytes for name, key in keys.items())
        return
    read, write = ((read_info, write_info), (read_notes, write_notes))[kind]
    try:
        value = read(path)
    except BreakyardError as error:
        _names_the_file(error)
        return
    write(path, value)
    assert _plain(read(path)) == _plain(value)


def _plain(value):
    """Comparable: tables without their order, and a number that is none equal to itself."""
    if is_dataclass(value):
        return [_plain(getattr(value, one.name)) for one in fields(value)]
    if isinstance(value, Mapping):
        return sorted((key, _plain(one)) for key, one in value.items())
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return repr(value)


def _names_the_file(error):
    assert "text.toml" in str(error)
    assert "\n" not in str(error)
