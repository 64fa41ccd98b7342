"""photos/SPECIMEN/: pictures of specimens, kept without the place, the time and the camera that a file tells of."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from breakyard.disk.atomic import remove_drafts, write_once
from breakyard.errors import DataError, UsageError
from breakyard.session.files.layout import name_from

if TYPE_CHECKING:
    from PIL import Image

    from breakyard.report.page.content import Photo
    from breakyard.session.session import Session

FOLDER: Final = "photos"
ENDINGS: Final = (".jpg", ".jpeg", ".png")
MOST_PIXELS: Final = 3000
"""Longer pictures are made smaller: no page or print shows more."""
PAGE_PIXELS: Final = 800
"""Of a picture in a report, on its longer side: sharp on a phone, and a page of twenty stays below 3 MB."""
PAGE_QUALITY: Final = 75
QUALITY: Final = 88
"""Of the JPEG files that are kept, on Pillow's scale of 0 to 95. Common practice, no source."""


def add_photo(session: "Session", specimen: str, picture: Path | bytes) -> Path:
    """Keep a copy of a picture (a file, or what is in one), upright and without any of its metadata.

    Raises: UsageError (no such specimen), DataError (no picture, or of a kind that is not read).
    """
    known = [one.id for one in session.specimens()] + [pull.specimen for pull in session.pulls]
    if specimen not in known:
        there = ", ".join(dict.fromkeys(name for name in known if name)) or "none yet"
        raise UsageError(f'{session.layout.specimens_file}: no specimen "{specimen}"; there is {there}')
    data = bare(picture)
    folder = session.root / FOLDER / name_from(specimen)
    taken = photos_of(session, specimen)
    for path in taken:
        if path.read_bytes() == data:
            remove_drafts(folder)  # the command that kept it may have been stopped right then
            return path
    number = 1
    while (folder / f"{number}.jpg").exists():
        number += 1
    path = folder / f"{number}.jpg"
    write_once(path, data)
    return path


def photos_of(session: "Session", specimen: str) -> tuple[Path, ...]:
    """The pictures of a specimen, in the order they were added."""
    folder = session.root / FOLDER / name_from(specimen)
    if not specimen or not folder.is_dir():
        return ()
    found = [
        path for path in folder.iterdir() if path.suffix.lower() in ENDINGS and not path.name.startswith(".")
    ]
    return tuple(sorted(found, key=lambda path: (len(path.stem), path.stem)))


def for_page(session: "Session", specimen: str, named: Sequence[str]) -> "tuple[Photo, ...]":
    """The pictures of one pull for a page: those its notes name and those kept for its specimen, small and bare.

    A name is looked for beside the notes, in the session's folder and in photos/; one that is not there, or cannot be
    read, comes with the reason.
    """
    from breakyard.report.page.content import Photo

    found: list[Photo] = []
    kept = photos_of(session, specimen)
    places = (session.layout.runs, session.root, session.root / FOLDER)
    for name in named:
        inside = [
            place / name
            for place in places
            if (place / name).is_file() and (place / name).resolve().is_relative_to(session.root.resolve())
        ]
        if not inside:
            problem = "not found beside the notes, in the session's folder or in its photos/"
            found.append(Photo(name, problem=problem))
        elif not any(path.samefile(inside[0]) for path in kept):
            found.append(_small(name, inside[0]))
    return (*found, *(_small(path.name, path) for path in kept))


def _small(name: str, path: Path) -> "Photo":
    from PIL import Image

    from breakyard.report.page.content import Photo

    try:
        with Image.open(io.BytesIO(bare(path))) as opened:
            opened.thumbnail((PAGE_PIXELS, PAGE_PIXELS))
            out = io.BytesIO()
            opened.convert("RGB").save(out, "JPEG", quality=PAGE_QUALITY)
    except DataError as error:
        return Photo(name, problem=str(error).removeprefix(f"{path}: "))
    return Photo(name, out.getvalue())


def bare(picture: Path | bytes) -> bytes:
    """A picture as JPEG: turned upright, at most MOST_PIXELS long, nothing in it but the pixels.

    One that is already so comes back as it is. A position (GPS), times and the camera's number lie in EXIF, XMP and
    IPTC blocks, none of which is copied.
    Raises: DataError.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    called = "the photo" if isinstance(picture, bytes) else picture
    try:
        data = picture if isinstance(picture, bytes) else picture.read_bytes()
        with Image.open(io.BytesIO(data)) as opened:
            if opened.format == "JPEG" and max(opened.size) <= MOST_PIXELS and not _told(opened):
                return data
            upright = ImageOps.exif_transpose(opened)
            upright.thumbnail((MOST_PIXELS, MOST_PIXELS))
            pixels = Image.new("RGB", upright.size, "white")
            clear = upright.convert("RGBA")
            pixels.paste(clear, mask=clear.getchannel("A"))
    except FileNotFoundError:
        raise DataError(f"{called}: there is no such file") from None
    except UnidentifiedImageError:
        raise DataError(f"{called}: this is no picture that is read here; save it as JPEG or PNG") from None
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise DataError(f"{called}: the picture cannot be read ({error})") from None
    out = io.BytesIO()
    pixels.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()


def _told(picture: "Image.Image") -> bool:
    """Whether a JPEG file holds anything besides its pixels and how dense they are."""
    return bool(picture.getexif()) or bool(
        set(picture.info) - {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi"}
    )
