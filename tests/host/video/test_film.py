"""The film: its numbers read back from decoded pictures, its form, its sound, and clips of every kind."""

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from clip_maker import Coding, Scene, painter
from figures_read import read_figures
from numpy.typing import NDArray

from breakyard.video.burn import Style, burn, pace_for, panel_for
from breakyard.video.clip import Clip, frames, read_clip
from breakyard.video.film import rate_for
from breakyard.video.layout import CORNERS, PARTS, SMALLEST_FIGURE, place_on
from breakyard.video.panel import Panel, number_width
from breakyard.video.planes import planes_of
from breakyard.video.readout import ReadOut
from breakyard.video.upright import Shape, shape_for

from .conftest import BREAK_S, PEAK_N, aligned, true_load_n

Films = Callable[..., Clip]

YARD = Scene(break_s=0.8, length_s=1.2, width=480, height=270)
TALL = Scene(break_s=0.8, length_s=1.2, width=270, height=480)
WITH_B_FRAMES = {"preset": "veryfast", "crf": "22"}
"""As phones code: the file needs an edit list to begin at 0."""
BROKE_S = 0.8
ROUNDED = 6.6
"""The figures are rounded to tens of newtons; noise, and the error with which the break was read, come to 1.6."""


def luma(frame: Any) -> NDArray[np.uint8]:
    """The brightness of a decoded frame (h, w)."""
    grey: NDArray[np.uint8] = frame.reformat(format="gray").to_ndarray()
    return grey


def shown(film: Path, panel: Panel, every: int = 1) -> list[tuple[float, str]]:
    """Times of the film's frames and the numbers that stand on them."""
    clip = read_clip(film)
    right, foot, height = panel.figures_place()
    return [
        (time, read_figures(luma(frame), panel.place.number.x, right, foot, height))
        for number, (time, frame) in enumerate(frames(clip))
        if number % every == 0
    ]


def made(path: Path, clip: Clip, readout: ReadOut, style: Style, broke_s: float = BROKE_S) -> Panel:
    """Burn a film; the panel that was drawn."""
    alignment = aligned(broke_s, stretch=clip.stretch)
    burn(clip, readout, alignment, style, path)
    return panel_for(readout, shape_for(clip, style.crop), style, alignment)


def test_the_number_on_each_frame_is_the_load_at_its_time(
    films: Films, readout: ReadOut, tmp_path: Path
) -> None:
    """Read from every decoded frame: what the specimen was made to bear at the frame's own time, within half a unit of
    rounding and the recording's noise; the frame nearest to the break may show either side of it."""
    panel = made(tmp_path / "film.mp4", films(YARD), readout, Style())
    numbers = shown(tmp_path / "film.mp4", panel)

    assert len(numbers) == 36
    for time, text in numbers:
        run_s = BREAK_S + time - BROKE_S
        if abs(run_s - BREAK_S) > 0.006:
            assert float(text) == pytest.approx(true_load_n(run_s), abs=ROUNDED), f"{time}: {text}"


def test_frames_of_a_varying_rate_carry_their_own_numbers(
    films: Films, readout: ReadOut, tmp_path: Path
) -> None:
    """The film's rate is constant; a picture shown a little early or late keeps the number of when it was taken."""
    clip = films(Scene(break_s=0.8, length_s=1.2, width=480, height=270, jitter=0.2, seed=5))
    panel = made(tmp_path / "film.mp4", clip, readout, Style())
    taken = [true_load_n(BREAK_S + time - BROKE_S) for time in clip.times_s.tolist()]

    for time, text in shown(tmp_path / "film.mp4", panel):
        if abs(time - BROKE_S) < 0.07:
            continue
        # One of the clip's own pictures, at most a frame away.
        near = [
            load for load, own in zip(taken, clip.times_s.tolist(), strict=True) if abs(own - time) < 0.06
        ]
        assert min(abs(float(text) - load) for load in near) <= ROUNDED, f"{time}: {text}"
    steps = np.diff(read_clip(tmp_path / "film.mp4").times_s)
    assert steps == pytest.approx(np.full(len(steps), 1 / 30), abs=1e-4)


def boxes(path: Path) -> list[str]:
    """Names of the file's outer boxes, in order (ISO/IEC 14496-12, 4.2)."""
    data, at, found = path.read_bytes(), 0, []
    while at < len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        found.append(data[at + 4 : at + 8].decode("ascii"))
        at += size
    return found


def test_the_form_that_plays_everywhere(films: Films, readout: ReadOut, tmp_path: Path) -> None:
    """H.264 High, yuv420p, BT.709 in limited range, a constant rate, the index first; no place, no phone."""
    import av

    tags = {
        "location": "+54.1234+010.5678/",
        "com.apple.quicktime.model": "phone",
        "creation_time": "2026-05-03T10:11:12Z",
    }
    clip = films(YARD, Coding(metadata=tags))
    made(tmp_path / "film.mp4", clip, readout, Style())
    order = boxes(tmp_path / "film.mp4")

    with av.open(str(tmp_path / "film.mp4")) as container:
        stream = container.streams.video[0]
        frame = next(container.decode(stream))
        assert (stream.codec_context.name, stream.codec_context.profile) == ("h264", "High")
        assert frame.format.name == "yuv420p"
        assert (frame.colorspace, frame.color_trc, frame.color_primaries, frame.color_range) == (1, 1, 1, 1)
        assert (stream.average_rate, stream.frames) == (30, 36)
        told = {*container.metadata, *stream.metadata}
    assert order.index("moov") < order.index("mdat")
    assert not told & {"location", "creation_time", "com.apple.quicktime.model", "com.android.version"}
    assert b"+54.1234" not in (tmp_path / "film.mp4").read_bytes()


def test_sound_is_copied_packet_for_packet(films: Films, readout: ReadOut, tmp_path: Path) -> None:
    """The same bytes at the same times; with a part of the clip the packets of that part."""
    clip = films(YARD)
    made(tmp_path / "whole.mp4", clip, readout, Style())
    made(tmp_path / "part.mp4", clip, readout, Style(from_s=-0.3, to_s=0.3))
    original, whole, part = (
        sound(path) for path in (clip.path, tmp_path / "whole.mp4", tmp_path / "part.mp4")
    )

    assert [data for _, data in whole] == [data for _, data in original][: len(whole)]
    assert len(whole) >= len(original) - 2
    assert {data for _, data in part} <= {data for _, data in original}
    first = next(time for time, data in original if data == part[0][1])
    assert first - part[0][0] == pytest.approx(0.5, abs=0.005)
    assert len(read_clip(tmp_path / "part.mp4").times_s) == 18


def sound(path: Path) -> list[tuple[float, bytes]]:
    import av

    with av.open(str(path)) as container:
        packets = container.demux(container.streams.audio[0])
        return [(float(one.pts * one.time_base), bytes(one)) for one in packets if one.pts is not None]


def test_slow_motion_before_the_break_slows_number_and_sound(
    films: Films, readout: ReadOut, tmp_path: Path
) -> None:
    """400 ms four times slower: the film is longer by (0.4 + 0.1) x 3 s, each number that of its picture, and a bang
    after the slow part is where its picture is."""
    from breakyard.video.clip import sound_blocks
    from breakyard.video.heard import noises

    clip = films(Scene(break_s=1.2, length_s=2.0, width=480, height=270, other_bangs=((1.6, 0.9),)))
    style = Style(slow_s=0.4, slower=4.0)
    panel = made(tmp_path / "film.mp4", clip, readout, style, 1.2)
    pace = pace_for(clip, aligned(1.2), readout, style)
    film = read_clip(tmp_path / "film.mp4")

    assert film.duration_s == pytest.approx(3.5, abs=0.04)
    assert pace.film_time(1.0) == pytest.approx(0.8 + 0.2 * 4, abs=0.01)
    for time, text in shown(tmp_path / "film.mp4", panel, 4):
        true = true_load_n(BREAK_S + pace.shown_at(time) - 1.2)
        if abs(pace.shown_at(time) - 1.2) > 0.04:
            assert float(text) == pytest.approx(true, abs=ROUNDED + 10.0), f"{time}: {text}"
    assert noises(sound_blocks(film))[0].time_s == pytest.approx(pace.film_time(1.6), abs=0.01)


@pytest.mark.parametrize(
    ("name", "scene", "coding"),
    [
        ("a phone held upright", YARD, Coding(turned_deg=-90)),
        ("HEVC of 10 bits", YARD, Coding("libx265", "yuv420p10le")),
        ("HLG", YARD, Coding("libx265", "yuv420p10le", None, colours=(9, 18, 9))),
        ("full range, without sound", YARD, Coding(sound=None, full_range=True, pixels="yuvj420p")),
        ("upside down", YARD, Coding(turned_deg=180, sound=None)),
        ("HEVC of 8 bits, taller than wide", TALL, Coding("libx265")),
        ("counted in microseconds", YARD, Coding(sound=None, ticks=1_000_000)),
        ("its beginning cut off by the phone", YARD, Coding(cut_s=0.3, options=WITH_B_FRAMES)),
    ],
)  # fmt: skip
def test_clips_of_every_kind(
    films: Films, readout: ReadOut, tmp_path: Path, name: str, scene: Scene, coding: Coding
) -> None:
    """The film is upright, of 8 bits, and its numbers are right."""
    clip = films(scene, coding)
    broke_s = BROKE_S - coding.cut_s
    panel = made(tmp_path / "film.mp4", clip, readout, Style(), broke_s)
    film = read_clip(tmp_path / "film.mp4")

    assert clip.duration_s == pytest.approx(scene.length_s - coding.cut_s, abs=0.05)
    assert film.seen_size == clip.seen_size == (film.width, film.height)
    assert (film.bits, film.transfer, film.turned_deg) == (8, "sdr", 0)
    assert bool(film.sound) == bool(coding.sound)
    for time, text in shown(tmp_path / "film.mp4", panel, 7):
        assert float(text) == pytest.approx(true_load_n(BREAK_S + time - broke_s), abs=ROUNDED), (
            f"{time}: {text}"
        )


def test_the_picture_is_turned_the_right_way(films: Films, readout: ReadOut, tmp_path: Path) -> None:
    """What pulls stands on the right of the stored picture; turned clockwise (-90) it is below, turned the other way
    above: as FFmpeg's own player and phones show it (ISO/IEC 14496-12, 8.3.2)."""
    for turned, half in ((-90, "lower"), (90, "upper")):
        clip = films(YARD, Coding(turned_deg=turned, sound=None))
        made(tmp_path / "film.mp4", clip, readout, Style())
        _, frame = next(frames(read_clip(tmp_path / "film.mp4")))
        red = frame.reformat(format="rgb24").to_ndarray()[..., 0].astype(int)
        green = frame.reformat(format="rgb24").to_ndarray()[..., 1].astype(int)
        rows = np.flatnonzero((red > green + 60).sum(axis=1) > 10)

        assert (np.median(rows) > frame.height / 2) == (half == "lower")


def test_a_stretched_clip_is_read_at_its_stretch(films: Films, readout: ReadOut, tmp_path: Path) -> None:
    """Filmed at 120, played at 30: the number rises four times slower."""
    scene = Scene(break_s=0.4, length_s=0.6, width=480, height=270, rate=120.0)
    tag = {"com.android.capture.fps": "120"}
    clip = films(scene, Coding(sound=None, stretch=4, metadata=tag))
    panel = made(tmp_path / "film.mp4", clip, readout, Style(), 1.6)

    assert clip.stretch == 4.0
    for time, text in shown(tmp_path / "film.mp4", panel, 6):
        if abs(time - 1.6) > 0.03:
            assert float(text) == pytest.approx(true_load_n(BREAK_S + (time - 1.6) / 4), abs=ROUNDED)


@pytest.mark.parametrize("corner", CORNERS)
@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1920), (1080, 1080), (3840, 2160), (640, 360)])
def test_layouts_keep_the_free_areas_and_are_large_enough(
    readout: ReadOut, size: tuple[int, int], corner: Any
) -> None:
    """The live figure is at least 1/18 of the picture's height; nothing lies in the top 15 % and the bottom 25 % of an
    upright picture, nor nearer than 4 % to any edge."""
    width, height = size
    place = place_on(width, height, corner, number_width(readout), curve=True)
    plate = place.plate
    free = (0.15, 0.25) if height > 1.3 * width else (0.04, 0.04)

    assert place.number_px >= height * SMALLEST_FIGURE
    assert place.text_px >= min(size) / 41
    assert plate.y >= free[0] * height - 1
    assert plate.bottom <= height * (1 - free[1]) + 1
    assert 0.04 * width <= plate.x
    assert plate.right <= 0.96 * width
    assert place.curve is not None


def test_parts_that_may_be_left_out(readout: ReadOut) -> None:
    """Without them the plate says less and is never empty: a different picture for each."""
    from breakyard.video.planes import Planes

    def drawn(leave_out: frozenset[Any], run_s: float) -> bytes:
        panel = panel_for(readout, Shape(960, 540), Style(leave_out=leave_out), aligned(1.0))
        planes = Planes(*(np.full(shape, 90, np.uint8) for shape in ((540, 960), (270, 480), (270, 480))))
        panel.draw(planes, run_s)
        return planes.y.tobytes()

    pictures = {drawn(frozenset(out), 10.0) for out in ((), *((part,) for part in PARTS))}

    assert len(pictures) == 1 + len(PARTS)
    assert drawn(frozenset(PARTS), 10.0) != drawn(frozenset(PARTS), 13.0)


@pytest.mark.parametrize(
    ("stored", "turned", "crop", "wanted"),
    [
        ((3840, 2160), 0, None, (1920, 1080)),
        ((3840, 2160), -90, None, (1080, 1920)),
        ((1280, 720), 0, None, (1280, 720)),
        ((853, 480), 0, None, (852, 480)),
        ((1920, 1080), 0, "upright", (1080, 1920)),
        ((1920, 1080), 90, "square", (1080, 1080)),
    ],
)
def test_sizes_of_the_film(
    films: Films, stored: tuple[int, int], turned: int, crop: str | None, wanted: tuple[int, int]
) -> None:
    """4K becomes full HD; smaller clips keep their size, on even pixels; a crop has its own."""
    clip = replace(films(YARD), width=stored[0], height=stored[1], turned_deg=turned)
    shape = shape_for(clip, crop)

    assert (shape.width, shape.height) == wanted


def test_rates_are_those_that_players_have() -> None:
    """The nearest; 240 a second is played at 60."""
    assert [float(rate_for(rate)) for rate in (29.7, 30.3, 59.6, 239.0, 24.9)] == [
        pytest.approx(30000 / 1001), 30.0, 60.0, 60.0, 25.0
    ]  # fmt: skip


def test_the_largest_so_far_and_then_the_peak_with_its_interval(readout: ReadOut) -> None:
    """Rising, the largest is at least the load now; from the break on the peak is told."""
    rising, after = readout.at(11.0), readout.at(12.01)

    assert not rising.over
    assert float(rising.largest) >= float(rising.now) == pytest.approx(3500, abs=5)
    assert after.over
    assert readout.peak.count("(") == 1
    assert abs(float(readout.peak.split()[0]) - PEAK_N) < 20


@pytest.mark.parametrize("corner", ["bottom-left", "top-right"])
@pytest.mark.parametrize("shade", ["dark", "light"])
@pytest.mark.parametrize("size", [(1920, 1080), (1080, 1920)])
def test_stills_of_each_layout(readout: ReadOut, size: tuple[int, int], shade: Any, corner: Any) -> None:
    """The number reads back from each at full size. BREAKYARD_PICTURES=FOLDER keeps them, to be looked at."""
    import av

    width, height = size
    scene = Scene(width=width, height=height, break_s=BROKE_S, noise=0.0, shake_px=0)
    paint = painter(scene, np.random.default_rng(1))
    panel = panel_for(readout, Shape(width, height), Style(corner=corner, shade=shade), aligned(BROKE_S))
    for name, time in (("rising", BROKE_S - 0.3), ("broken", BROKE_S + 0.04)):
        frame = av.VideoFrame.from_ndarray(paint(time), format="rgb24").reformat(
            format="yuv420p", dst_colorspace="ITU709", dst_color_range="MPEG"
        )
        frame.colorspace = 1
        panel.draw(planes_of(frame), BREAK_S + time - BROKE_S)
        right, foot, tall = panel.figures_place()
        text = read_figures(luma(frame), panel.place.number.x, right, foot, tall, light=shade == "dark")

        assert float(text) == pytest.approx(true_load_n(BREAK_S + time - BROKE_S), abs=ROUNDED)
        if folder := os.environ.get("BREAKYARD_PICTURES"):
            picture = frame.reformat(format="rgb24", src_colorspace="ITU709").to_image()
            picture.save(Path(folder) / f"video-{width}x{height}-{corner}-{shade}-{name}.png")
