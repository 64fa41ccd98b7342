"""Frames as they are to be seen: turned, cropped, scaled, 8 bits, BT.709 in limited range. FFmpeg's filters do it.

A frame that is so already passes through untouched.
"""

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

from breakyard.errors import DataError
from breakyard.video.clip import Clip
from breakyard.video.tone import cube_text

if TYPE_CHECKING:
    from av.filter import Graph
    from av.video.frame import VideoFrame

LONGEST_SIDE: Final = 1920
TURNS: Final = {90: ("transpose=cclock",), -90: ("transpose=clock",), 180: ("hflip", "vflip"), 0: ()}
PLAIN: Final = "yuv420p"
BT709, LIMITED = 1, 1
"""ITU-T H.273: colours, transfer and matrix of HDTV; FFmpeg's number for the limited range."""


@dataclass(frozen=True, slots=True)
class Shape:
    """Size of a picture, and whether a clip is cropped to fill it (else it is scaled as a whole)."""

    width: int
    height: int
    filled: bool = False


def shape_for(clip: Clip, crop: str | None) -> Shape:
    """The film's size: the clip's, at most 1920 along; or 1080 x 1920 ("upright"), 1080 x 1080 ("square")."""
    if crop == "upright":
        return Shape(1080, 1920, filled=True)
    if crop == "square":
        return Shape(1080, 1080, filled=True)
    width, height = clip.seen_size
    scale = min(1.0, LONGEST_SIDE / max(width, height))
    return Shape(_even(width * scale), _even(height * scale))


def _even(length: float) -> int:
    return max(2, 2 * round(length / 2.0))


class Upright:
    """Turns frames of a clip into pictures of a shape; use as a context, since HDR needs a table on the disk."""

    def __init__(self, clip: Clip, shape: Shape) -> None:
        self.shape = shape
        self._clip = clip
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._chain: list[str] | None = None
        self._graph: Graph | None = None

    def __enter__(self) -> Self:
        if self._clip.transfer != "sdr":
            self._folder = tempfile.TemporaryDirectory(prefix="breakyard-")
        self._chain = self._filters()
        return self

    def __exit__(self, *why: object) -> None:
        self._graph = None
        if self._folder is not None:
            self._folder.cleanup()

    def __call__(self, frame: "VideoFrame") -> "VideoFrame":
        """The picture of a frame, which nobody else holds: it may be drawn on. Raises: DataError."""
        assert self._chain is not None, "used outside of its context"
        if (frame.width, frame.height) != (self._clip.width, self._clip.height):
            raise DataError(
                f"{self._clip.path}: its frames change their size; let the phone or an editor save it again"
            )
        if not self._chain and frame.format.name == PLAIN:
            # The decoder still needs its own frame to predict the next ones from.
            frame.make_writable()
            return frame
        if self._graph is None:
            self._graph = _graph(frame, self._chain)
        self._graph.vpush(frame)
        made = self._graph.vpull()
        made.make_writable()
        return made

    def _filters(self) -> list[str]:
        clip, shape = self._clip, self.shape
        width, height = clip.seen_size
        turn, crop = TURNS[clip.turned_deg], []
        if shape.filled:
            # As much of the middle as has the shape's proportions.
            inner = (
                _even(min(width, height * shape.width / shape.height)),
                _even(min(height, width * shape.height / shape.width)),
            )
            crop = [f"crop={inner[0]}:{inner[1]}"] if inner != (width, height) else []
        scale = f"scale={shape.width}:{shape.height}:flags=bilinear"
        came = f"in_range={'full' if clip.full_range else 'limited'}:in_color_matrix={clip.matrix}"
        if clip.transfer != "sdr":
            to_red_green_blue = [f"{scale}:{came}", "format=gbrp10le", self._tone_map()]
            back = ["scale=out_color_matrix=bt709:out_range=limited", f"format={PLAIN}"]
            return [*turn, *crop, *to_red_green_blue, *back]
        same_colours = clip.matrix == "bt709" and not clip.full_range and clip.bits == 8
        if same_colours and (width, height) == (shape.width, shape.height) and not crop:
            return [*turn, f"format={PLAIN}"] if turn else []
        colours = f"{came}:out_color_matrix=bt709:out_range=limited"
        return [*turn, *crop, f"{scale}:{colours}", f"format={PLAIN}"]

    def _tone_map(self) -> str:
        assert self._folder is not None
        assert self._clip.transfer != "sdr"
        table = Path(self._folder.name) / "hdr.cube"
        table.write_text(cube_text(self._clip.transfer), "ascii")
        return f"lut3d=file={_escaped(table)}:interp=tetrahedral"


def _escaped(path: Path) -> str:
    """A path inside a filter's arguments: colons and backslashes mean something there."""
    return str(path).replace("\\", "/").replace(":", "\\:").replace("'", "\\'")


def _graph(frame: "VideoFrame", chain: list[str]) -> "Graph":
    import av.filter

    graph = av.filter.Graph()
    at = graph.add_buffer(
        width=frame.width, height=frame.height, format=frame.format, time_base=frame.time_base
    )
    for words in chain:
        name, _, arguments = words.partition("=")
        after = graph.add(name, arguments or None)
        at.link_to(after)
        at = after
    at.link_to(graph.add("buffersink"))
    graph.configure()
    return graph
