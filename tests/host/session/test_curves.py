"""Pulls of one recording share one reading of it."""

from pathlib import Path

import numpy as np
import pytest

from breakyard.session import recordings
from breakyard.session.pulls import Pull
from breakyard.session.recordings import Curves, load_curve


def test_a_recording_of_several_pulls_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two pulls of one file, then another file, then the first again: three readings, the curves as ever."""
    time = np.arange(0.0, 60.0, 0.02)
    load = np.interp(time % 30.0, [0.0, 10.0, 20.0, 20.02, 30.0], [0.0, 0.0, 3000.0, 0.0, 0.0])
    rows = "".join(f"{t:.2f},{f:.2f}\n" for t, f in zip(time, load, strict=True))
    for name in ("day", "other"):
        (tmp_path / f"{name}.csv").write_text("Time [s],Load [N]\n" + rows)
    pulls = [
        Pull(f"{name}#{part}", tmp_path / f"{name}.csv", None, part=part)
        for name, part in (("day", 1), ("day", 2), ("other", 2), ("day", 1))
    ]
    expected = [load_curve(pull) for pull in pulls]
    read, kept = [], recordings._table

    def counted(path: Path, session: None) -> object:
        read.append(path.name)
        return kept(path, session)

    monkeypatch.setattr(recordings, "_table", counted)
    curves = Curves()
    found = [curves.of(pull) for pull in pulls]

    assert read == ["day.csv", "other.csv", "day.csv"]
    for one, other in zip(found, expected, strict=True):
        assert one.name == other.name
        np.testing.assert_array_equal(one.load_n, other.load_n)
    assert found[0].load_n.base is found[1].load_n.base
