"""calibrations/: kept as they were made, listed, and chosen by name. Their meaning is not known here."""

import json
from pathlib import Path
from typing import Any

from breakyard.disk.atomic import write_once
from breakyard.errors import DataError, UsageError
from breakyard.formats.text import unicode_text
from breakyard.session.files.layout import Layout, composed
from breakyard.session.files.run_files import read_bytes


def list_calibrations(layout: Layout) -> tuple[Path, ...]:
    """All calibration files, by name."""
    if not layout.calibrations.is_dir():
        return ()
    found = (path for path in layout.calibrations.iterdir() if path.suffix == ".json" and path.is_file())
    return tuple(sorted(path for path in found if not path.name.startswith(".")))


def add_calibration(layout: Layout, name: str, text: str) -> Path:
    """Keep a calibration for good; giving the same again changes nothing.

    Raises: DataError if the name is taken by another calibration; UsageError (name).
    """
    path = layout.calibration_file(name)
    write_calibration(path, text)
    return path


def write_calibration(path: Path, text: str) -> None:
    """Write a calibration once; one that differs in the time it was made only is there already.

    So a command that was stopped at its last step can be given again. Raises: DataError for another calibration.
    """
    data = text.encode()
    if path.exists() and _but_for_time(have := read_bytes(path)) == _but_for_time(data):
        data = have
    write_once(path, data)


def _but_for_time(data: bytes) -> Any:
    """The document without what changes when it is made again; what is none is not equal to anything."""
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return object()
    if not isinstance(document, dict):
        return object()
    return {name: value for name, value in document.items() if name not in ("created", "hash")}


def choose_calibration(layout: Layout, name: str | None = None) -> Path:
    """The calibration of that name (with or without ".json"), or the only one there is.

    Raises: UsageError if none or more than one fits.
    """
    found = list_calibrations(layout)
    names = ", ".join(path.stem for path in found)
    if not found:
        raise UsageError(
            f"{layout.calibrations}: there is no calibration; record known masses (breakyard record --now), then: "
            "breakyard calibrate"
        )
    if name is not None:
        fitting = [path for path in found if composed(name) in (composed(path.stem), composed(path.name))]
        if not fitting:
            raise UsageError(f'{layout.calibrations}: no calibration "{name}"; there is {names}')
        return fitting[0]
    if len(found) > 1:
        raise UsageError(
            f"{layout.calibrations}: there are several calibrations ({names}); name one with --calibration, "
            f'or for all by calibration = "..." in session.toml'
        )
    return found[0]


def read_calibration(path: Path) -> str:
    """The text of a calibration file. Raises: DataError."""
    try:
        return unicode_text(read_bytes(path))
    except UnicodeDecodeError:
        raise DataError(f"{path}: this is not a calibration (no UTF-8 text)") from None
