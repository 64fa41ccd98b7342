"""What the field page passes on becomes runs of a session, byte for byte, with what was said of them."""

from pathlib import Path

import pytest

from breakyard.errors import DataError
from breakyard.run import read_run, read_runs
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.notes import RunNotes
from breakyard.session.passed_on import is_table, join, read_table, take_apart
from breakyard.session.session import create_session

COLUMNS = "serial,run,specimen,outcome,note,recorded,purpose"


def test_what_was_joined_is_taken_apart(tmp_path: Path, two_runs: tuple[bytes, bytes]) -> None:
    """Each run is what it was, under its specimen's name or its own; a second time nothing is new."""
    session = create_session(tmp_path / "s", SessionInfo())
    serial = read_run(two_runs[0]).identity.serial.hex()  # type: ignore[union-attr]
    said = {(serial, 1): RunNotes(specimen="S1", notes="a crack")}

    runs = take_apart(two_runs[0] + two_runs[1], "pulls.run")
    first = join(session, runs, said)
    again = join(session, runs, said)

    assert [(run.serial, run.number) for run in runs] == [(serial, 1), (serial, 2)]
    assert [one.path.read_bytes() for one in first] == list(two_runs)
    assert first[0].path.name == "S1.run"
    assert session.notes("S1").notes == "a crack"
    assert [one.new for one in first] == [True, True]
    assert [(one.path, one.new) for one in again] == [(one.path, False) for one in first]


def test_a_damaged_joined_file_loses_one_record_at_most(two_runs: tuple[bytes, bytes]) -> None:
    """What is damaged stays with its run; nothing of the other is touched."""
    joined = bytearray(two_runs[0] + two_runs[1])
    joined[len(two_runs[0]) // 2] ^= 0x55

    first, second = take_apart(bytes(joined), "pulls.run")

    assert second.data == two_runs[1]
    (whole,) = read_runs(two_runs[0])
    (hurt,) = read_runs(first.data)
    assert not hurt.loss.complete
    assert len(hurt.counts) >= len(whole.counts) - 46


def test_a_table_says_what_each_run_was(tmp_path: Path) -> None:
    """Its signs for spreadsheets are taken off, a weighing is one, and what was not said is not there."""
    path = tmp_path / "t.csv"
    path.write_text(f'{COLUMNS}\r\nab,1,S1,broke,"first, crack",,\r\nab,2,,,\'=1+1,,weighing\r\n', "utf-8")

    assert is_table(path)
    assert read_table(path) == {
        ("ab", 1): RunNotes(specimen="S1", notes="first, crack", more={"outcome": "broke"}),
        ("ab", 2): RunNotes(notes="=1+1", more={"purpose": "weighing"}),
    }


def test_files_that_are_none_are_refused(tmp_path: Path) -> None:
    """Not a run; a table whose second line has no number."""
    with pytest.raises(DataError, match="no run in this file"):
        take_apart(b"nothing", "x.run")
    (tmp_path / "t.csv").write_text(f"{COLUMNS}\r\n00,x,,,,,\r\n", "utf-8")
    with pytest.raises(DataError, match="line 2"):
        read_table(tmp_path / "t.csv")
    (tmp_path / "other.csv").write_text("time,load\n0,1\n", "utf-8")
    assert not is_table(tmp_path / "other.csv")
