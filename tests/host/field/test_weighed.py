"""What the pages are told of something weighed: the computer's weighing, or why there is none."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from breakyard.field.reading import read_for_pages
from breakyard.formats.read_csv import parse_csv
from breakyard.session.files.info import SessionInfo
from breakyard.session.session import create_session

G = 9.8146
"""m/s2 at 54.3 degrees, by PTB's table to four digits (from memory)."""


def told_of(folder: Path, seconds: float) -> list[dict[str, Any]]:
    """Slings of 4 kg for 14 s, then an engine of 180 kg that swings for so many seconds. Invented."""
    session = create_session(folder / "day", SessionInfo(unit="kgf", latitude_deg=54.3, height_m=10))
    time = np.arange(0.0, 17.0 + seconds, 0.025)
    load = np.interp(time, [0, 14, 17], [4 * G, 4 * G, 184 * G]) * (1 + 0.01 * np.sin(3.7 * time))
    data = "time_s,load_N\n" + "\n".join(f"{t:.3f},{f:.3f}" for t, f in zip(time, load, strict=True))
    session.add_recording("W", data.encode(), parse_csv(data.encode(), name="W"), accuracy=0.0005)
    session.change_notes("W", lambda notes: replace(notes, more={**notes.more, "purpose": "weighing"}))
    return read_for_pages(session.root, "W")


def test_a_mass_with_its_interval(tmp_path: Path) -> None:
    """Slings taken off, swing averaged, gravity of the place: as `breakyard weigh` has it, and no peak."""
    (told,) = told_of(tmp_path, 20.0)

    assert told["peak"] is None
    weighed = told["weighed"]
    assert weighed["low_kg"] <= 180.0 <= weighed["high_kg"]
    assert weighed["high_kg"] - weighed["low_kg"] < 3.0
    assert 3.9 < weighed["tare_kg"] < 4.1
    assert "54.3" in weighed["gravity"]


def test_what_hung_too_shortly_is_said(tmp_path: Path) -> None:
    """In a sentence, on the page too."""
    (told,) = told_of(tmp_path, -16.0)

    assert told["weighed"] == {}
    assert "must be longer" in told["problem"]
