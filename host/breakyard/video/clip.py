"""A clip as its file holds it: frames with their own times, sound, and what is odd about it.

Times of a clip are seconds from its first frame, as players show them, never a frame's number over a rate: phones
record at a rate that varies. Nothing here turns, scales or changes a picture.
"""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from breakyard.errors import DataError
from breakyard.video.needed import need_pyav

if TYPE_CHECKING:
    from av.container import InputContainer
    from av.video.frame import VideoFrame
    from av.video.stream import VideoStream

Floats = NDArray[np.float64]
Transfer = Literal["sdr", "hlg", "pq"]

CAPTURE_RATE: Final = "com.android.capture.fps"
"""Key under which Android's recorder tells the rate at which a stretched slow-motion clip was really filmed."""

MATRICES: Final = {1: "bt709", 5: "bt601", 6: "bt601", 9: "bt2020", 10: "bt2020"}
"""Numbers of colour matrices (ITU-T H.273, table 4) and the names that FFmpeg's scaler has for them."""
FULL_RANGE: Final = 2
TRANSFERS: Final[dict[int, Transfer]] = {16: "pq", 18: "hlg"}
"""Numbers of transfer characteristics (ITU-T H.273, table 3) that are HDR."""
UNEVEN: Final = 0.02
"""Relative spread of the steps between frames from which a clip has a variable rate."""
HIGHEST_DEFINITION_FROM: Final = 720
"""Lines from which a picture that does not say so has BT.709's colours (common practice of players, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Clip:
    """What a clip's file says. `width` and `height` are as the frames are stored; `turned_deg` turns them upright."""

    path: Path
    codec: str
    width: int
    height: int
    turned_deg: int
    """Degrees by which a player turns each frame, counterclockwise: 0, 90, 180 or -90."""
    times_s: Floats
    """(n,) when each frame is shown, from the first; increasing."""
    first_s: float
    """The first frame's time in the file's own counting."""
    bits: int
    transfer: Transfer
    matrix: str
    full_range: bool
    sound: str
    """Codec of the sound; "" where there is none."""
    created_utc_s: float | None
    """When it was filmed, in whole seconds: its beginning or its end, by the phone."""
    stretch: float = 1.0
    """Seconds of the clip in one second of the world, as the file tells it: 8 for 240 a second shown at 30."""

    @property
    def duration_s(self) -> float:
        """From the first frame to the end of the last."""
        return float(self.times_s[-1]) + self.step_s

    @property
    def step_s(self) -> float:
        """The usual time between frames."""
        return float(np.median(np.diff(self.times_s)))

    @property
    def rate(self) -> float:
        """Frames a second, on the whole."""
        return (len(self.times_s) - 1) / float(self.times_s[-1])

    @property
    def uneven(self) -> bool:
        """Whether its frames come at a rate that varies."""
        steps = np.diff(self.times_s)
        return bool(np.ptp(np.quantile(steps, [0.02, 0.98])) > UNEVEN * self.step_s)

    @property
    def seen_size(self) -> tuple[int, int]:
        """Width and height as a player shows them."""
        sideways = self.turned_deg % 180 != 0
        return (self.height, self.width) if sideways else (self.width, self.height)

    def frame_at(self, time_s: float) -> int:
        """Which frame a player shows at a time."""
        at = int(np.searchsorted(self.times_s, time_s + 1e-6, side="right")) - 1
        return min(max(at, 0), len(self.times_s) - 1)

    def step_before(self, time_s: float) -> float:
        """How long before the frame shown at a time the one before it was: what happened in between is seen then."""
        at = self.frame_at(time_s)
        return float(self.times_s[at] - self.times_s[at - 1]) if at > 0 else self.step_s


@contextmanager
def opened(path: Path) -> "Iterator[InputContainer]":
    """The file, for reading. Raises: DataError if it cannot be read as a clip, also later on."""
    need_pyav()
    import av
    import av.error

    if not path.is_file():
        raise DataError(f"{path}: there is no such clip")
    try:
        with av.open(str(path), metadata_errors="replace") as container:
            yield container
    except (av.error.FFmpegError, UnicodeDecodeError) as error:
        said = getattr(error, "strerror", None) or error
        raise DataError(f"{path}: cannot be read as a clip ({said}); was it copied whole?") from error


def read_clip(path: Path) -> Clip:
    """Look at a clip without decoding it, but for its first frame. Raises: DataError, UsageError (PyAV missing)."""
    with opened(path) as container:
        stream = _picture(container, path)
        first = next(iter(container.decode(stream)), None)
        if first is None:
            raise DataError(f"{path}: no frame of it can be decoded")
        sound = container.streams.audio[0].codec_context.name if container.streams.audio else ""
        metadata = dict(container.metadata)
        created = metadata.get("creation_time") or stream.metadata.get("creation_time")
        codec, tag = stream.codec_context.name, stream.codec_context.codec_tag
    times, first_s = _times(path)
    if len(times) < 2:
        raise DataError(f"{path}: {len(times)} frame(s); this is a picture, not a clip")
    _refuse_what_has_no_colours(path, tag)
    clip = Clip(
        path=path,
        codec=codec,
        width=first.width,
        height=first.height,
        turned_deg=_quarter(first.rotation),
        times_s=times,
        first_s=first_s,
        bits=max(component.bits for component in first.format.components),
        transfer=TRANSFERS.get(int(first.color_trc), "sdr"),
        matrix=MATRICES.get(
            int(first.colorspace),
            "bt709" if min(first.width, first.height) >= HIGHEST_DEFINITION_FROM else "bt601",
        ),
        full_range=int(first.color_range) == FULL_RANGE or first.format.name.startswith("yuvj"),
        sound=sound,
        created_utc_s=_created(created),
    )
    return clip if CAPTURE_RATE not in metadata else _stretched(clip, metadata[CAPTURE_RATE])


def frames(clip: Clip, start_s: float = 0.0, end_s: float = math.inf) -> "Iterator[tuple[float, VideoFrame]]":
    """Frames with their times, from the one that is shown at `start_s` to the last one before `end_s`.

    One frame is in memory at a time. Raises: DataError.
    """
    begin = float(clip.times_s[clip.frame_at(start_s)])
    with opened(clip.path) as container:
        stream = _picture(container, clip.path)
        stream.thread_type = "AUTO"
        if begin > 0.0:
            assert stream.time_base is not None
            container.seek(int((begin + clip.first_s - 1e-4) / stream.time_base), stream=stream)
        for frame in container.decode(stream):
            if frame.pts is None or frame.time is None:
                continue
            time = frame.time - clip.first_s
            if time >= end_s:
                return
            if time >= begin - 1e-4:
                yield time, frame


def sound_blocks(clip: Clip) -> Iterator[tuple[float, int, Floats]]:
    """The sound in pieces: time of the first value, rate, and values (n,) of all channels together, -1 to 1.

    Raises: DataError.
    """
    import av

    with opened(clip.path) as container:
        if not container.streams.audio:
            return
        stream = container.streams.audio[0]
        resampler = av.AudioResampler(format="flt", layout="mono")
        for frame in container.decode(stream):
            if frame.time is None:
                continue
            for piece in resampler.resample(frame):
                yield frame.time - clip.first_s, piece.sample_rate, piece.to_ndarray().ravel().astype(float)


def _picture(container: "InputContainer", path: Path) -> "VideoStream":
    from av.stream import Disposition

    # A cover picture is no film.
    streams = [one for one in container.streams.video if not one.disposition & Disposition.attached_pic]
    if not streams:
        raise DataError(f"{path}: there is no film in it, only {_kinds(container)}")
    return streams[0]


def _kinds(container: Any) -> str:
    return ", ".join(sorted({stream.type for stream in container.streams})) or "nothing"


def _times(path: Path) -> tuple[Floats, float]:
    """Times of all frames, from the packets; and the first one in the file's counting."""
    with opened(path) as container:
        stream = _picture(container, path)
        found = [
            packet.pts
            for packet in container.demux(stream)
            if packet.pts is not None and not packet.is_discard
        ]
        base = float(stream.time_base or 1)
    ticks = np.unique(np.array(found, dtype=np.int64))
    if not len(ticks):
        return np.zeros(0), 0.0
    times = (ticks - ticks[0]) * base
    times.flags.writeable = False
    return times, float(ticks[0] * base)


def _quarter(degrees: float) -> int:
    """A turn by quarters, from -90 to 180."""
    quarter = round(degrees / 90.0) * 90 % 360
    return quarter - 360 if quarter > 180 else quarter


def _created(text: str | None) -> float | None:
    if not text:
        return None
    try:
        time = datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        return None
    seconds = (time if time.tzinfo else time.replace(tzinfo=UTC)).timestamp()
    return seconds if seconds > _NO_CLOCK else None


_NO_CLOCK: Final = 86400.0 * 365 * 30
"""A time before 2000 is that of a camera whose clock was never set; MP4 counts from 1904."""


def _stretched(clip: Clip, told: str) -> Clip:
    """The clip with the stretch that follows from the rate at which it was really filmed."""
    from dataclasses import replace

    try:
        factor = float(told) / clip.rate
    except ValueError:
        return clip
    whole = round(factor)
    # The rate of a phone is a few percent off; a factor of its slow motion is whole.
    return replace(clip, stretch=float(whole)) if whole >= 2 and abs(factor - whole) < 0.1 * whole else clip


def _refuse_what_has_no_colours(path: Path, tag: str) -> None:
    if tag in ("dvhe", "dvh1", "dvav", "dva1"):
        raise DataError(
            f"{path}: Dolby Vision without an ordinary picture in it; turn HDR off in the camera, or let the phone "
            'share it as "most compatible"'
        )
