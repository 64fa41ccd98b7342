"""Which pull a clip is of, and what is kept of it in the notes."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import breakyard as by
from breakyard.curve import LoadCurve
from breakyard.errors import DataError, UsageError
from breakyard.session.files.info import SessionInfo
from breakyard.session.filming import another_pull, keep_clip, kept_clips, kept_of, known_of, which_pull
from breakyard.session.pulls import Pull
from breakyard.session.reading import PullResult
from breakyard.session.session import Session, create_session
from breakyard.video.alignment import Alignment, Clue, TimeTerm
from breakyard.video.clip import Clip

NOON_S = 1_777_000_000.0
"""Some moment in UTC; the pulls are ten minutes apart."""


def clip(created_s: float | None, seconds: float = 40.0, path: str = "IMG_1.mp4") -> Clip:
    return Clip(
        path=Path(path), codec="h264", width=64, height=48, turned_deg=0, times_s=np.arange(0.0, seconds, 1 / 30),
        first_s=0.0, bits=8, transfer="sdr", matrix="bt709", full_range=False, sound="aac", created_utc_s=created_s,
    )  # fmt: skip


@pytest.fixture(scope="module")
def summary() -> by.Summary:
    time = np.arange(0.0, 20.0, 0.0125)
    load = np.interp(time, [0, 2, 15, 15.01, 20], [0, 0, 4000, 0, 0])
    return by.summarize(
        LoadCurve.from_columns(time, load + 0.3 * np.random.default_rng(1).standard_normal(len(time)))
    )


@pytest.fixture
def pulls(summary: by.Summary) -> tuple[PullResult, ...]:
    """Three pulls that break 15 s after 12:00, 12:10 and 12:20."""
    found = []
    for at, name in enumerate(("A1", "A2", "B1")):
        run = replace(summary.run, name=name, start_utc_s=NOON_S + 600.0 * at, start_utc_uncertainty_s=0.5)
        pull = Pull(name, Path(f"{name}.run"), None, specimen=name)
        found.append(PullResult(pull, replace(summary, run=run)))
    return tuple(found)


@pytest.mark.parametrize(
    ("created_s", "which"),
    [
        (NOON_S + 0.0, "A1"),  # begun 15 s before it broke
        (NOON_S + 600.0 + 30.0, "A2"),  # the phone wrote when it ended
        (NOON_S + 1200.0 - 20.0, "B1"),
    ],
)
def test_a_clip_belongs_to_the_pull_that_broke_while_it_was_filmed(
    pulls: tuple[PullResult, ...], created_s: float, which: str
) -> None:
    """Phones write when a clip began or when it ended: either will do."""
    found, guess = which_pull(clip(created_s), pulls)

    assert found.pull.name == which
    assert guess == ""


def test_a_clock_off_by_whole_hours_is_guessed_and_said(pulls: tuple[PullResult, ...]) -> None:
    """A camera that writes local time: two hours late, and one in Nepal, 5 h 45 min."""
    found, guess = which_pull(clip(NOON_S + 600.0 + 2 * 3600.0), pulls)
    other, _ = which_pull(clip(NOON_S + 5.75 * 3600.0), pulls)

    assert (found.pull.name, other.pull.name) == ("A2", "A1")
    assert "+2 h off" in guess


@pytest.mark.parametrize(
    ("created_s", "seconds", "said"),
    [
        (None, 40.0, "does not say when it was filmed"),
        (NOON_S + 300.0, 40.0, "no pull was made while it was filmed; the nearest, A"),
        (NOON_S, 700.0, "2 pulls were made while it was filmed"),
    ],
)
def test_where_it_cannot_be_told_the_way_out_is(
    pulls: tuple[PullResult, ...], created_s: float | None, seconds: float, said: str
) -> None:
    """Name the run; with what there is."""
    with pytest.raises(UsageError, match=said) as told:
        which_pull(clip(created_s, seconds), pulls)

    assert "there is A1, A2, B1" in str(told.value)


def test_a_clip_of_another_pull_is_warned_of(pulls: tuple[PullResult, ...]) -> None:
    """By its time it is of B1; nothing is said where the time fits, or tells nothing."""
    late = clip(NOON_S + 1200.0)

    assert "the clip is of B1, not of A1" in another_pull(late, pulls[0], pulls)
    assert another_pull(late, pulls[2], pulls) == ""
    assert another_pull(clip(None), pulls[0], pulls) == ""


@pytest.fixture
def yard(tmp_path: Path) -> Session:
    session = create_session(tmp_path / "yard", SessionInfo())
    time = np.arange(0.0, 20.0, 0.0125)
    load = np.interp(time, [0, 2, 15, 15.01, 20], [0, 0, 4000, 0, 0])
    rows = "\n".join(f"{t:.4f},{f:.3f}" for t, f in zip(time, load, strict=True))
    from breakyard.formats.read_csv import read_csv

    (tmp_path / "B1.csv").write_text(f"Time [s],Load [N]\n{rows}\n")
    recording = read_csv(tmp_path / "B1.csv")
    session.add_recording("B1", (tmp_path / "B1.csv").read_bytes(), recording, specimen="B1")
    return session


FOUND = Alignment(12.3456, 31.2, 0.011, 1.0, (Clue("picture", 12.3456, (TimeTerm("frame", 0.011),)),), ())


def test_what_was_found_is_kept_beside_the_run_and_read_back(yard: Session, tmp_path: Path) -> None:
    """The path is written from the notes' folder, so that the folder may be moved; the same clip is kept once; whatever
    a person wrote in the notes stays."""
    notes = yard.layout.notes_file("B1")
    notes.write_text(notes.read_text() + '\n# a remark\noutcome = "bent first"\n' if "[" not in notes.read_text()
                     else '# a remark\noutcome = "bent first"\n' + notes.read_text())  # fmt: skip
    film = tmp_path / "films" / "IMG 1.mp4"
    film.parent.mkdir()
    film.write_bytes(b"")
    (pull,) = yard.pulls
    keep_clip(pull, film, FOUND)
    keep_clip(pull, film, replace(FOUND, clip_s=12.5))
    (kept,) = kept_clips(pull)

    assert kept.file == "../../films/IMG 1.mp4"
    assert (kept.clip_s, kept.run_s, kept.standard_s, kept.by) == (12.5, 31.2, 0.011, "picture")
    assert kept_of(pull, film) == kept
    assert kept_of(pull, tmp_path / "films" / "IMG 2.mp4") is None
    assert kept.alignment().run_time(13.5) == pytest.approx(32.2)
    assert 'outcome = "bent first"' in notes.read_text()
    assert "# a remark" in notes.read_text()


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ('clips = "B1.mp4"', "must be a list of tables"),
        ('[[clips]]\nfile = "B1.mp4"', 'needs "clip_s" as a number'),
        ("[[clips]]\nfile = 3\nclip_s = 1.0\nrun_s = 2.0", 'needs "file" as a text'),
        ('[[clips]]\nfile = "a.mp4"\nclip_s = 1.0\nrun_s = 2.0\nstretch = 0', "must be above 0"),
    ],
)
def test_clips_that_a_person_wrote_wrongly_are_named(yard: Session, rows: str, said: str) -> None:
    """Which file, which key, what it should be."""
    notes = yard.layout.notes_file("B1")
    text = notes.read_text()
    notes.write_text(f"{rows}\n{text}" if rows.startswith("clips") else f"{text}\n{rows}\n")
    (pull,) = yard.pulls

    with pytest.raises(DataError, match=said) as told:
        kept_clips(pull)
    assert "B1.toml" in str(told.value)


def test_what_the_run_knows(yard: Session) -> None:
    """Break and onset with how well the samples tell them; no lamp in another instrument's recording."""
    (pull,) = yard.pulls
    curve = pull.curve()
    known = known_of(pull, curve, by.summarize(curve))

    assert known.broke
    assert known.over.time_s == pytest.approx(15.005, abs=0.01)
    assert 0.003 < known.over.standard_s < 0.01
    assert known.onset_s == pytest.approx(2.0, abs=0.2)
    assert known.lamp_s is None


def test_the_lamp_of_a_run_is_where_its_mark_says(
    yard: Session, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The logger marks when it lit the lamp, in its own time, 0.12 s after a run began; other marks are no lamp."""
    from types import SimpleNamespace

    from breakyard.session import recordings
    from breakyard.wire.layout import MarkCode
    from breakyard.wire.records import Mark

    (pull,) = yard.pulls
    curve = pull.curve()
    begin = SimpleNamespace(first_s=102, first_us=950_000)
    marks = (
        Mark(run=1, index=3, mark_s=103, mark_us=0, code=MarkCode.USER, text=""),
        Mark(run=1, index=4, mark_s=103, mark_us=72_000, code=MarkCode.VIDEO, text="flash"),
    )
    monkeypatch.setattr(recordings, "load_run", lambda path: SimpleNamespace(begin=begin, marks=marks))
    known = known_of(replace(pull, path=tmp_path / "B1.run"), curve, by.summarize(curve))

    assert known.lamp_s == pytest.approx(0.122)
