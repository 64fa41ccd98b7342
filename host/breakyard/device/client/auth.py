"""The host's side of the seals of protocol/SPEC.md, section 12: sessions under a key, and commands sealed in them."""

import hashlib
import hmac
import secrets
import struct
from dataclasses import dataclass, field
from typing import Final

from breakyard.errors import UsageError, WrongLogger
from breakyard.wire.layout import Command

KEY_SIZE: Final = 32
NONCE_SIZE: Final = 32
NO_KEY: Final = bytes(KEY_SIZE)

OPEN_COMMANDS: Final = frozenset((Command.CHALLENGE, Command.SET_KEY))
"""Never sealed: the challenge itself, and what a cable alone may do. HELLO is sealed once that is possible."""


def _hmac(key: bytes, message: bytes) -> bytes:
    return hmac.new(key, message, hashlib.sha256).digest()


def new_key() -> bytes:
    """Draw a key."""
    return secrets.token_bytes(KEY_SIZE)


def key_id(key: bytes) -> bytes:
    """Eight bytes that tell keys apart and betray none."""
    return _hmac(key, b"breakyard key id")[:8]


def checked_key(key: bytes) -> bytes:
    """Return the key. Raises: UsageError unless it is one."""
    if len(key) != KEY_SIZE or key == NO_KEY:
        raise UsageError(
            f"a key has {KEY_SIZE} bytes, {2 * KEY_SIZE} hex digits, and is not zero; this is none"
        )
    return key


@dataclass
class SealedSession:
    """One session: begun with the logger's nonce and proof, it seals commands with a counter that only grows."""

    key: bytes
    host_nonce: bytes = field(default_factory=lambda: secrets.token_bytes(NONCE_SIZE))
    session_key: bytes = b""
    counter: int = 0

    def begin(self, nonce: bytes, proof: bytes) -> None:
        """Take the logger's answer to CHALLENGE. Raises: WrongLogger if it does not have the key."""
        self.session_key = _hmac(checked_key(self.key), b"breakyard session" + nonce + self.host_nonce)
        if not hmac.compare_digest(_hmac(self.session_key, b"logger"), proof):
            self.session_key = b""
            raise WrongLogger(
                "the logger has another key; set it again over the cable, or is this another logger?"
            )

    def seal(self, command: Command, arguments: bytes) -> bytes | None:
        """The arguments of SEALED in the place of a command, or None for one that is sent open.

        Raises: WrongLogger if the session has not begun: who has a key says nothing in the open (SPEC.md, section 12).
        """
        if command in OPEN_COMMANDS or (command == Command.HELLO and not self.session_key):
            return None
        if not self.session_key:
            raise WrongLogger(
                "the logger did not show that it has the key; nothing is said to it in the open"
            )
        self.counter += 1
        counter = struct.pack("<I", self.counter)
        sealed = bytes([command]) + arguments
        return counter + _hmac(self.session_key, b"command" + counter + sealed) + sealed
