"""A session folder keeps what was recorded, takes what people add, and lets no name lead out of it."""

import datetime
import hashlib
import os
import threading
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from breakyard.disk.atomic import write_atomically, write_once
from breakyard.errors import BreakyardError, DataError, UnitError, UsageError
from breakyard.formats.read_csv import parse_csv
from breakyard.formats.recording import CsvOptions
from breakyard.session import Session, create_session, find_session, open_session
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.layout import Layout, name_from, safe_name
from breakyard.session.files.notes import RunNotes, read_notes, write_notes
from breakyard.session.files.specimens import Specimen

CSV = "Zeit;Kraft\n[ms];[kN]\n0,5;1\n1,5;2\n3,5;1,5\n"


@pytest.fixture
def session(tmp_path: Path) -> Session:
    return create_session(tmp_path / "2026-05-03-slipway", SessionInfo(place="slipway", unit="kgf"))


def test_a_session_is_found_from_any_path_in_it(session: Session) -> None:
    assert find_session(session.root / "runs" / "B1.run") == session
    assert open_session(session.root) == session
    assert find_session(session.root.parent) is None
    with pytest.raises(UsageError, match=r"session\.toml"):
        open_session(session.root.parent / "elsewhere")


def test_a_folder_in_use_is_not_made_into_a_session(session: Session) -> None:
    with pytest.raises(UsageError, match="not an empty folder"):
        create_session(session.root, SessionInfo())


def test_info_comes_back_as_written_with_what_people_added(session: Session) -> None:
    info = SessionInfo(
        place='by the "old" slip, 3°W\\',
        date=datetime.date(2026, 5, 3),
        latitude_deg=54.5,
        height_m=3.0,
        unit="lbf",
        rig="winch and bollard",
        logger="0123",
        calibration="spring",
        notes="windy\nand wet",
        more={"wind_m_per_s": 7.5, "crew": {"winch": "A", "camera": "B"}},
    )

    session.write_info(info)

    assert open_session(session.root).info == info


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("place = ", DataError, "not valid TOML"),
        ("latitude_deg = 91", DataError, "latitude_deg"),
        ("latitude_deg = nan", DataError, "latitude_deg"),
        ('height_m = "3"', DataError, "height_m"),
        ("height_m = true", DataError, "height_m"),
        ('unit = "kg"', UnitError, "kgf"),
        ("unit = 3", DataError, "unit"),
        ('date = "May"', DataError, "date"),
    ],
)
def test_a_broken_session_file_is_told_in_one_line(
    session: Session, text: str, kind: type[BreakyardError], words: str
) -> None:
    session.layout.session_file.write_text(text)

    with pytest.raises(kind) as caught:
        open_session(session.root)

    assert words in str(caught.value)
    assert "session.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_raw_records_are_written_once(session: Session) -> None:
    path = session.add_run("B1", b"\x00records\x00")

    assert session.add_run("B1", b"\x00records\x00") == path
    with pytest.raises(DataError, match="never overwritten"):
        session.add_run("B1", b"\x00other\x00")
    assert session.read_run("B1") == b"\x00records\x00"
    assert [one.name for one in path.parent.iterdir()] == ["B1.run"]


def test_write_once_needs_no_hard_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A memory card with a simple file system keeps the same promise."""

    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)

    assert write_once(tmp_path / "a", b"1") is True
    assert write_once(tmp_path / "a", b"1") is False
    with pytest.raises(DataError, match="never overwritten"):
        write_once(tmp_path / "a", b"2")


def test_an_interrupted_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "notes.toml"
    write_atomically(path, b"old")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(DataError, match="No space left"):
        write_atomically(path, b"new")

    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_an_imported_recording_is_read_again_from_its_original(session: Session) -> None:
    recording = parse_csv(CSV.encode(), name="M1")

    path = session.add_recording("M1", CSV.encode(), recording, original_name="Prüfung 1.csv", specimen="B1")
    again = session.read_recording("M1")

    assert path.read_bytes() == CSV.encode()
    assert again.time_s.tolist() == recording.time_s.tolist()
    assert again.load_n is not None
    assert again.load_n.tolist() == [1000.0, 2000.0, 1500.0]
    imported = session.notes("M1").imported
    assert imported is not None
    assert imported.sha256 == hashlib.sha256(CSV.encode()).hexdigest()
    assert imported.original_name == "Prüfung 1.csv"
    assert [(one.name, one.kind) for one in session.runs()] == [("M1", "csv")]


def test_a_changed_original_is_noticed(session: Session) -> None:
    path = session.add_recording("M1", CSV.encode(), parse_csv(CSV.encode()))
    path.write_bytes(CSV.replace("1,5\n", "9,5\n").encode())

    with pytest.raises(DataError, match="changed since it was imported"):
        session.read_recording("M1")


def test_importing_again_keeps_what_people_added(session: Session) -> None:
    data = b"Zeit [ms];Kraft\n0,5;1\n1,5;2\n"
    first = parse_csv(data, options=CsvOptions(unit="kN"))
    session.add_recording("M1", data, first, specimen="B1", notes="first")
    before = session.notes("M1")
    session.write_notes(
        "M1", RunNotes("B1", "slipped once", ("a.jpg",), before.imported, {"video_offset_s": 2.5})
    )

    other = parse_csv(data, options=CsvOptions(unit="kgf"))
    session.add_recording("M1", data, other)

    notes = session.notes("M1")
    assert (notes.specimen, notes.notes, notes.photos) == ("B1", "slipped once", ("a.jpg",))
    assert notes.more == {"video_offset_s": 2.5}
    assert session.read_recording("M1").layout.load.unit == "kgf"


def test_one_name_is_one_run(session: Session) -> None:
    session.add_run("B1", b"\x00")
    with pytest.raises(DataError, match="taken"):
        session.add_recording("B1", CSV.encode(), parse_csv(CSV.encode()))
    session.layout.original_file("B2").write_text("photo list")

    assert [one.name for one in session.runs()] == ["B1"]


def test_runs_are_listed_as_people_count(session: Session) -> None:
    for name in ("pull 10", "pull 9", "Pull 1", "b"):
        session.add_run(name, name.encode())

    assert [one.name for one in session.runs()] == ["b", "Pull 1", "pull 9", "pull 10"]
    assert session.run("pull 9.run").name == "pull 9"
    with pytest.raises(UsageError, match="pull 10"):
        session.run("pull 11")


def test_calibrations_are_chosen_by_name_or_by_being_alone(session: Session) -> None:
    with pytest.raises(UsageError, match="no calibration"):
        session.calibration_file()
    first = session.add_calibration("april", '{"a": 1}\n')

    assert session.calibration_file() == first

    second = session.add_calibration("may", "{}\n")
    with pytest.raises(UsageError, match="april, may"):
        session.calibration_file()
    assert session.calibration_file("may") == session.calibration_file("may.json") == second
    assert session.write_info(SessionInfo(calibration="april")).calibration_file() == first
    with pytest.raises(UsageError, match="no calibration"):
        session.calibration_file("june")
    with pytest.raises(DataError, match="never overwritten"):
        session.add_calibration("may", '{"b": 2}\n')


def test_results_may_be_replaced(session: Session) -> None:
    session.write_result("summaries.json", "{}")

    assert session.write_result("summaries.json", b"[]").read_bytes() == b"[]"


HOSTILE = [
    "../a",
    "/etc/passwd",
    "..",
    ".",
    "",
    "a/b",
    "a\\b",
    "C:a",
    "a\0b",
    "a\nb",
    ".hidden",
    "con",
    "NUL.txt",
]


@pytest.mark.parametrize("name", [*HOSTILE, "lpt1", "a" * 101, "a.", "a ", " a", "-a", "a\u202eb", "~", "a*"])
def test_hostile_names_are_refused(session: Session, name: str) -> None:
    for use in (
        lambda: session.add_run(name, b"1"),
        lambda: session.read_run(name),
        lambda: session.notes(name),
        lambda: session.add_calibration(name, "{}"),
        lambda: session.write_result(name, "{}"),
    ):
        with pytest.raises(UsageError) as caught:
            use()
        assert "\n" not in str(caught.value)


@given(st.text(max_size=150))
@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_text_makes_a_safe_name(tmp_path: Path, text: str) -> None:
    """Free text becomes a name that is allowed, stays in the folder, and can be written."""
    name = name_from(text)

    assert safe_name(name) == name
    path = Layout(tmp_path).run_file(name)
    assert path.resolve().parent == (tmp_path / "runs").resolve()
    assert name_from(name) == name


@given(st.text(alphabet=st.characters(codec="utf-8"), max_size=80))
@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_an_allowed_name_stays_in_the_folder(tmp_path: Path, text: str) -> None:
    layout = Layout(tmp_path)
    try:
        path = layout.run_file(text)
    except UsageError:
        return

    assert path.resolve().parent == layout.runs.resolve()


@given(
    st.text(alphabet=st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=60),
    st.lists(st.text(alphabet=st.characters(codec="utf-8"), max_size=10), max_size=3),
)
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_notes_come_back_as_written(tmp_path: Path, text: str, photos: list[str]) -> None:
    """Any text that people write survives; line ends become those of the file."""
    path = tmp_path / "a.toml"
    notes = RunNotes(specimen=text, notes=text, photos=tuple(photos), more={"own": {"key": text}})

    write_notes(path, notes)

    assert read_notes(path) == notes


@pytest.mark.parametrize(
    "text",
    ["photos = [1]", "specimen = 3", "import = 1", "[import]\n", '[import]\nsha256 = "a"\ncolour = "x"'],
)
def test_broken_notes_are_told_in_one_line(tmp_path: Path, text: str) -> None:
    path = tmp_path / "a.toml"
    path.write_text(text)

    with pytest.raises(DataError, match=r"a\.toml"):
        read_notes(path)


def test_comments_and_order_of_a_persons_file_survive_a_rewrite(session: Session) -> None:
    """What changed is changed, what is new is added, and every other byte stays as it was written."""
    notes = session.layout.notes_file("B1")
    notes.parent.mkdir(exist_ok=True)
    notes.write_text(
        "# glued on a wet day\n"
        'notes = "slipped a little"   # heard it\n'
        'crew = ["A", "B"]\n'
        "\n"
        "[weather]\n"
        "wind_m_per_s = 7.5  # gusts\n",
        encoding="utf-8",
    )
    session.layout.session_file.write_text(
        '# the old slip\nunit = "kgf" # what we think in\n', encoding="utf-8"
    )

    before = session.notes("B1")
    session.write_notes("B1", RunNotes("B1", "slipped\ntwice", more=before.more))
    open_session(session.root).write_info(SessionInfo(unit="kN", place="slipway"))

    text = notes.read_text(encoding="utf-8")
    info = session.layout.session_file.read_text(encoding="utf-8")
    assert "# glued on a wet day" in text
    assert "# gusts" in text
    assert text.index("crew") < text.index("[weather]")
    assert session.notes("B1") == RunNotes("B1", "slipped\ntwice", more=before.more)
    assert "# the old slip" in info
    assert "# what we think in" in info
    assert (open_session(session.root).info.unit, open_session(session.root).info.place) == ("kN", "slipway")


def test_a_version_is_said_once() -> None:
    """The package and its packaging agree."""
    import tomllib

    import breakyard

    project = tomllib.loads((Path(__file__).parents[3] / "pyproject.toml").read_text("utf-8"))["project"]

    assert breakyard.__version__ == project["version"]


def test_two_that_change_the_specimens_lose_neither_change(tmp_path: Path) -> None:
    """Each reads the table as the other left it; one that reads first and writes last would undo the other."""
    session = create_session(tmp_path / "s", SessionInfo(), [Specimen("A1")])

    def added(name: str) -> None:
        session.change_specimens(lambda known: [*known, Specimen(name)])

    threads = [threading.Thread(target=added, args=(f"B{n}",)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(one.id for one in session.specimens()) == ["A1", *(f"B{n}" for n in range(8))]
