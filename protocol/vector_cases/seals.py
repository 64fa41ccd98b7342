"""Keys, nonces and the seals that come of them, by the standard library's hmac: not by any code of ours."""

import hashlib
import hmac
import struct

from . import pack

FLAGS = {
    "Typical": "What every host does.",
    "Limit": "A value at its end.",
    "Nonces": "What makes a nonce new.",
}

KEY = bytes.fromhex("8f0b2c9de1745a3366aa10f2cd07be59415e93d8207b6cf4a91e8804d3725b6f")
NONCE = struct.pack("<II", 7, 1) + bytes.fromhex("5b1d0f9c2e7788a3b46610cd9ee2f3054a17c0b8d96e2231")
HOST_NONCE = bytes.fromhex("c3a5f0e1d2b49687786950413223140516273849505a6b7c8d9eafb0c1d2e3f4")


def hmac_sha256(key, message):
    return hmac.new(key, message, hashlib.sha256).digest()


def cases():
    """Yield every case, in a fixed order."""
    stop = bytes([pack.COMMANDS["STOP"]["value"]])
    read = bytes([pack.COMMANDS["READ"]["value"]]) + struct.pack("<HIBB", 3, 120, 12, 1)
    yield _case("proof", "A session and the logger's proof.", ["Typical"], NONCE, 1, stop)
    yield _case("command", "A command with arguments.", ["Typical"], NONCE, 2, read)
    yield _case("counter-highest", "The last counter of a session.", ["Limit"], NONCE, 2**32 - 1, stop)
    later = struct.pack("<II", 8, 1) + NONCE[8:]
    yield _case(
        "nonces",
        "The same random bytes after a restart: another nonce, another session.",
        ["Nonces"],
        later,
        1,
        stop,
    )


def _case(id_, comment, flags, nonce, counter, sealed):
    session = hmac_sha256(KEY, b"breakyard session" + nonce + HOST_NONCE)
    tag = hmac_sha256(session, b"command" + struct.pack("<I", counter) + sealed)
    return {
        "id": id_,
        "comment": comment,
        "flags": flags,
        "key": KEY.hex(),
        "key_id": hmac_sha256(KEY, b"breakyard key id")[:8].hex(),
        "nonce": nonce.hex(),
        "host_nonce": HOST_NONCE.hex(),
        "session_key": session.hex(),
        "proof": hmac_sha256(session, b"logger").hex(),
        "counter": counter,
        "sealed": sealed.hex(),
        "tag": tag.hex(),
        "record": pack.command("SEALED", 1, counter=counter, tag=tag, sealed=sealed).hex(),
    }
