"""What PowerShell's `>` writes (UTF-16 with a mark, CRLF) is read wherever people hand in text."""

import json
from pathlib import Path

import pytest

from breakyard.errors import DataError
from breakyard.formats.read_points import parse_points
from breakyard.session.files.calibrations import read_calibration
from breakyard.session.files.checks import read_checks
from breakyard.session.files.info import read_info
from breakyard.session.files.notes import read_notes
from breakyard.session.files.specimens import read_specimens, write_specimens


@pytest.fixture(params=["utf-16", "utf-16-le", "utf-8", "utf-8-sig"])
def write(request: pytest.FixtureRequest, tmp_path: Path):  # type: ignore[no-untyped-def]
    """Writes a text as that shell, or an editor, would."""

    def written(name: str, text: str) -> Path:
        path = tmp_path / name
        path.write_bytes(text.replace("\n", "\r\n").encode(request.param))
        return path

    return written


def test_session_notes_and_specimens(write) -> None:  # type: ignore[no-untyped-def]
    info = read_info(write("session.toml", 'place = "Ożarów slipway"\nunit = "kgf"\n'))
    notes = read_notes(write("S1.toml", 'specimen = "S1"\nnotes = "glue – cold"\n'))
    path = write("specimens.csv", "id;group;order\nŻ1;bonded;1\n")
    (one,) = read_specimens(path)

    assert (info.place, info.unit) == ("Ożarów slipway", "kgf")
    assert (notes.specimen, notes.notes) == ("S1", "glue – cold")
    assert (one.id, one.group) == ("Ż1", "bonded")
    write_specimens(path, [one])
    assert path.read_bytes().decode("utf-8-sig").startswith("id;group")


def test_calibrations_points_and_checks(write) -> None:  # type: ignore[no-untyped-def]
    path = write("cal.json", json.dumps({"schema": "x", "name": "bench – north"}, ensure_ascii=False))
    assert json.loads(read_calibration(path))["name"] == "bench – north"
    assert len(parse_points(write("points.csv", "Load,Counts\n0,1204\n20 kg,169350\n").read_bytes())) == 2
    with pytest.raises(DataError, match="no column"):
        read_checks(write("checks.csv", "some,table\n1,2\n"))


def test_damaged_text_is_still_refused(tmp_path: Path) -> None:
    for name, data in (("a.toml", b"\xff\xfea"), ("b.toml", b'a = "\xff"')):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(DataError, match="not valid TOML"):
            read_info(tmp_path / name)
