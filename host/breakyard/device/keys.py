"""The keys of loggers that this computer knows."""

import json
import os
from pathlib import Path
from typing import Final

from breakyard.disk.alone import alone_with
from breakyard.disk.atomic import write_atomically
from breakyard.errors import DataError, LinkError

KEYS_VARIABLE: Final = "BREAKYARD_KEYS"

_ADVERTISED: Final = 8
"""Hex digits of a serial number that an advertised name ends with."""


def keys_file() -> Path:
    """Where the keys of loggers are kept: $BREAKYARD_KEYS, or a file in the user's folder of settings."""
    named = os.environ.get(KEYS_VARIABLE)
    return Path(named) if named else Path.home() / ".config" / "breakyard" / "keys.json"


def read_keys() -> dict[str, bytes]:
    """The known keys by serial number in hex. Raises: DataError if the file is broken."""
    path = keys_file()
    if not path.exists():
        return {}
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        return {str(serial): bytes.fromhex(key) for serial, key in data.items()}
    except (OSError, ValueError, AttributeError, TypeError, RecursionError) as error:
        raise DataError(f"{path}: cannot be read as a file of keys ({error}); set the key again") from error


def keep_key(serial: str, key: bytes | None) -> Path:
    """Keep the key of a logger, or forget it; nobody else may read the file. Raises: DataError."""
    path = keys_file()
    # Another command may be keeping a key just now; its key must not be lost.
    with alone_with(path):
        keys = {name: known.hex() for name, known in read_keys().items() if name != serial}
        if key is not None:
            keys[serial] = key.hex()
        write_atomically(path, json.dumps(keys, indent=1).encode(), private=True)
    return path


def known_key(serial: str, advertised_end: str = "") -> bytes | None:
    """The key kept for a logger that was met by radio, None if none is.

    Who wants to pass for a known logger must claim its whole number, and then prove that he has its key.

    Raises: LinkError for one that claims a part of it; DataError.
    """
    keys = read_keys()
    if advertised_end and not serial.endswith(advertised_end):
        raise LinkError(
            f"it advertises as {advertised_end} and says that it is {serial}; not one of ours: move on"
        )
    if serial not in keys and any(known.endswith(serial[-_ADVERTISED:]) for known in keys):
        raise LinkError(
            f"logger {serial} looks like one whose key is kept here, but is another; if it is yours, set its key"
        )
    return keys.get(serial)
