"""Names on the disks of three systems: one session reads the same wherever it is copied to."""

import unicodedata
from pathlib import Path

import pytest

from breakyard.disk.atomic import write_once
from breakyard.errors import DataError, UsageError
from breakyard.session import open_session
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.layout import portable_name, safe_name
from breakyard.session.files.notes import RunNotes
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session


@pytest.mark.parametrize("name", ["COM¹", "lpt³", "con .x", "NUL  .run", "aux", "com7.txt", "CON"])
def test_windows_devices_name_no_file(name: str) -> None:
    """learn.microsoft.com, "Naming Files, Paths, and Namespaces": superscripts are digits, blanks are dropped."""
    with pytest.raises(UsageError, match="cannot name a file"):
        safe_name(name)
    assert portable_name(name) == f"_{name}"


@pytest.mark.parametrize("name", ["COM¹x", "console", "con-x", "S1", "Ożarów 2"])
def test_names_that_only_look_like_them_are_taken(name: str) -> None:
    """No more is refused than must be."""
    assert safe_name(name) == portable_name(name) == name


@pytest.mark.parametrize(
    ("there", "new"), [("S1.run", "s1.run"), ("Ożarów.run", "OŻARÓW.run"), ("Oz\u0307arow.run", "Ożarow.run")]
)
def test_two_names_that_another_disk_takes_for_one(tmp_path: Path, there: str, new: str) -> None:
    """On a copy to Windows or a Mac one of the two would be lost; so the second is never written."""
    write_once(tmp_path / there, b"one")
    with pytest.raises(DataError, match="takes the two for one file"):
        write_once(tmp_path / new, b"two")

    assert [path.name for path in tmp_path.iterdir()] == [there]


def test_a_session_from_a_mac_reads_the_same(tmp_path: Path) -> None:
    """Its disk may hold letters taken apart (NFD); the table of specimens has them put together."""
    name = "Ożarów"
    session = create_session(tmp_path / "yard", SessionInfo(), [Specimen(name, group="a", order=1)])
    session.add_run(name, b"records", RunNotes(specimen=name, notes="windy"))
    session.add_calibration(name, "{}")
    for path in [path for path in (tmp_path / "yard").rglob("*") if name in path.name]:
        path.rename(path.with_name(unicodedata.normalize("NFD", path.name)))
    table = tmp_path / "yard/specimens.csv"
    table.write_text(unicodedata.normalize("NFD", table.read_text("utf-8-sig")), "utf-8")
    copied = open_session(tmp_path / "yard")

    (pull,) = copied.pulls
    assert (pull.name, pull.group, pull.order, pull.notes) == (name, "a", 1, "windy")
    assert pull.specimen == copied.specimens()[0].id
    assert copied.read_run(name) == b"records"
    assert copied.notes(name).notes == "windy"
    assert copied.calibration_file(name).name == unicodedata.normalize("NFD", f"{name}.json")
    copied.write_notes(name, RunNotes(specimen=name, notes="calm"))
    assert len(list((tmp_path / "yard/runs").iterdir())) == 2
