"""One file of notes that somebody broke, in a session of several pulls: one line says so, and the rest goes on."""

import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pulled_day import pulled_day

from breakyard.device.keeping import Keeper
from breakyard.device.recording import specimen_for
from breakyard.formats.read_csv import parse_csv
from breakyard.session.files.specimens import Specimen
from breakyard.session.pulls import still_to_pull
from breakyard.session.session import open_session

Command = Callable[..., Any]

BROKEN = ('specimen = "S2\n', "not valid TOML"), ('specimn = "S2"\n', "specimn"), (b"\xff\xfe\x00", "TOML")


@pytest.fixture
def yard(tmp_path: Path) -> Path:
    """Three pulls of two groups and a specimen that is still to come."""
    planned = [Specimen(f"S{at}", "flat" if at % 2 else "edge", order=at) for at in range(1, 5)]
    return pulled_day(tmp_path / "yard", *planned, unit="N", still_to_come=1)


def spoil(yard: Path, content: str | bytes) -> Path:
    """Break the second pull's notes."""
    notes = yard / "runs" / "S2.toml"
    notes.write_bytes(content.encode() if isinstance(content, str) else content)
    return notes


def read(document: Any) -> dict[str, bool]:
    """Which pulls have numbers."""
    return {row["name"]: row["summary"] is not None for row in document["pulls"]}


@pytest.mark.parametrize(("content", "said"), BROKEN, ids=["torn", "a slip", "no text"])
def test_the_others_are_read(yard: Path, breakyard: Command, content: str | bytes, said: str) -> None:
    """summarize has the two others with their numbers, and the third as a row with the file's name; status 1."""
    notes = spoil(yard, content)

    done = breakyard("summarize", yard, "--json")

    assert done.status == 1
    assert "S2.toml" in done.complaint
    assert said in done.complaint
    assert read(done.document) == {"S1": True, "S2": False, "S3": True}
    assert notes.read_bytes() == (content.encode() if isinstance(content, str) else content)
    assert not list(yard.glob("results/S2.*"))


@pytest.mark.parametrize(
    ("words", "status", "made"),
    [
        (("compare", "yard"), 0, ""),
        (("report", "yard"), 1, "yard/results/report.html"),
        (("plot", "yard"), 0, "yard/results/all-pulls.png"),
        (("export", "yard", "--to", "out"), 1, "out/S3.curve.csv"),
        (("export", "yard", "--tidy", "--to", "out"), 0, "out/pulls.csv"),
        (("sheet", "--all", "--session", "yard"), 0, ""),
        (("next", "yard"), 0, ""),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)
def test_every_command_on_the_session_goes_on(
    yard: Path, breakyard: Command, tmp_path: Path, words: tuple[str, ...], status: int, made: str
) -> None:
    """What can be made is made; the one line names the file to mend."""
    spoil(yard, BROKEN[0][0])

    done = breakyard(*words)

    assert done.status == status, done.err
    assert "S2.toml" in done.out + done.err
    assert "Traceback" not in done.err
    assert sum("S2.toml" in line for line in done.err.splitlines()) <= 1
    assert (tmp_path / made).exists()


def test_an_archive_keeps_the_broken_file_as_it_is(yard: Path, breakyard: Command, tmp_path: Path) -> None:
    """A backup holds every byte, also of what cannot be read."""
    pytest.importorskip("pyarrow", reason="no pyarrow here")
    notes = spoil(yard, BROKEN[0][0])

    assert breakyard("export", yard, "--archive", "--to", "archive").status == 0
    assert breakyard("import", "archive", "--session", "back").status == 0

    assert (tmp_path / "back" / "yard" / "runs" / "S2.toml").read_bytes() == notes.read_bytes()


def test_the_next_specimen_is_the_next_one(yard: Path) -> None:
    """Nobody knows whose the run is; it counts for the specimen whose name it bears, and a warning says so."""
    spoil(yard, BROKEN[0][0])

    with pytest.warns(UserWarning, match=r"S2\.toml.*nobody knows which specimen it was"):
        chosen = specimen_for(Keeper(yard), None, now=False)

    assert chosen == "S4"


def test_a_list_of_specimens_that_is_none(yard: Path, breakyard: Command) -> None:
    """specimens = "S2" instead of a list: this pull says it, the others are read."""
    notes = yard / "runs" / "S2.toml"
    text = notes.read_text(encoding="utf-8").replace('specimen = "S2"', 'specimens = "S2"')
    breakyard("summarize", yard)
    notes.write_text(text, encoding="utf-8")

    done = breakyard("summarize", yard, "--json")

    assert done.status == 1
    assert '"specimens" must be a list of ids' in done.complaint
    assert read(done.document) == {"S1": True, "S2": False, "S3": True}


def test_mended_notes_are_read_again(yard: Path, breakyard: Command) -> None:
    """Nothing of the fault is kept."""
    notes = yard / "runs" / "S2.toml"
    before = notes.read_bytes()
    spoil(yard, BROKEN[0][0])
    breakyard("summarize", yard)
    notes.write_bytes(before)

    done = breakyard("summarize", yard, "--json")

    assert (done.status, done.err.count("breakyard: ")) == (0, 0)
    assert read(done.document) == {"S1": True, "S2": True, "S3": True}


def test_the_plan_is_done(yard: Path) -> None:
    """Of four specimens one is still to be pulled; once it has a run, none is."""
    session = open_session(yard)
    assert still_to_pull(session) == ("S4",)
    data = (yard / "runs" / "S3.csv").read_bytes()
    session.add_recording("late", data, parse_csv(data, name="late"), specimen="S4")

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert still_to_pull(session) == ()
        assert specimen_for(Keeper(yard), None, now=False) == ""
