"""Pictures as files."""

from pathlib import Path
from typing import TYPE_CHECKING

from breakyard.disk.atomic import write_atomically
from breakyard.errors import UsageError

if TYPE_CHECKING:
    from breakyard.report.figures.style import FigurePicture


def save_picture(picture: "FigurePicture", path: Path) -> None:
    """Write a picture as its file's ending says. Raises: UsageError (another ending), DataError (disk)."""
    ending = path.suffix.lower()
    if ending not in (".png", ".svg"):
        raise UsageError(f"{path}: a picture is written as .png or .svg")
    write_atomically(path, picture.svg() if ending == ".svg" else picture.png())
