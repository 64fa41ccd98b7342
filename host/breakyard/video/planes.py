"""Drawing straight into the planes of a yuv420p frame: brightness Y at full size, colours U and V at half.

A wash is a colour laid over a rectangle through a mask. Positions and sizes are even, so that the colours' pixels fall
on whole ones. Masks are parts of 256: (old * (256 - m) + new * m) >> 8 stays within 16 bits.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from av.video.frame import VideoFrame
    from PIL.Image import Image

Bytes = NDArray[np.uint8]
Parts = NDArray[np.uint16]
Floats = NDArray[np.float64]

WHOLE: Final = 256

_KR, _KB = 0.2126, 0.0722
"""ITU-R BT.709-6, item 3.2: brightness of red and blue."""


@dataclass(frozen=True, slots=True)
class Colour:
    """A colour as BT.709 in limited range (item 4.6: 16 to 235, and 16 to 240 around 128)."""

    y: int
    u: int
    v: int


@lru_cache(maxsize=64)
def colour(text: str) -> Colour:
    """A colour written as #RRGGBB."""
    red, green, blue = (int(text[at : at + 2], 16) / 255.0 for at in (1, 3, 5))
    bright = _KR * red + (1.0 - _KR - _KB) * green + _KB * blue
    u, v = (blue - bright) / (2.0 - 2.0 * _KB), (red - bright) / (2.0 - 2.0 * _KR)
    return Colour(round(16.0 + 219.0 * bright), round(128.0 + 224.0 * u), round(128.0 + 224.0 * v))


@dataclass(frozen=True, slots=True)
class Planes:
    """The three planes of a frame as arrays that can be written: (h, w), and (h / 2, w / 2) twice."""

    y: Bytes
    u: Bytes
    v: Bytes

    @property
    def size(self) -> tuple[int, int]:
        """Width and height."""
        return self.y.shape[1], self.y.shape[0]

    def fill(self, shade: Colour) -> None:
        """Make everything one colour."""
        self.y[:], self.u[:], self.v[:] = shade.y, shade.u, shade.v


def planes_of(frame: "VideoFrame") -> Planes:
    """The planes of a yuv420p frame that nobody else holds."""
    found = []
    for plane in frame.planes:
        whole = np.frombuffer(plane, np.uint8)  # type: ignore[call-overload]
        rows = whole[: plane.height * plane.line_size].reshape(plane.height, plane.line_size)
        found.append(rows[:, : plane.width])
    return Planes(*found)


@dataclass(frozen=True, slots=True)
class Stamp:
    """A mask at both resolutions, of even size."""

    full: Parts
    half: Parts

    @property
    def width(self) -> int:
        """In pixels of brightness."""
        return int(self.full.shape[1])

    @property
    def height(self) -> int:
        """In pixels of brightness."""
        return int(self.full.shape[0])


def stamp(mask: Bytes) -> Stamp:
    """Make a stamp of a mask (h, w), 0 to 255; an odd edge gets an empty row or column."""
    height, width = mask.shape
    padded = np.zeros((height + height % 2, width + width % 2))
    padded[:height, :width] = mask
    padded *= WHOLE / 255.0
    blocks = padded.reshape(padded.shape[0] // 2, 2, padded.shape[1] // 2, 2)
    return Stamp(np.round(padded).astype(np.uint16), np.round(blocks.mean(axis=(1, 3))).astype(np.uint16))


def press(planes: Planes, made: Stamp, x: int, y: int, shade: Colour) -> None:
    """Lay a colour over a frame through a stamp whose corner is at (x, y); what lies outside is cut off."""
    x, y = x - x % 2, y - y % 2
    width, height = planes.size
    left, top = max(0, -x), max(0, -y)
    right, bottom = min(made.width, width - x), min(made.height, height - y)
    if right <= left or bottom <= top:
        return
    _lay(planes.y[y + top : y + bottom, x + left : x + right], made.full[top:bottom, left:right], shade.y)
    rows, columns = slice(top // 2, bottom // 2), slice(left // 2, right // 2)
    at = (slice((y + top) // 2, (y + bottom) // 2), slice((x + left) // 2, (x + right) // 2))
    half = made.half[rows, columns]
    _lay(planes.u[at], half, shade.u)
    _lay(planes.v[at], half, shade.v)


def _lay(old: Bytes, mask: Parts, new: int) -> None:
    old[:] = (old * (WHOLE - mask) + mask * np.uint16(new)) >> 8


class Washes:
    """Many washes one over the other, put together once, and then laid over each frame in one go."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width + width % 2, height + height % 2
        halves = (self.height // 2, self.width // 2)
        self._through: Sequence[Floats] = (np.ones((self.height, self.width)), np.ones(halves))
        self._add: Sequence[Floats] = (
            np.zeros((self.height, self.width)),
            np.zeros(halves),
            np.zeros(halves),
        )
        self._ready: tuple[Sequence[Parts], Sequence[Parts]] | None = None

    def wash(self, made: Stamp, x: int, y: int, shade: Colour, opacity: float = 1.0) -> None:
        """Add a colour through a stamp at (x, y) of the board."""
        x, y = x - x % 2, y - y % 2
        for plane, (value, mask, step) in enumerate(
            ((shade.y, made.full, 1), (shade.u, made.half, 2), (shade.v, made.half, 2))
        ):
            through = self._through[min(plane, 1)]
            rows = slice(y // step, min(y // step + mask.shape[0], through.shape[0]))
            columns = slice(x // step, min(x // step + mask.shape[1], through.shape[1]))
            part = mask[: rows.stop - rows.start, : columns.stop - columns.start] * (opacity / WHOLE)
            self._add[plane][rows, columns] = self._add[plane][rows, columns] * (1.0 - part) + value * part
            if plane != 1:  # the two colours share what shines through: it changes once, after both
                through[rows, columns] *= 1.0 - part
        self._ready = None

    def lay(self, planes: Planes, x: int, y: int) -> None:
        """Lay everything over a frame, the corner at (x, y), both even and the board inside the frame."""
        if self._ready is None:
            self._ready = (
                [np.round(part * WHOLE).astype(np.uint16) for part in self._through],
                [np.round(part * WHOLE).astype(np.uint16) for part in self._add],
            )
        through, add = self._ready
        for plane, values in enumerate((planes.y, planes.u, planes.v)):
            step = 1 if plane == 0 else 2
            at = (
                slice(y // step, (y + self.height) // step),
                slice(x // step, (x + self.width) // step),
            )
            values[at] = (values[at] * through[min(plane, 1)] + add[plane]) >> 8


def picture_of(frame: "VideoFrame") -> "Image":
    """The frame as a picture of Pillow's, in RGB."""
    made: Image = frame.to_image()  # type: ignore[no-untyped-call]
    return made
