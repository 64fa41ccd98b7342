"""What strangers can say to the gate of a link that anyone can open: the key stays, nothing sealed gets through.

Sealed under another key, cut, repeated, after restarts, with damaged secrets: only what the owner sealed, and only
once, is let through. The stranger's seals are those of a host that has another key.
"""

from struct import pack

from fuzz_targets.feeding import Cursor
from logger.core import auth, layout

MAX_LEN = 120
KEY = bytes(range(1, 33))
OTHER = bytes(range(2, 34))
TELLS = (layout.ERROR_OK, layout.ERROR_NOT_ALLOWED, layout.ERROR_TOO_SOON, layout.ERROR_BAD_ARGUMENT)


def seeds():
    return [
        bytes([2, 0, 3, 1, 4, 3, 1, 5, 3, 1]),
        bytes([2, 3, 1, 2, 3, 1, 0, 3, 1, 9, 200, 2, 3, 9]),
        bytes([2, 1, 5, 6, 1, 7, 7, 3, 200, 9, 255, 2, 3, 3]),
        bytes([8, 40, 1, 2, 3, 2, 3, 9]),
    ]


def try_one(data):
    cursor = Cursor(data)
    secrets = auth.MemorySecrets()
    auth.Keys(secrets, bytes).set(KEY, layout.ACCESS_STATUS)
    keys, gate = _start(secrets)
    nonces = set()
    session, counter, highest, second = b"", 0, 0, 0
    heard = []
    while cursor.more:
        what = cursor.number() % 10
        if what == 0:
            keys, gate = _start(secrets)
            session = b""
        elif what == 1:
            gate.link_lost()
            session = b""
        elif what == 2:
            answer = gate.challenge(bytes(32), second, 0)
            if isinstance(answer, tuple):
                assert answer[0] not in nonces
                nonces.add(answer[0])
                session, highest = auth.session_key(KEY, answer[0], bytes(32)), 0
                assert auth.same(auth.proof(session), answer[1])
            else:
                assert answer == layout.ERROR_TOO_SOON
        elif what in (3, 4):  # the owner
            counter += cursor.number() & 3
            sealed = _sealed(session or OTHER, counter, bytes([layout.COMMAND_STOP]))
            error = _unseal(gate, sealed, second)
            if error == layout.ERROR_OK:
                assert session
                assert counter > highest
                highest = counter
                heard.append(sealed)
            else:
                assert not session or counter <= highest or error == layout.ERROR_TOO_SOON
        elif what == 5 and heard:  # what was heard, again
            assert _unseal(gate, heard[cursor.number() % len(heard)], second) != layout.ERROR_OK
        elif what == 6:  # another key
            sealed = _sealed(auth.session_key(OTHER, bytes(32), bytes(32)), cursor.number(4), cursor.take(3))
            assert _unseal(gate, sealed, second) != layout.ERROR_OK
        elif what == 7:  # anything at all
            assert _unseal(gate, cursor.take(cursor.number()), second) != layout.ERROR_OK
        elif what == 8 and secrets.data:  # flash that forgets
            place = cursor.number() % len(secrets.data)
            kept = secrets.data
            secrets.data = kept[:place] + bytes([kept[place] ^ (cursor.number() | 1)]) + kept[place + 1 :]
            stranger = auth.Keys(secrets, bytes)
            assert not stranger.has_key
            assert stranger.nonce() is None
            secrets.data = kept
        else:
            second += cursor.number()
        assert keys.key == KEY
        assert keys.access == layout.ACCESS_STATUS
        assert not gate.allows(layout.COMMAND_STOP, False)
        assert not gate.allows(layout.COMMAND_SET_KEY, True)


def _start(secrets):
    keys = auth.Keys(secrets, bytes)
    return keys, auth.Gate(keys, False)


def _sealed(session, counter, inner):
    return pack("<I", counter) + auth.tag(session, counter, inner) + inner


def _unseal(gate, arguments, second):
    error = gate.unseal(bytearray(arguments), 0, len(arguments), second, 0)
    assert error in TELLS
    return error
