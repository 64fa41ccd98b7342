"""Who may do what over a link that anyone can open: HMAC-SHA256 challenge, counters, and what is open without.

A host asks for a challenge and gets a nonce that was never used before and never will be: it holds the number
of this start, kept in the store for secrets, and the number of the challenge. From key and nonces both sides
make the key of a session. Each command that needs it is sealed with a counter that only grows and an HMAC under
that key. So nothing that was overheard works again, not even after a restart. The key itself is set over a
cable and never sent over the air.

Wrong seals are slowed down: for a while nothing sealed is looked at, over this link or another of its kind.
"""

from binascii import crc32
from hashlib import sha256
from struct import pack, pack_into, unpack_from

from micropython import const

from . import layout
from .timebase import elapsed_ms

KEY_BYTES = const(32)
SEAL_BYTES = const(36)  # counter and tag before the sealed command

FIRST_DELAY_MS = const(250)
LONGEST_DELAY_MS = const(4000)

_BLOCK = const(64)
_SAVED = const(38)  # u8 form, u32 starts, u8 access, key
_FORM = const(1)
_RANDOM_BYTES = const(24)
_NO_KEY = bytes(KEY_BYTES)


def hmac_sha256(key: bytes, message: bytes) -> bytes:
    """RFC 2104 with SHA-256."""
    if len(key) > _BLOCK:
        key = sha256(key).digest()
    pad = bytearray(_BLOCK)
    for i in range(_BLOCK):
        pad[i] = (key[i] if i < len(key) else 0) ^ 0x36
    inner = sha256(pad)
    inner.update(message)
    for i in range(_BLOCK):
        pad[i] ^= 0x36 ^ 0x5C
    outer = sha256(pad)
    outer.update(inner.digest())
    digest: bytes = outer.digest()
    return digest


def same(one: bytes, other: bytes) -> bool:
    """Compare without telling by the time it takes where they differ."""
    difference = len(one) ^ len(other)
    for i in range(min(len(one), len(other))):
        difference |= one[i] ^ other[i]
    return difference == 0


def session_key(key: bytes, nonce: bytes, host_nonce: bytes) -> bytes:
    """The key of one session."""
    return hmac_sha256(key, b"breakyard session" + nonce + host_nonce)


def proof(session: bytes) -> bytes:
    """What shows the host that the logger has the key too."""
    return hmac_sha256(session, b"logger")


def tag(session: bytes, counter: int, sealed: bytes) -> bytes:
    """The seal of a command: its number and arguments."""
    return hmac_sha256(session, b"command" + pack("<I", counter) + sealed)


def key_id(key: bytes) -> bytes:
    """Eight bytes that tell keys apart and betray none."""
    return hmac_sha256(key, b"breakyard key id")[:8]


class MemorySecrets:
    """Secrets that are lost with the power: for tests, and for boards that cannot keep any."""

    def __init__(self) -> None:
        self.data = b""

    def load(self) -> bytes:
        """What was saved last, or nothing."""
        return self.data

    def save(self, data: bytes) -> bool:
        """Replace it whole; False when that failed."""
        self.data = data
        return True


class Keys:
    """The logger's key, what is open without it, and the count of starts. One for all links.

    `secrets` has load() and save(data); `random(n)` gives n random bytes.
    """

    def __init__(self, secrets, random) -> None:  # type: ignore[no-untyped-def]
        self.key = _NO_KEY
        self.access = layout.ACCESS_STATUS
        self.changes = 0
        self._secrets = secrets
        self._random = random
        drawn = random(4)
        # Where nothing was kept, or it was lost, counting begins anywhere: the same key set again meets no old nonce.
        self._starts = int.from_bytes(drawn, "little") if len(drawn) == 4 else 0
        self._challenges = 0
        self._asked_s = 0
        self._asked_us = 0
        self._wrong = 0
        self._wrong_s = 0
        self._wrong_us = 0
        saved = secrets.load()
        if len(saved) == _SAVED + 4 and unpack_from("<I", saved, _SAVED)[0] == crc32(saved[:_SAVED]):
            form, starts, access = unpack_from("<BIB", saved, 0)
            if form == _FORM and access <= layout.ACCESS_EVERYTHING:
                self._starts = starts
                self.access = access
                self.key = bytes(saved[6:_SAVED])
        self._starts = (self._starts + 1) & 0xFFFFFFFF
        # Without a count of starts that lasts, a nonce might come again.
        self._counted = self._save()

    @property
    def has_key(self) -> bool:
        """False as long as none was set."""
        return self.key != _NO_KEY

    def set(self, key: bytes, access: int) -> bool:
        """Set key and access, and end all sessions; False, and nothing changed, when it cannot be kept."""
        before = (self.key, self.access)
        self.key = key
        self.access = access
        if not self._save():
            self.key, self.access = before
            return False
        self._counted = True
        self.changes += 1
        self._wrong = 0
        return True

    def nonce(self) -> bytes | None:
        """A nonce that never comes again, or None."""
        if not self._counted or not self.has_key or self._challenges == 0xFFFFFFFF:
            return None
        self._challenges += 1
        drawn: bytes = self._random(_RANDOM_BYTES)
        return pack("<II", self._starts, self._challenges) + drawn

    def waits(self, second: int, microsecond: int) -> bool:
        """True for a while after a wrong seal."""
        if not self._wrong:
            return False
        delay = FIRST_DELAY_MS << min(self._wrong - 1, 4)
        return elapsed_ms(second, microsecond, self._wrong_s, self._wrong_us) < min(delay, LONGEST_DELAY_MS)

    def was_wrong(self, second: int, microsecond: int) -> None:
        """Note a wrong seal."""
        self._wrong = min(self._wrong + 1, 1000)
        self._wrong_s = second
        self._wrong_us = microsecond

    def was_right(self) -> None:
        """Note a right one."""
        self._wrong = 0

    def private(self, privacy: int) -> bool:
        """True when strangers are told neither serial number nor name, under that setting."""
        if privacy == layout.PRIVACY_AS_ACCESS:
            return self.has_key and self.access == layout.ACCESS_KEY_ONLY
        return privacy == layout.PRIVACY_PRIVATE

    def asked_too_soon(self, second: int, microsecond: int) -> bool:
        """Note a challenge that is asked for by radio; True when the one before was just now."""
        if (
            self._challenges
            and elapsed_ms(second, microsecond, self._asked_s, self._asked_us) < layout.CHALLENGE_PAUSE
        ):
            return True
        self._asked_s = second
        self._asked_us = microsecond
        return False

    def _save(self) -> bool:
        data = bytearray(_SAVED + 4)
        pack_into("<BIB", data, 0, _FORM, self._starts, self.access)
        data[6:_SAVED] = self.key
        pack_into("<I", data, _SAVED, crc32(memoryview(data)[:_SAVED]))
        return bool(self._secrets.save(bytes(data)))


class Gate:
    """What one link may do. A trusted link, a cable, may do everything and set the key."""

    def __init__(self, keys: Keys, trusted: bool) -> None:
        self.keys = keys
        self.trusted = trusted
        self._session = b""
        self._counter = 0
        self._changes = 0
        self.proven = False  # a right seal has come over this link

    def link_lost(self) -> None:
        """The session ends with the link."""
        self._session = b""
        self.proven = False

    @property
    def may_stay(self) -> bool:
        """False for a link that must show a right seal and has not."""
        keys = self.keys
        return self.trusted or self.proven or not keys.has_key or keys.access == layout.ACCESS_EVERYTHING

    def challenge(self, host_nonce: bytes, second: int, microsecond: int) -> tuple | int:  # type: ignore[type-arg]
        """Begin a session: (nonce, proof), or an ERROR number."""
        keys = self.keys
        if keys.waits(second, microsecond):
            return layout.ERROR_TOO_SOON
        if keys.has_key and not self.trusted and keys.asked_too_soon(second, microsecond):
            return layout.ERROR_TOO_SOON
        nonce = keys.nonce()
        if nonce is None:
            return layout.ERROR_BAD_STATE
        self._session = session_key(keys.key, nonce, host_nonce)
        self._counter = 0
        self._changes = keys.changes
        return nonce, proof(self._session)

    def unseal(self, buffer: bytearray, at: int, end: int, second: int, microsecond: int) -> int:
        """Judge the arguments of SEALED between `at` and `end`; OK, or an ERROR number."""
        keys = self.keys
        if end - at <= SEAL_BYTES:
            return layout.ERROR_BAD_ARGUMENT
        if keys.waits(second, microsecond):
            return layout.ERROR_TOO_SOON
        if not self._session or self._changes != keys.changes:
            return layout.ERROR_NOT_ALLOWED
        counter = unpack_from("<I", buffer, at)[0]
        right = tag(self._session, counter, bytes(buffer[at + SEAL_BYTES : end]))
        if not same(right, bytes(buffer[at + 4 : at + SEAL_BYTES])):
            keys.was_wrong(second, microsecond)
            return layout.ERROR_NOT_ALLOWED
        if counter <= self._counter:  # heard before; no guess, so nothing to slow down
            return layout.ERROR_NOT_ALLOWED
        self._counter = counter
        self.proven = True
        keys.was_right()
        return layout.ERROR_OK

    def allows(self, command: int, sealed: bool) -> bool:
        """True when the link may carry out a command."""
        if self.trusted:
            return True
        if command == layout.COMMAND_SET_KEY:
            return False
        if sealed or command == layout.COMMAND_HELLO or command == layout.COMMAND_CHALLENGE:
            return True
        access = self.keys.access
        if access == layout.ACCESS_EVERYTHING:
            return True
        if command in _STATUS_COMMANDS:
            return access >= layout.ACCESS_STATUS
        return command in _READING_COMMANDS and access >= layout.ACCESS_READING


_STATUS_COMMANDS = (
    layout.COMMAND_STREAM,
    layout.COMMAND_TIME,
    layout.COMMAND_LIST,
    layout.COMMAND_SELF_TEST,
    layout.COMMAND_TEST_LINK,
)
_READING_COMMANDS = (layout.COMMAND_READ, layout.COMMAND_READ_CALIBRATION)
