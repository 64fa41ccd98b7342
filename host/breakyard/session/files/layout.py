"""Where things lie in a session folder, and which names may be used there.

Every path is made here from a checked name, so that no name (typed, read from a file or sent by a
logger) leads out of the folder, and every name also works on the disks of other systems.
"""

import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from breakyard.errors import UsageError

SESSION_FILE: Final = "session.toml"
PART: Final = ".part"
"""Ending of a run file that is not complete yet."""
FILES_FILE: Final = "FILES.txt"
"""Tells whoever opens the folder what is in it."""
FOLDERS: Final = ("runs", "calibrations", "checks", "responses", "photos", "results")
"""Folders of a session."""
LONGEST_NAME: Final = 100
"""Characters; with an extension this stays below the 255 bytes that file systems take."""

_ALLOWED: Final = re.compile(r"[^\W_](?:[\w .+()-]*[\w+()])?")
_RESERVED: Final = re.compile(
    r"(?:con|conin\$|conout\$|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])\s*(?:\..*)?", re.IGNORECASE
)
"""Names that are devices under Windows, whatever follows the dot (learn.microsoft.com, "Naming Files, Paths, and
Namespaces": the superscripts are digits there; blanks before the dot are dropped)."""
_NOWHERE: Final = re.compile(r'[<>:"|?*\\\x00-\x1f]')
"""Signs that Windows takes in no name (the same page)."""


def safe_name(name: str, what: str = "name") -> str:
    """Return the name, normalised, if it can safely name a file on any system.

    Raises: UsageError, which says what is allowed.
    """
    cleaned = unicodedata.normalize("NFC", name)
    if (
        not _ALLOWED.fullmatch(cleaned)
        or _RESERVED.fullmatch(cleaned)
        or len(cleaned.encode()) > LONGEST_NAME
        or "\n" in cleaned
    ):
        raise UsageError(
            f"{what} {_shown(name)} cannot name a file; use letters, digits, blanks and . _ - + ( ), "
            f"beginning with a letter or digit, at most {LONGEST_NAME} bytes"
        )
    return cleaned


def portable_name(name: str) -> str:
    """The name of a person's file as every system takes it; unchanged wherever that is so already."""
    kept = _NOWHERE.sub("-", name).rstrip(" .") or "-"
    return f"_{kept}" if _RESERVED.fullmatch(kept) else kept


def composed(text: str) -> str:
    """The text with its letters put together (NFC), as people's tables have them."""
    return unicodedata.normalize("NFC", text)


def legible(name: str) -> str:
    """The name of a file as text: bytes that are no UTF-8 become a replacement sign, so that it can be written."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def spelled(name: str) -> str:
    """The name of a file as text that tells it from every other: bytes that are no UTF-8 as %FF."""
    return "".join(f"%{ord(sign) - 0xDC00:02X}" if 0xDC80 <= ord(sign) <= 0xDCFF else sign for sign in name)


def as_on_disk(path: Path) -> Path:
    """The path, or the file beside it whose name has the same letters: a Mac may have taken them apart (NFD)."""
    if not path.exists() and path.parent.is_dir():
        for other in path.parent.iterdir():
            if composed(other.name) == path.name:
                return other
    return path


def name_from(text: str) -> str:
    """Make a safe name from any text ("Deck, bonded #1" -> "Deck-bonded-1"); "unnamed" if nothing is left."""
    cleaned = re.sub(r"[^\w.+()-]+", "-", unicodedata.normalize("NFC", text))
    cleaned = re.sub(r"-{2,}", "-", cleaned).strip("-._+()")
    while len(cleaned.encode()) > LONGEST_NAME:
        cleaned = cleaned[:-1].rstrip("-._+()")
    if not cleaned or _RESERVED.fullmatch(cleaned):
        return "unnamed"
    return cleaned


def _shown(name: str) -> str:
    return ascii(name if len(name) <= 60 else name[:57] + "...")


@dataclass(frozen=True, slots=True)
class Layout:
    """The paths of one session folder; nothing here touches the disk."""

    root: Path

    @property
    def session_file(self) -> Path:
        """Place, unit, rig and logger."""
        return self.root / SESSION_FILE

    @property
    def specimens_file(self) -> Path:
        """The table of specimens."""
        return self.root / "specimens.csv"

    @property
    def calibrations(self) -> Path:
        """Folder of calibrations."""
        return self.root / "calibrations"

    @property
    def checks(self) -> Path:
        """Folder of check weighings, one table per logger."""
        return self.root / "checks"

    @property
    def runs(self) -> Path:
        """Folder of raw records, originals and notes."""
        return self.root / "runs"

    @property
    def results(self) -> Path:
        """Folder of everything that can be computed again."""
        return self.root / "results"

    def run_file(self, name: str) -> Path:
        """Raw records of a run. Raises: UsageError."""
        return self.runs / f"{safe_name(name, 'the run name')}.run"

    def original_file(self, name: str) -> Path:
        """The original of an imported recording. Raises: UsageError."""
        return self.runs / f"{safe_name(name, 'the run name')}.csv"

    def notes_file(self, name: str) -> Path:
        """What people add to a run. Raises: UsageError."""
        return self.runs / f"{safe_name(name, 'the run name')}.toml"

    def calibration_file(self, name: str) -> Path:
        """One calibration. Raises: UsageError."""
        return self.calibrations / f"{safe_name(name, 'the calibration name')}.json"

    def result_file(self, name: str) -> Path:
        """One derived file, name with its extension. Raises: UsageError."""
        return self.results / safe_name(name, "the result name")


def find_root(start: Path) -> Path | None:
    """The session that a path lies in, which need not exist: in its folder, or in one of those that belong to it.

    What lies in another folder inside a session (a copy without its session.toml, say) is not the session's.
    Raises: UsageError for such a folder itself.
    """
    root = session_above(start)
    inside = () if root is None else start.absolute().relative_to(root).parts
    if inside and inside[0] not in FOLDERS and (len(inside) > 1 or start.is_dir()):
        if start.is_dir():
            raise UsageError(
                f"{start}: no {SESSION_FILE} here; it lies inside the session {root}, but is none of its folders: "
                "name the session that is meant, or make this folder one with: breakyard new"
            )
        return None
    return root


def session_above(start: Path) -> Path | None:
    """The nearest folder at or above a path that holds a session file; the path itself need not exist."""
    start = start.absolute()
    for folder in (start, *start.parents):
        if (folder / SESSION_FILE).is_file():
            return folder
    return None


def run_name(serial: bytes, run: int) -> str:
    """The name of a run's file as long as nobody has given it one."""
    return f"logger-{serial[-4:].hex()}-run-{run}"
