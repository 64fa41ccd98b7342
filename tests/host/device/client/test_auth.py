"""The host's seals against the golden vectors, and against a logger that does not have the key."""

import json
from pathlib import Path

import pytest

from breakyard.device.client.auth import NO_KEY, SealedSession, checked_key, key_id, new_key
from breakyard.errors import UsageError, WrongLogger
from breakyard.wire.layout import Command
from breakyard.wire.records import CommandRecord, build


def test_seals_of_the_golden_vectors(root: Path) -> None:
    """Same session, same counter, same command: the same bytes as the vectors, which the standard library made."""
    cases = json.loads((root / "protocol" / "vectors" / "seals.json").read_text())["cases"]
    for case in cases:
        session = SealedSession(bytes.fromhex(case["key"]), bytes.fromhex(case["host_nonce"]))
        session.begin(bytes.fromhex(case["nonce"]), bytes.fromhex(case["proof"]))
        session.counter = case["counter"] - 1
        sealed = bytes.fromhex(case["sealed"])

        assert key_id(session.key).hex() == case["key_id"]
        arguments = session.seal(Command(sealed[0]), sealed[1:])
        assert arguments is not None
        made = CommandRecord(run=0, index=1, command=Command.SEALED, arguments=arguments)
        assert build(made).hex() == case["record"]


def test_each_seal_has_a_counter_of_its_own(root: Path) -> None:
    """Never the same bytes twice; what is open without a key is never sealed."""
    case = json.loads((root / "protocol" / "vectors" / "seals.json").read_text())["cases"][0]
    session = SealedSession(bytes.fromhex(case["key"]), bytes.fromhex(case["host_nonce"]))
    session.begin(bytes.fromhex(case["nonce"]), bytes.fromhex(case["proof"]))

    assert len({session.seal(Command.STOP, b"") for _ in range(100)}) == 100
    assert SealedSession(bytes.fromhex(case["key"])).seal(Command.HELLO, b"") is None
    assert session.seal(Command.HELLO, b"") is not None  # who it is may be told under a seal only
    assert session.seal(Command.SET_KEY, bytes(33)) is None


def test_a_logger_without_the_key_is_found_out() -> None:
    """Its proof does not fit, and nothing is ever sealed for it, nor said to it in the open."""
    session = SealedSession(new_key())

    with pytest.raises(WrongLogger, match="another key"):
        session.begin(bytes(32), bytes(32))
    with pytest.raises(WrongLogger, match="nothing is said to it in the open"):
        session.seal(Command.STOP, b"")


@pytest.mark.parametrize("key", [b"", bytes(31), bytes(33), NO_KEY])
def test_what_is_no_key_is_refused(key: bytes) -> None:
    """A key has 32 bytes and is not zero."""
    with pytest.raises(UsageError, match="a key has 32 bytes"):
        checked_key(key)
