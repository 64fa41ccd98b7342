"""Texts of strangers that become names of files, links or lines on the terminal."""

from pathlib import Path
from types import SimpleNamespace

from breakyard.device.link import ble
from breakyard.errors import UsageError
from breakyard.report.words.printable import printable
from breakyard.session.files.layout import LONGEST_NAME, Layout, name_from, run_name, safe_name
from breakyard.session.files.run_files import _natural

MAX_LEN = 160
ROOT = Path("/somewhere/session")
CONTROL = {chr(number) for number in (*range(32), *range(127, 160))} - {"\n", "\t"}


def seeds():
    return [
        b"a-1",
        b"Deck, bonded #1",
        b"../../etc/passwd",
        b"con.txt",
        b"\x1b[2J",
        "e\u0301\u202e".encode(),
        b"Breakyard-1a2b3c4d",
        b"\x01\x02\x63Breakyard-",
        b"12.12 (b)",
    ]


def try_one(data):
    text = data.decode("utf-8", errors="replace" if len(data) % 2 else "surrogateescape")
    made = name_from(text) if text.isprintable() else "unnamed"
    assert safe_name(made) == made
    try:
        name = safe_name(text)
    except UsageError as error:
        assert "\n" not in str(error)
        str(error).encode("ascii")
    else:
        layout = Layout(ROOT)
        for path in (layout.run_file(name), layout.notes_file(name), layout.calibration_file(name)):
            assert path.parent.parent == ROOT
            assert ".." not in path.parts
            assert len(path.name.encode()) <= LONGEST_NAME + 5
        assert layout.result_file(name).parent == layout.results
    assert sorted([text, made, "a1"], key=_natural)
    shown = printable(text)
    assert not CONTROL & set(shown)
    assert len(shown) == len(text)
    assert safe_name(run_name(data[:8].ljust(8, b"\0"), len(data)))
    near = ble._nearby(
        SimpleNamespace(name=None, address="x"),
        SimpleNamespace(local_name=text, manufacturer_data={ble.COMPANY: data}, rssi=-60),
    )
    assert near.name == "(no name)" or (near.name.isascii() and near.name.isprintable())
    assert near.battery_percent is None or 0 <= near.battery_percent <= 100
    ble.matches(near, text)
