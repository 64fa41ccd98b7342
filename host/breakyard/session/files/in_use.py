"""checks/LOGGER.in_use.json: what remounts and a long hold showed of a cell in use.

It belongs to the logger and its cell, not to the day: one that was measured in a session beside this one counts too.
"""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from breakyard.disk.alone import alone_with
from breakyard.disk.atomic import write_atomically
from breakyard.errors import DataError
from breakyard.session.files.checks import FOLDER
from breakyard.session.files.layout import SESSION_FILE, name_from

SCHEMA: Final = "breakyard.in_use/1"
ENDING: Final = ".in_use.json"


def in_use_file(folder: Path, logger: str) -> Path:
    """Where a session (or the folder of a recording) keeps it."""
    return folder / FOLDER / f"{name_from(logger or 'unknown')}{ENDING}"


def visible(folder: Path) -> tuple[Path, ...]:
    """Every such document for recordings in this folder: its own, then those of sessions beside it."""
    found = sorted((folder / FOLDER).glob(f"*{ENDING}"))
    if (folder / SESSION_FILE).is_file():
        for path in sorted(folder.parent.glob(f"*/{FOLDER}/*{ENDING}")):
            beside = path.parent.parent
            if beside != folder and (beside / SESSION_FILE).is_file():
                found.append(path)
    return tuple(found)


def read_in_use(path: Path) -> dict[str, Any]:
    """The document; no file is an empty one. Raises: DataError for what is none."""
    if not path.exists():
        return {}
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(document, Mapping) or document.get("schema") != SCHEMA:
            raise ValueError("no such schema")
        for part, names in (("remount", ("standard", "freedom")), ("hold", ("share",))):
            for name in names:
                value = document.get(part, {}).get(name, 1.0)
                if not (isinstance(value, int | float) and math.isfinite(value) and value >= 0.0):
                    raise ValueError(f"{part}.{name}")
    except OSError as error:
        raise DataError(f"{path}: cannot be read ({error.strerror or error})") from error
    except (ValueError, AttributeError, RecursionError) as error:
        raise DataError(
            f"{path}: this does not say how a cell behaves in use ({error}); measure it again"
        ) from None
    return dict(document)


def keep_in_use(path: Path, part: str, values: Mapping[str, Any], *, logger: str) -> dict[str, Any]:
    """Write one part ("remount" or "hold") into the document, beside the other. Raises: DataError."""
    with alone_with(path):
        document = read_in_use(path) | {"schema": SCHEMA, "logger": logger, part: dict(values)}
        write_atomically(path, (json.dumps(document, indent=1) + "\n").encode())
    return document


def find_in_use(folder: Path, logger: str) -> dict[str, Any]:
    """What is known of a logger's cell: the folder's own, else that of a session beside it; empty for nothing.

    Raises: DataError if the document is damaged.
    """
    name = in_use_file(folder, logger).name
    paths = [path for path in visible(folder) if path.name == name]
    own = [path for path in paths if path.parent.parent == folder]
    return read_in_use((own or paths)[0]) if paths else {}
