"""How long the store will take samples, and when that is too little for the session."""

from pathlib import Path

import pytest

from breakyard.device.room import LEAST_S, needed_s, room_lines, time_words
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.notes import RunNotes
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import Session, create_session
from breakyard.wire.layout import FIELDS, Kind
from breakyard.wire.records import Status

ZEROS = dict.fromkeys((name for name, _ in FIELDS[Kind.STATUS]), 0)


def status(seconds_left: int, free_bytes: int = 0) -> Status:
    return Status(run=0, index=0, **(ZEROS | {"seconds_left": seconds_left, "free_bytes": free_bytes}))


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """Four specimens, none broken yet."""
    return create_session(
        tmp_path / "slipway", SessionInfo(place="slipway"), [Specimen(id=one) for one in "ABCD"]
    )


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 minutes"),
        (119, "1 minute"),
        (1599, "26 minutes"),
        (7199, "119 minutes"),
        (12_000, "3 h 20 min"),
    ],
)
def test_words(seconds: int, words: str) -> None:
    """Rounded down."""
    assert time_words(seconds) == words


def test_without_a_session(session: Session) -> None:
    """Ten minutes are asked for."""
    assert needed_s(None, status(0))[0] == LEAST_S
    assert room_lines(None, status(600))[1] == ""
    assert room_lines(None, status(599)) == (
        "room for 9 minutes of samples",
        (
            "little room: 9 minutes of samples, and a few pulls may need 10 minutes; "
            "fetch runs and let the logger erase them (breakyard logger fetch --erase)"
        ),
    )


def test_a_session_without_runs(session: Session) -> None:
    """Two minutes a specimen, and a quarter more."""
    assert needed_s(session, status(0)) == (4 * 120 * 1.25, "4 pulls to come")
    assert room_lines(session, status(600))[1] == ""
    assert "4 pulls to come may need 10 minutes" in room_lines(session, status(599))[1]


def test_a_session_with_runs(session: Session) -> None:
    """What the runs so far took, in bytes, for each specimen that has none."""
    for name, size in (("A", 40_000), ("B", 60_000)):
        session.add_run(name, bytes(size), RunNotes(specimen=name))
    need_s, what = needed_s(session, status(1000, free_bytes=500_000))

    assert what == "2 pulls to come"
    assert need_s == pytest.approx(2 * 50_000 * 1000 / 500_000 * 1.25)
