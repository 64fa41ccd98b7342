"""The key of a freshly installed logger, over the cable: kept if there is one, else drawn.

It never stands in a text file. The logger keeps it in a file of its own beside the runs, which no installation touches.
"""

import string
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

from breakyard.device.client.auth import KEY_SIZE, NO_KEY, SealedSession, checked_key, new_key
from breakyard.device.client.client import Client, Refused
from breakyard.errors import DataError, UsageError, WrongLogger
from breakyard.wire.layout import Access, Command, Error

AUTO: Final = "auto"
NEW: Final = "new"
NONE: Final = "none"


class KeyState(StrEnum):
    """What the logger has after the installation."""

    NEW = "new"
    KEPT = "kept"
    UNKNOWN = "unknown"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class KeyOutcome:
    """`key` is None where this computer knows none, or needs to know none."""

    state: KeyState
    key: bytes | None


def wanted_key(choice: str) -> bytes | None:
    """The key that a choice other than AUTO names: a new one, NO_KEY, or that of a file; None for AUTO.

    Raises: UsageError for a key on the command line, where others could read it; DataError for a file without one.
    """
    if choice == AUTO:
        return None
    if choice == NEW:
        return new_key()
    if choice == NONE:
        return NO_KEY
    if len(choice) == 2 * KEY_SIZE and all(letter in string.hexdigits for letter in choice):
        raise UsageError(
            "--key: a key on the command line can be read by others; put it into a file and name that"
        )
    path = Path(choice)
    if not path.is_file():
        raise UsageError(
            f"--key {choice}: say {AUTO}, {NEW}, {NONE}, or a file with {2 * KEY_SIZE} hex digits"
        )
    try:
        return checked_key(bytes.fromhex(path.read_text(encoding="ascii").strip()))
    except (UnicodeError, ValueError, UsageError) as error:
        raise DataError(f"{path}: not a key of {2 * KEY_SIZE} hex digits") from error


async def settle_key(client: Client, wanted: bytes | None, known: bytes | None, access: Access) -> KeyOutcome:
    """Give the logger the key that is wanted; with None keep the one it has, or draw one. Raises: LinkError."""
    if wanted is None:
        session = SealedSession(known if known is not None else new_key())
        try:
            answer = await client.ask(Command.CHALLENGE, host_nonce=session.host_nonce)
        except Refused as refused:
            if refused.error != Error.BAD_STATE:
                raise
            wanted = new_key()  # it has none
        else:
            nonce, proof = answer["nonce"], answer["proof"]
            assert isinstance(nonce, bytes)
            assert isinstance(proof, bytes)
            try:
                session.begin(nonce, proof)
            except WrongLogger:
                return KeyOutcome(KeyState.UNKNOWN, None)
            return KeyOutcome(KeyState.KEPT, known)
    await client.set_key(wanted, access)
    return KeyOutcome(KeyState.NONE, None) if wanted == NO_KEY else KeyOutcome(KeyState.NEW, wanted)
