"""The load as subtitles: a text file beside the clip, or a track in it, without coding anything again."""

import struct
from collections import deque
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from breakyard.errors import DataError
from breakyard.video.alignment import Alignment
from breakyard.video.clip import Clip, opened
from breakyard.video.readout import NOT_A_RATING, NOTHING, ReadOut

if TYPE_CHECKING:
    from av.container import InputContainer, OutputContainer
    from av.packet import Packet

STEP_S: Final = 0.1
TICKS: Final = 1000
"""A second in the track's own counting."""


def cues(readout: ReadOut, alignment: Alignment, clip: Clip) -> list[tuple[float, float, str]]:
    """From when to when (seconds of the clip) which words are shown; one for each tenth of a second.

    A number is that of the middle of its tenth. Neighbours that say the same are one.
    """
    found: list[tuple[float, float, str]] = []
    for number in range(int(clip.duration_s / STEP_S) + 1):
        start, end = number * STEP_S, min((number + 1) * STEP_S, clip.duration_s)
        if end - start < 1e-3:
            continue
        words = _words(readout, alignment.run_time(0.5 * (start + end)))
        if found and found[-1][2] == words:
            found[-1] = (found[-1][0], end, words)
        else:
            found.append((start, end, words))
    return [cue for cue in found if cue[2]]


def _words(readout: ReadOut, run_s: float) -> str:
    said = readout.at(run_s)
    if said.now == NOTHING and not said.over:
        return ""
    unit = "" if said.now in (NOTHING, "off scale") else f" {readout.unit}"
    name = " ".join(part for part in (readout.specimen, readout.group) if part)
    if said.over:
        return f"{name}: {said.now}{unit}\npeak {readout.peak} {readout.unit}, {NOT_A_RATING}"
    return f"{name}: {said.now}{unit}\nlargest so far {said.largest} {readout.unit}, {NOT_A_RATING}"


def as_text(found: list[tuple[float, float, str]], kind: str) -> str:
    """A file of the kind "vtt" (W3C WebVTT) or "srt"."""
    point = "." if kind == "vtt" else ","
    lines = ["WEBVTT", ""] if kind == "vtt" else []
    for number, (start, end, words) in enumerate(found, start=1):
        marked = words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        shown = marked if kind == "vtt" else words
        lines += [str(number), f"{_clock(start, point)} --> {_clock(end, point)}", shown, ""]
    return "\n".join(lines) + "\n"


def _clock(time_s: float, point: str) -> str:
    milliseconds = round(time_s * 1000)
    hours, rest = divmod(milliseconds, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    seconds, rest = divmod(rest, 1000)
    return f"{hours:02}:{minutes:02}:{seconds:02}{point}{rest:03}"


def mux(clip: Clip, found: list[tuple[float, float, str]], path: Path) -> None:
    """Write the clip with a track of subtitles, its pictures and sound byte for byte.

    Its tags (where and with what it was filmed) are left out. Raises: DataError, OSError.
    """
    import av
    import av.error

    with (
        opened(clip.path) as source,
        av.open(str(path), "w", format="mp4", options={"movflags": "+faststart"}) as container,
    ):
        try:
            _copy(source, container, clip, found)
        except av.error.FFmpegError as error:
            raise DataError(f"{path}: cannot be written ({error.strerror})") from error


def _copy(
    source: "InputContainer", container: "OutputContainer", clip: Clip, found: list[tuple[float, float, str]]
) -> None:
    kept = [source.streams.video[0], *source.streams.audio[:1]]
    copies: dict[int, Any] = {}
    for stream in kept:
        try:
            copies[stream.index] = container.add_stream_from_template(stream)
        except ValueError as error:
            raise DataError(
                f"{clip.path}: its {stream.type} ({stream.codec_context.name}) has no place in an MP4; let the "
                "read-out be burnt in, which codes it again"
            ) from error
    track: Any = container.add_stream("mov_text")
    track.time_base = Fraction(1, TICKS)
    track.codec_context.subtitle_header = _HEADER
    cues_left = deque(found)
    for packet in source.demux(kept):
        if packet.dts is None or packet.pts is None:
            continue
        time = float(packet.pts * packet.time_base) - clip.first_s
        while cues_left and cues_left[0][0] <= time:
            container.mux(_packet(cues_left.popleft(), clip.first_s, track))
        packet.stream = copies[packet.stream.index]
        container.mux(packet)
    for cue in cues_left:
        container.mux(_packet(cue, clip.first_s, track))


def _packet(cue: tuple[float, float, str], first_s: float, track: Any) -> "Packet[Any]":
    """A sample of 3GPP timed text (TS 26.245, 5.17): length and UTF-8."""
    from av.packet import Packet

    text = cue[2].encode()
    packet: Packet[Any] = Packet(struct.pack(">H", len(text)) + text)
    packet.stream = track
    packet.time_base = Fraction(1, TICKS)
    packet.pts = packet.dts = round((cue[0] + first_s) * TICKS)
    packet.duration = round(cue[1] * TICKS) - round(cue[0] * TICKS)
    packet.is_keyframe = True
    return packet


_HEADER: Final = b"""[Script Info]
ScriptType: v4.00+
PlayResX: 384
PlayResY: 288

[V4+ Styles]
Format: Name, Fontname, Fontsize, PrimaryColour, Bold, Alignment
Style: Default,Sans,18,&Hffffff,0,2

[Events]
Format: Start, End, Style, Text
"""
"""From this FFmpeg makes the description of the track: white letters at the lower edge."""
