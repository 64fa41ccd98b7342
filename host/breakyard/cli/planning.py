"""What the commands before the pull share: options that name themselves in errors, and saving a picture."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from breakyard.errors import UnitError, UsageError

if TYPE_CHECKING:
    from breakyard.report.figures.style import Picture

T = TypeVar("T")


def option(name: str, parse: Callable[[str], T], text: str) -> T:
    """Read an option; what is wrong with it is said with its name. Raises: UnitError, UsageError."""
    try:
        return parse(text)
    except (UnitError, UsageError) as error:
        raise type(error)(f"{name}: {error}") from None


def save_picture(picture: "Picture", path: Path) -> None:
    """Write a picture as its file's ending says. Raises: UsageError (another ending), DataError (disk)."""
    from breakyard.session.files.atomic import write_atomically

    ending = path.suffix.lower()
    if ending not in (".png", ".svg"):
        raise UsageError(f"{path}: a picture is written as .png or .svg")
    write_atomically(path, picture.svg() if ending == ".svg" else picture.png())
