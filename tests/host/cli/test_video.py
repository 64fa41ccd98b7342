"""breakyard video as a user meets it: one command from a session and a clip to a film; and whatever goes wrong."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from clip_maker import Coding, Scene, make_clip

from .conftest import Said

pytest.importorskip("av", reason="no PyAV: pip install 'breakyard[video]'")

Breakyard = Callable[..., Said]

BREAK_S, PEAK_N = 8.0, 4000.0
BROKE_S = 1.9
YARD = Scene(break_s=BROKE_S, length_s=2.6, width=320, height=180, shake_px=0, bang_late_s=0.02)


def recording(path: Path, breaks: bool = True, peak_n: float = PEAK_N) -> Path:
    """A ramp from 2 s to 8 s, with its break, or let out within 4 s; 100 samples a second."""
    moments = np.arange(0.0, 14.0, 0.01)
    load = np.interp(moments, [2, 8, 8.001 if breaks else 12, 14], [0, peak_n, 0, 0])
    load += 0.4 * np.random.default_rng(2).standard_normal(len(moments))
    rows = [f"{t:.3f},{f:.3f}" for t, f in zip(moments, load, strict=True)]
    path.write_text("\n".join(["Time [s],Load [N]", *rows]) + "\n")
    return path


@pytest.fixture(scope="session")
def clip_of_a_break(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The film of the pull."""
    path = tmp_path_factory.mktemp("films") / "B1.mp4"
    make_clip(path, YARD)
    return path


@pytest.fixture
def yard(breakyard: Breakyard, tmp_path: Path) -> Path:
    """A session with one pull, B1."""
    assert breakyard("import", recording(tmp_path / "B1.csv"), "--session", "yard").status == 0
    return tmp_path / "yard"


def test_one_command_makes_the_film(breakyard: Breakyard, yard: Path, clip_of_a_break: Path) -> None:
    """The break is found, the film written, the alignment kept and used the next time."""
    first = breakyard("video", yard, clip_of_a_break, "-o", "B1.mp4", "--json").document
    notes = (yard / "runs" / "B1.toml").read_text()
    again = breakyard("video", yard, clip_of_a_break, "-o", "B1.vtt")
    said = breakyard("video", yard, clip_of_a_break, "-o", "B1.vtt", "--json").document

    assert first["schema"] == "breakyard.video/1"
    assert Path("B1.mp4").stat().st_size > 10_000
    assert abs(first["break_in_clip_s"] - BROKE_S) <= first["half_width_s"] < 0.04
    assert first["break_in_run_s"] == pytest.approx(BREAK_S, abs=0.01)
    assert {clue["source"] for clue in first["clues"] if clue["taken"]} == {"picture", "sound"}
    assert first["load_doubt_n"] == pytest.approx(first["half_width_s"] * PEAK_N / 6.0, rel=0.1)
    assert (yard / "results" / "B1.moments.png").read_bytes().startswith(b"\x89PNG")
    assert "[[clips]]" in notes
    assert 'by = "picture, sound"' in notes
    assert again.status == 0
    assert "by the notes" in again.out
    assert said["kept"]
    assert Path("B1.vtt").read_text().startswith("WEBVTT\n")


def test_subtitles_tell_the_load_of_each_tenth(
    breakyard: Breakyard, yard: Path, clip_of_a_break: Path
) -> None:
    """As SRT: the load at the middle of each tenth of a second; after the break the peak with its interval. In an MP4:
    the pictures' packets unchanged, and a track that says the same."""
    import av

    breakyard("video", yard, clip_of_a_break, "-o", "B1.srt")
    breakyard("video", yard, clip_of_a_break, "-o", "soft.mp4", "--subtitles")
    cues = Path("B1.srt").read_text().split("\n\n")
    start, words = cues[5].splitlines()[1].split(" --> ")[0], cues[5].splitlines()[2]
    wanted = PEAK_N * (BREAK_S + 0.55 - BROKE_S - 2.0) / 6.0
    with av.open("soft.mp4") as soft:
        track = [bytes(part) for one in soft.decode(subtitles=0) for part in [one.dialogue]]
        assert soft.streams.subtitles[0].codec_context.name == "mov_text"
    pictures = [
        [bytes(packet) for packet in av.open(str(path)).demux(video=0) if packet.size]
        for path in ("soft.mp4", clip_of_a_break)
    ]

    assert start == "00:00:00,500"
    assert float(words.split(":")[1].split()[0]) == pytest.approx(wanted, abs=25)
    assert "peak" in cues[-2]
    assert "measured, not a rating" in cues[-2]
    assert len(track) >= 15
    assert pictures[0] == pictures[1]


def test_where_it_is_not_sure_a_person_is_asked(breakyard: Breakyard, yard: Path, tmp_path: Path) -> None:
    """Two bangs alike and nothing to be seen: status 1, a sheet, no film; with --break-at it goes on, and says that the
    sound disagrees."""
    scene = Scene(
        break_s=0.8, length_s=2.6, width=64, height=36, shake_px=0, noise=0, walker=False, creep=0.0,
        other_bangs=((1.9, 1.0),),
    )  # fmt: skip
    make_clip(tmp_path / "two.mp4", scene, Coding(gop=600))
    blank = _without_picture(tmp_path / "two.mp4", tmp_path / "blank.mp4")
    unsure = breakyard("video", yard, blank, "-o", "film.mp4")
    told = breakyard("video", yard, blank, "-o", "film.mp4", "--break-at", "1.9", "--distance", "3")

    assert unsure.status == 1
    assert "say --break-at SECONDS" in unsure.out
    assert (yard / "results" / "B1.moments.png").exists()
    assert told.status == 0
    assert Path("film.mp4").exists()


def _without_picture(source: Path, target: Path) -> Path:
    """The same sound under a picture in which nothing happens."""
    import av

    with av.open(str(source)) as clip, av.open(str(target), "w") as grey:
        stream = grey.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 36, "yuv420p"
        sound = grey.add_stream_from_template(clip.streams.audio[0])
        for number in range(78):
            frame = av.VideoFrame.from_ndarray(np.full((36, 64, 3), 120, np.uint8), format="rgb24")
            frame.pts = number
            for packet in stream.encode(frame):
                grey.mux(packet)
        for packet in stream.encode():
            grey.mux(packet)
        for packet in clip.demux(audio=0):
            if packet.dts is not None:
                packet.stream = sound
                grey.mux(packet)
    return target


def test_without_pyav_one_line_says_what_to_install(
    breakyard: Breakyard, yard: Path, clip_of_a_break: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Status 2; and every other command works without it: the command line never imports it elsewhere."""
    monkeypatch.setitem(sys.modules, "av", None)
    said = breakyard("video", yard, clip_of_a_break)
    report = breakyard("report", yard)

    assert said.status == 2
    assert "pip install 'breakyard[video]'" in said.complaint
    assert report.status == 0


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["nothing.mp4"], "nothing.mp4: there is no such clip"),
        (["B1.csv"], "B1.csv: cannot be read as a clip"),
        (["CLIP", "-o", "film.avi"], "film.avi: a film's name ends in .mp4"),
        (["CLIP", "--break-at", "9"], "--break-at 9: the clip is 2.60 s long"),
        (["CLIP", "--leave-out", "peak"], 'specimen, load, unit, peak and "measured, not a rating" stay'),
        (["CLIP", "--from", "2", "--to", "-1"], "the end must come after the beginning"),
        (["CLIP", "--from", "100"], "around the break it shows -1.9 to 0.7 s"),
        (["CLIP", "--from", "nan"], "--from nan: give a number"),
        (["CLIP", "CLIP"], "2 clips were given"),
        ([], "0 clips were given"),
        (["CLIP", "--no-clip"], "leave one of the two out"),
        (["CLIP", "--side-by-side"], "--side-by-side shows two to 4 clips; 1 were given"),
        (["CLIP", "--unit", "kg"], "kgf"),
        (["CLIP", "--pull", "3"], "--pull 3, but there are 1 pull(s) in it"),
        (["CLIP", "-o", "CLIP"], "this is the clip itself"),
    ],
)
def test_wrong_words_get_one_line(
    breakyard: Breakyard, yard: Path, clip_of_a_break: Path, words: list[str], complaint: str
) -> None:
    """Status 2, what is wrong and what to do; nothing written."""
    given = [str(clip_of_a_break) if word == "CLIP" else word for word in words]
    before = clip_of_a_break.read_bytes()
    said = breakyard("video", yard, *given)

    assert said.status == 2, said.out
    assert complaint in said.complaint
    assert clip_of_a_break.read_bytes() == before
    assert not list(yard.glob("results/*.mp4"))


def test_a_pull_that_did_not_break_needs_a_moment(
    breakyard: Breakyard, tmp_path: Path, clip_of_a_break: Path
) -> None:
    """Nothing to be heard; --break-at then means when it was let go."""
    breakyard("import", recording(tmp_path / "S3.csv", breaks=False), "--session", "yard")
    said = breakyard("video", "yard", clip_of_a_break)
    told = breakyard("video", "yard", clip_of_a_break, "--break-at", "1.5", "-o", "S3.srt")

    assert said.status == 2
    assert "did not break: say --break-at SECONDS (when it was let go)" in said.complaint
    assert told.status == 0
    assert "did not break" not in told.err


def test_a_curve_alone(breakyard: Breakyard, yard: Path) -> None:
    """As a film in real time and 20 times slower at the break, and as a GIF."""
    from PIL import Image

    film = breakyard(
        "video",
        yard,
        "--no-clip",
        "--from",
        "-0.3",
        "--to",
        "0.4",
        "--slow",
        "20",
        "--crop",
        "square",
        "-o",
        "c.mp4",
        "--json",
    ).document
    gif = breakyard(
        "video", yard, "--no-clip", "--from", "-0.3", "--to", "0.4", "-o", "c.gif", "--json"
    ).document

    # 0.28 s and 0.25 s at the usual pace, 0.17 s in between slowed 20 times
    assert film["film"]["frames"] == pytest.approx((0.28 + 0.17 * 20 + 0.25) * 30, abs=2)
    with Image.open("c.gif") as picture:
        assert picture.is_animated
        assert picture.n_frames <= gif["film"]["frames"]
        assert picture.info["duration"] % 10 == 0
    assert Path("c.gif").stat().st_size < 400_000


def test_clips_side_by_side(breakyard: Breakyard, yard: Path, clip_of_a_break: Path, tmp_path: Path) -> None:
    """Two pulls, each with its kept clip, called by their specimens; together at the break."""
    breakyard("import", recording(tmp_path / "R1.csv", peak_n=3000.0), "--session", "yard")
    breakyard("video", yard / "runs" / "B1.csv", clip_of_a_break, "-o", "a.srt")
    breakyard("video", yard / "runs" / "R1.csv", clip_of_a_break, "-o", "b.srt", "--break-at", "1.9")
    said = breakyard(
        *(
            "video",
            yard,
            "B1",
            "R1",
            "--side-by-side",
            "--from",
            "-0.2",
            "--to",
            "0.1",
            "-o",
            "two.mp4",
            "--json",
        )
    )

    assert said.status == 0
    assert said.document["film"] == {"width": 1920, "height": 1080, "rate": 30.0, "frames": 9}
    assert [pull["pull"]["name"] for pull in said.document["pulls"]] == ["B1", "R1"]
    unknown = breakyard("video", yard, "B1", "X9", "--side-by-side")
    assert unknown.status == 2
    assert "X9" in unknown.complaint


def test_the_report_shows_the_moment_of_the_break(
    breakyard: Breakyard, yard: Path, clip_of_a_break: Path
) -> None:
    """A still with the load burnt in, once the clip is kept; made once, and again when the clip has gone said so."""
    breakyard("video", yard, clip_of_a_break, "-o", "a.srt")
    breakyard("report", yard)
    page = (yard / "results" / "report.html").read_text()
    (still,) = (yard / "results").glob("*.still.jpg")
    made = still.stat().st_mtime_ns
    breakyard("report", yard)

    assert "data:image/jpeg;base64," in page
    assert "B1 at its break" in page
    assert still.stat().st_mtime_ns == made
    notes = yard / "runs" / "B1.toml"
    notes.write_text(notes.read_text().replace("B1.mp4", "moved.mp4"))
    breakyard("report", yard)
    assert "moved.mp4 is not where the notes say" in (yard / "results" / "report.html").read_text()


@pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")
def test_ctrl_c_leaves_nothing_half_written(yard: Path, tmp_path: Path) -> None:
    """Stopped while frames are coded: no film, no draft, and an older film unchanged."""
    scene = Scene(break_s=1.9, length_s=2.6, width=640, height=360, noise=0.0, shake_px=0)
    make_clip(tmp_path / "long.mp4", scene)
    (tmp_path / "film.mp4").write_bytes(b"an older one")
    words = ("video", str(yard), "long.mp4", "--break-at", "1.9", "--slow", "1500", "--slower", "100")
    process = subprocess.Popen(
        [sys.executable, "-m", "breakyard", *words, "-o", "film.mp4"],
        cwd=tmp_path, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    while not list(tmp_path.glob(".writing-*.mp4")) and process.poll() is None:
        time.sleep(0.05)  # until it has begun
    process.send_signal(signal.SIGINT)
    process.communicate()

    assert process.returncode == 130
    assert not list(tmp_path.glob(".writing-*"))
    assert (tmp_path / "film.mp4").read_bytes() == b"an older one"
