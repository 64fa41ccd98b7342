"""An MP4 that plays everywhere: H.264 High, yuv420p, BT.709, a constant rate, its index in front, and nothing personal.

What the clip's file says of place and phone is not copied.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from breakyard.video.clip import Clip, opened
from breakyard.video.needed import need_pyav
from breakyard.video.pace import Pace
from breakyard.video.upright import BT709, LIMITED, PLAIN

if TYPE_CHECKING:
    from av.audio.stream import AudioStream
    from av.container import InputContainer, OutputContainer
    from av.packet import Packet
    from av.video.frame import VideoFrame
    from av.video.stream import VideoStream

RATES: Final = tuple(
    Fraction(*pair) for pair in ((24, 1), (24000, 1001), (25, 1), (30000, 1001), (30, 1), (50, 1), (60, 1))
)
"""Rates that every player has. A clip's own rate goes to the nearest one; slow-motion clips are played at 60."""
QUALITY: Final = "20"
"""x264's constant rate factor: a film whose losses are hardly seen (its own default is 23)."""
SPEED: Final = "veryfast"
SOUND_KEPT: Final = "aac"
SOUND_RATE: Final = 48_000
OVERLAP_S: Final = 1e-3


def rate_for(rate: float) -> Fraction:
    """The rate of the film of a clip with this rate."""
    if rate > 60.5:
        return Fraction(60)
    return min(RATES, key=lambda known: abs(float(known) - rate))


@dataclass(slots=True)
class Film:
    """A film being written; see `film`."""

    container: "OutputContainer"
    stream: "VideoStream"
    rate: Fraction
    _number: int = 0
    _sound: "Iterator[tuple[float, Packet[Any]]] | None" = None
    _waiting: "tuple[float, Packet[Any]] | None" = None

    @property
    def next_s(self) -> float:
        """Time of the frame that is added next."""
        return float(self._number / self.rate)

    def add(self, frame: "VideoFrame") -> None:
        """Add the next frame, and the sound until it."""
        frame.pts, frame.time_base = self._number, 1 / self.rate
        frame.colorspace = frame.color_primaries = frame.color_trc = BT709
        frame.color_range = LIMITED
        # What the decoder knew of the frame's kind means nothing to the encoder.
        frame.pict_type = type(frame.pict_type)(0)
        for packet in self.stream.encode(frame):
            self.container.mux(packet)
        self._number += 1
        self._sound_until(self.next_s)

    def _sound_until(self, end_s: float) -> None:
        if self._sound is None:
            return
        while True:
            if self._waiting is None:
                self._waiting = next(self._sound, None)
                if self._waiting is None:
                    self._sound = None
                    return
            if self._waiting[0] >= end_s:
                return
            self.container.mux(self._waiting[1])
            self._waiting = None

    def finish(self) -> None:
        """Write what the encoder still holds."""
        for packet in self.stream.encode():
            self.container.mux(packet)
        self._sound_until(self.next_s)


@contextmanager
def film(
    path: Path,
    width: int,
    height: int,
    rate: Fraction,
    *,
    sound_of: Clip | None = None,
    pace: Pace | None = None,
) -> Iterator[Film]:
    """Write a film to a path; its content is whole only after the context was left without an error.

    sound_of: a clip whose sound goes with it, as `pace` says. Raises: DataError (the clip), OSError.
    """
    need_pyav()
    import av

    with av.open(str(path), "w", format="mp4", options={"movflags": "+faststart"}) as container:
        options = {"preset": SPEED, "crf": QUALITY, "profile": "high"}
        stream = container.add_stream("libx264", rate=rate, options=options)
        stream.width, stream.height, stream.pix_fmt = width, height, PLAIN
        context = stream.codec_context
        context.time_base = 1 / rate
        context.color_primaries = context.color_trc = context.colorspace = BT709
        context.color_range = LIMITED
        stream.time_base = 1 / rate
        made = Film(container, stream, rate)
        if sound_of is not None and sound_of.sound and pace is not None:
            made._sound = _sound(container, sound_of, pace)
        yield made
        made.finish()


def _sound(container: "OutputContainer", clip: Clip, pace: Pace) -> "Iterator[tuple[float, Packet[Any]]]":
    """Packets of sound with the time at which they are due: copied where that is possible, else coded again."""
    if clip.sound == SOUND_KEPT and pace.steady:
        with opened(clip.path) as source:
            template = source.streams.audio[0]
            copied = container.add_stream_from_template(template)
        return _copied(copied, clip, pace)
    stream = container.add_stream("aac", rate=SOUND_RATE, layout="stereo")
    return _coded(stream, clip, pace)


def _copied(stream: Any, clip: Clip, pace: Pace) -> "Iterator[tuple[float, Packet[Any]]]":
    start, end = pace.pieces[0].start_s, pace.pieces[-1].end_s
    with opened(clip.path) as source:
        inner, base = _sound_from(source, clip, start)
        shift = round((start + clip.first_s) / float(base))
        for packet in source.demux(inner):
            if packet.pts is None or packet.dts is None:
                continue
            begins = float(packet.pts * base) - clip.first_s
            # The packet before the first one is needed to decode that (ISO/IEC 14496-3: a frame overlaps the next);
            # being before 0, it is not played.
            if begins + float((packet.duration or 0) * base) < start - OVERLAP_S:
                continue
            if begins >= end:
                return
            packet.pts -= shift
            packet.dts = packet.pts
            packet.stream = stream
            yield begins - start, packet


def _coded(stream: "AudioStream", clip: Clip, pace: Pace) -> "Iterator[tuple[float, Packet[Any]]]":
    """Sound for another pace: silent while the film is slower, so that it is in step again after it."""
    import av

    written = 0
    for samples in _paced_sound(clip, pace):
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples), "fltp", "stereo")
        frame.sample_rate, frame.pts, frame.time_base = SOUND_RATE, written, Fraction(1, SOUND_RATE)
        due = written / SOUND_RATE
        for packet in stream.encode(frame):
            yield due, packet
        written += samples.shape[1]
    for packet in stream.encode():
        yield written / SOUND_RATE, packet


def _paced_sound(clip: Clip, pace: Pace) -> Iterator[Any]:
    """Sound (2, n) at SOUND_RATE from the film's beginning to its end."""
    written = 0
    for piece in pace.pieces:
        begin = pace.film_time(piece.start_s)
        if piece.slower != 1.0:
            silent = round((begin + piece.length_s) * SOUND_RATE) - written
            while silent > 0:
                yield np.zeros((2, min(silent, SOUND_RATE)), dtype=np.float32)
                written, silent = written + min(silent, SOUND_RATE), silent - SOUND_RATE
            continue
        for time, samples in _resampled(clip, piece.start_s, piece.end_s):
            at = round((begin + time - piece.start_s) * SOUND_RATE)
            if at > written:
                yield np.zeros((2, at - written), dtype=np.float32)
                written = at
            left = max(0, round((begin + piece.length_s) * SOUND_RATE) - written)
            part = samples[:, written - at :][:, :left]
            if part.shape[1]:
                yield part
                written += part.shape[1]


def _sound_from(source: "InputContainer", clip: Clip, start_s: float) -> "tuple[AudioStream, Fraction]":
    """The clip's sound, found at a moment of it or shortly before, and the unit of its times."""
    stream = source.streams.audio[0]
    base = stream.time_base
    assert base is not None
    if start_s > 0.0:
        source.seek(int((start_s + clip.first_s) / base), stream=stream)
    return stream, base


def _resampled(clip: Clip, start_s: float, end_s: float) -> Iterator[tuple[float, Any]]:
    import av

    with opened(clip.path) as source:
        stream, _ = _sound_from(source, clip, start_s)
        resampler = av.AudioResampler(format="fltp", layout="stereo", rate=SOUND_RATE)
        for frame in source.decode(stream):
            if frame.time is None:
                continue
            time = frame.time - clip.first_s
            if time >= end_s:
                return
            for piece in resampler.resample(frame):
                samples = piece.to_ndarray()
                skip = round((start_s - time) * SOUND_RATE)
                if skip >= samples.shape[1]:
                    continue
                skip = max(0, skip)
                yield time + skip / SOUND_RATE, samples[:, skip:]
                time += samples.shape[1] / SOUND_RATE
