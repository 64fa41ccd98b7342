"""The page's own files: host/page in a checkout, beside the code in an installed package. Read once, by no request."""

import re
from pathlib import Path
from typing import Final

from breakyard.disk.folders import finish_folder, replace_folder, strangers
from breakyard.document import sha256_of
from breakyard.errors import DataError, UsageError

TYPES: Final = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".mjs": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
"""What a page consists of, by ending; nothing else is served or written."""

COMPUTER_MARK: Final = b'<meta name="breakyard-computer" content="socket">\n</head>'
"""Put into the page that this computer serves: it tells the page to talk to the computer."""

HOSTING: Final = """Put this folder on any web space that is reached by https, and open its address once on the phone
while there is a network.

From then on the page starts without one. To have it among the apps: in Chrome the menu, "Add to home screen" (the words
differ from browser to browser).

On this computer alone: python3 -m http.server --bind 127.0.0.1 --directory THIS-FOLDER, then http://localhost:8000
A page from another address than https or localhost may not use Bluetooth, and on an iPhone no page may: there the page
comes from a computer near by (breakyard field SESSION).
"""


WORKER: Final = "sw.mjs"
VERSION_MARK: Final = b'VERSION = "1"'
"""In the service worker. A phone keeps the page until the worker's bytes change, so they follow those of the page."""


def page_folder() -> Path:
    """The folder with the page. Raises: UsageError when this installation has none."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_page", package.parent / "page"):
        if (folder / "index.html").is_file():
            return folder
    raise UsageError("the field page is missing from this installation; install breakyard again")


def page_files() -> dict[str, tuple[str, bytes]]:
    """Type and content of each file by its path in the page, "/" for the page itself, as this computer serves it."""
    folder = page_folder()
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.suffix in TYPES and path.is_file() and path.name != WORKER:
            found["/" + path.relative_to(folder).as_posix()] = (TYPES[path.suffix], path.read_bytes())
    kind, page = found.pop("/index.html")
    return found | {"/": (kind, page.replace(b"</head>", COMPUTER_MARK, 1))}


def _version_of(files: list[Path]) -> bytes:
    """Changes when any file of the page does."""
    return sha256_of(b"".join(path.read_bytes() for path in files))[:16].encode()


def _kept_by(worker: Path) -> list[str]:
    """The files that an earlier page's service worker names."""
    try:
        return re.findall(r'"([^"\n]+)"', worker.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []


def write_site(into: Path) -> list[Path]:
    """Write the page as a site for any https place, with a file that says how; one that was written before is replaced.

    Raises: UsageError, DataError.
    """
    finish_folder(into)
    if into.exists() and not into.is_dir():
        raise UsageError(f"{into}: this is a file; name a new folder")
    folder = page_folder()
    paths = [path for path in sorted(folder.rglob("*")) if path.suffix in TYPES and path.is_file()]
    files = {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}
    files[WORKER] = files[WORKER].replace(VERSION_MARK, b'VERSION = "%s"' % _version_of(paths))
    files["HOSTING.txt"] = HOSTING.encode()
    if into.exists() and (other := strangers(into, {*files, *_kept_by(into / WORKER)})):
        raise UsageError(f"{into}: {other[0]} is there, which is no part of the page; name a new folder")
    try:
        replace_folder(into, files)
    except OSError as error:
        raise DataError(f"{into}: cannot be written ({error.strerror or error})") from error
    return [into / name for name in files]
