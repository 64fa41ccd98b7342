"""Films of pulls that never were: a drawn yard in which a line parts, with a bang, at a known moment.

Knows nothing of the product. The camera reads its rows one after another, shakes, and may have a sound track that comes
late by the distance and by its own fault. What is not in here: lenses, motion blur, faces, wind.
"""

import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]

SOUND_RATE = 48_000
TICKS = 90_000
"""A second in the clip's own counting."""


@dataclass(frozen=True)
class Scene:
    """What happens, in seconds of the world from the clip's first frame."""

    break_s: float | None = 3.0
    length_s: float = 6.0
    width: int = 320
    height: int = 180
    rate: float = 30.0
    jitter: float = 0.0
    """Of the steps between frames, as a part of the step (standard deviation)."""
    shutter_s: float = 0.015
    shake_px: float = 1.0
    """How far the hand that holds the camera moves either way."""
    noise: float = 1.5
    walker: bool = True
    creep: float = 1.5
    """How far what pulls moves in a second."""
    bang: bool = True
    bang_late_s: float = 0.0
    """Sound travelling, and the phone's own fault."""
    other_bangs: tuple[tuple[float, float], ...] = ()
    """Times and loudness, the break's being 1."""
    wind: float = 0.02
    lamp_s: tuple[tuple[float, float], ...] = ()
    """When the lamp is lit, from and to."""
    seed: int = 1


@dataclass(frozen=True)
class Coding:
    """How it is stored."""

    codec: str = "libx264"
    pixels: str = "yuv420p"
    sound: str | None = "aac"
    turned_deg: int = 0
    """As a phone says it: by how much a player has to turn the frames, counterclockwise."""
    stretch: int = 1
    """Seconds in the file for one in the world."""
    colours: tuple[int, int, int] = (1, 1, 1)
    """Primaries, transfer and matrix (ITU-T H.273)."""
    full_range: bool = False
    metadata: dict[str, str] = field(default_factory=dict)
    gop: int = 30
    cut_s: float = 0.0
    """Cut off the beginning as a phone's editor does: frames and sound stay in the file, left out by edit lists."""
    ticks: int = TICKS
    """A second in the clip's own counting."""
    options: dict[str, str] = field(default_factory=lambda: {"preset": "ultrafast", "crf": "22"})


def make_clip(path: Path, scene: Scene, coding: Coding | None = None) -> list[float]:
    """Write the clip; returns each frame's time in the world, seconds from the first."""
    coding = coding or Coding()
    chance = np.random.default_rng(scene.seed)
    times = _times(scene, chance)
    _encode(path, scene, coding, times, painter(scene, chance), chance)
    if coding.turned_deg:
        _turn(path, coding.turned_deg)
    if coding.cut_s:
        _cut(path, coding.cut_s)
    return times


def _cut(path: Path, seconds: float) -> None:
    """Let each track's edit list begin so much later (ISO/IEC 14496-12, 8.6.6; boxes of version 0)."""
    data = bytearray(path.read_bytes())
    movie = data.index(b"mvhd")
    (in_movie,) = struct.unpack_from(">I", data, movie + 16)
    at = data.find(b"elst")
    while at >= 0:
        header = data.index(b"mdhd", at)  # a track's edits stand before its media
        (in_track,) = struct.unpack_from(">I", data, header + 16)
        (entries,) = struct.unpack_from(">I", data, at + 8)
        last = at + 12 + 12 * (entries - 1)
        lasts, begins = struct.unpack_from(">Ii", data, last)
        struct.pack_into(
            ">Ii", data, last, lasts - round(seconds * in_movie), begins + round(seconds * in_track)
        )
        at = data.find(b"elst", header)
    path.write_bytes(data)


def _turn(path: Path, degrees: int) -> None:
    """Write the matrix of a turn into the header of the first track (ISO/IEC 14496-12, 8.3.2).

    Players turn clockwise by what stands in there: (a b, c d) = (cos sin, -sin cos) in 16.16 numbers.
    """
    data = bytearray(path.read_bytes())
    at = data.index(b"tkhd") + 4 + 40
    cos, sin = {90: (0, -1), -90: (0, 1), 180: (-1, 0)}[degrees]
    matrix = (cos * 65536, sin * 65536, 0, -sin * 65536, cos * 65536, 0, 0, 0, 1 << 30)
    data[at : at + 36] = struct.pack(">9i", *matrix)
    path.write_bytes(data)


def _times(scene: Scene, chance: np.random.Generator) -> list[float]:
    many = int(scene.length_s * scene.rate)
    steps = np.clip(1.0 + scene.jitter * chance.standard_normal(many - 1), 0.3, 3.0) / scene.rate
    exact = np.concatenate([[0.0], np.cumsum(steps)])
    ticks: list[float] = (np.round(exact * TICKS) / TICKS).tolist()
    return ticks


def painter(scene: Scene, chance: np.random.Generator) -> Callable[[float], Picture]:
    """A function from the world's time to an RGB picture (h, w, 3)."""
    width, height = scene.width, scene.height
    pad = 4
    rough = chance.uniform(-1, 1, (height // 6 + 3, width // 6 + 3))
    texture = np.kron(rough, np.ones((6, 6)))[: height + 2 * pad, : width + 2 * pad]
    ground = np.zeros((height + 2 * pad, width + 2 * pad, 3))
    rows = np.arange(height + 2 * pad)[:, None] / height
    sky = rows < 0.45
    ground[..., 0] = np.where(sky, 150 + 40 * rows, 96)
    ground[..., 1] = np.where(sky, 180 + 30 * rows, 104)
    ground[..., 2] = np.where(sky, 205, 74)
    ground += 9.0 * texture[..., None] * np.where(sky, 0.3, 1.0)[..., None]
    scale = height / 180.0

    def box(image: NDArray[Any], x: float, y: float, w: float, h: float, shade: tuple[int, int, int]) -> None:
        left, top = round(x * scale), round(y * scale)
        image[
            max(0, top) : max(0, top + round(h * scale)), max(0, left) : max(0, left + round(w * scale))
        ] = shade

    def world(time: float, broken_s: float | None) -> NDArray[Any]:
        image = ground.copy()
        right = width / scale
        pulled = min(time, broken_s if broken_s is not None else time) * scene.creep
        box(image, 8, 74, 26, 70, (92, 82, 70))  # what holds
        box(image, 34, 96, 14, 22, (200, 190, 175))  # the fitting's base
        box(image, right - 70 + pulled, 66, 66, 62, (170, 60, 40))  # what pulls
        box(image, right - 60 + pulled, 124, 14, 14, (30, 30, 30))
        box(image, right - 26 + pulled, 124, 14, 14, (30, 30, 30))
        if broken_s is None:
            box(image, 48, 104, right - 118 + pulled, 3, (235, 205, 60))  # the line
            box(image, 44, 98, 14, 15, (225, 225, 225))  # the fitting
        else:
            since = time - broken_s
            fall = min(30.0, 160.0 * since)
            box(image, 100 + 700 * since, 106 + fall, right - 170, 3, (235, 205, 60))
            box(image, 52 + 900 * since, 92 - 60 * since, 12, 12, (225, 225, 225))
            box(image, right - 70 + pulled + min(6.0, 40 * since), 66, 66, 62, (170, 60, 40))
        if scene.walker:
            box(image, (20 + 9 * time) % right, 58, 8, 30, (50, 60, 120))
        if any(start <= time < end for start, end in scene.lamp_s):
            box(image, 60, 150, 4, 4, (255, 250, 240))
        else:
            box(image, 60, 150, 4, 4, (60, 20, 20))
        return image

    sways = chance.uniform([0.5, 2.0, 7.0], [1.5, 5.0, 11.0], (2, 3)), chance.uniform(0, 6.28, (2, 3))

    def held(image: NDArray[Any], time: float) -> NDArray[Any]:
        """What a camera in a hand sees of it: it sways at about 1 Hz, and trembles up to 11 Hz, less (from memory).

        Parts of a pixel count: a hand does not jump from one to the next.
        """
        moved = np.sin(2 * np.pi * sways[0] * time + sways[1]) @ np.array([0.6, 0.3, 0.15])
        across, down = (pad + (scene.shake_px * moved).clip(1 - pad, pad - 2)).tolist()
        x, y, part_x, part_y = int(across), int(down), across % 1.0, down % 1.0
        above = image[y : y + height, x : x + width + 1]
        below = image[y + 1 : y + 1 + height, x : x + width + 1]
        rows = above * (1.0 - part_y) + below * part_y
        seen: NDArray[Any] = rows[:, :-1] * (1.0 - part_x) + rows[:, 1:] * part_x
        return seen

    def paint(time: float) -> Picture:
        broke = scene.break_s
        if broke is None or time + scene.shutter_s < broke:
            image = world(time, None)
        elif time >= broke:
            image = world(time, broke)
        else:  # rows below this one were read after it broke
            row = round((broke - time) / max(scene.shutter_s, 1e-9) * height) + pad
            image = world(time, None)
            image[row:] = world(broke + 0.5 * scene.shutter_s, broke)[row:]
        cut = held(image, time) if scene.shake_px else image[pad : pad + height, pad : pad + width]
        if scene.noise:
            cut = cut + scene.noise * chance.standard_normal((height, width, 1))
        return np.clip(cut, 0, 255).astype(np.uint8)

    return paint


def _sound(scene: Scene, chance: np.random.Generator, length_s: float) -> NDArray[np.float32]:
    many = int(length_s * SOUND_RATE)
    rumble = np.cumsum(chance.standard_normal(many))
    rumble -= np.convolve(rumble, np.ones(2000) / 2000, "same")
    sound = scene.wind * (0.5 * rumble / max(rumble.std(), 1e-9) + 0.1 * chance.standard_normal(many))
    bangs = list(scene.other_bangs)
    if scene.bang and scene.break_s is not None:
        bangs.append((scene.break_s + scene.bang_late_s, 1.0))
    for time, loud in bangs:
        at = round(time * SOUND_RATE)
        if 0 <= at < many:
            tail = min(many - at, int(0.25 * SOUND_RATE))
            decay = np.exp(-np.arange(tail) / (0.03 * SOUND_RATE))
            sound[at : at + tail] += 0.7 * loud * decay * chance.standard_normal(tail)
    return np.clip(sound, -1.0, 1.0).astype(np.float32)


def _encode(
    path: Path,
    scene: Scene,
    coding: Coding,
    times: list[float],
    paint: Callable[[float], Picture],
    chance: np.random.Generator,
) -> None:
    import av

    with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as container:
        container.metadata.update(coding.metadata)
        rate = Fraction(scene.rate / coding.stretch).limit_denominator(1001)
        options = dict(coding.options)
        if coding.codec == "libx265":
            options["x265-params"] = "log-level=none"
        stream = container.add_stream(coding.codec, rate=rate, options=options)
        stream.width, stream.height, stream.pix_fmt = scene.width, scene.height, coding.pixels
        stream.codec_context.time_base = Fraction(1, coding.ticks)
        stream.codec_context.gop_size = coding.gop
        primaries, transfer, matrix = coding.colours
        context = stream.codec_context
        context.color_primaries, context.color_trc, context.colorspace = primaries, transfer, matrix
        context.color_range = 2 if coding.full_range else 1
        sound = None
        if coding.sound:
            sound = container.add_stream(coding.sound, rate=SOUND_RATE, layout="mono")
        matrix_name = matrix if matrix in (1, 9) else 5  # as the scaler numbers them
        for time in times:
            frame = av.VideoFrame.from_ndarray(paint(time), format="rgb24")
            frame = frame.reformat(
                format=coding.pixels,
                dst_colorspace=matrix_name,
                dst_color_range="JPEG" if coding.full_range else "MPEG",
            )
            frame.pts = round(time * coding.stretch * coding.ticks)
            frame.time_base = Fraction(1, coding.ticks)
            for packet in stream.encode(frame):
                container.mux(packet)
        for packet in stream.encode():
            container.mux(packet)
        if sound is not None:
            _add_sound(container, sound, _sound(scene, chance, times[-1] + 1.0 / scene.rate))


def _add_sound(container: Any, stream: Any, samples: NDArray[np.float32]) -> None:
    import av

    wanted = stream.codec_context.format.name
    resampler = av.AudioResampler(format=wanted, layout="mono", rate=SOUND_RATE)
    for at in range(0, len(samples), 1024):
        frame = av.AudioFrame.from_ndarray(samples[None, at : at + 1024], format="flt", layout="mono")
        frame.sample_rate, frame.pts, frame.time_base = SOUND_RATE, at, Fraction(1, SOUND_RATE)
        for piece in resampler.resample(frame):
            for packet in stream.encode(piece):
                container.mux(packet)
    for packet in stream.encode():
        container.mux(packet)
