"""Which key a logger has after an installation; the logger is the real firmware in the virtual one."""

import asyncio
from pathlib import Path

import pytest

from breakyard.device.client.auth import NO_KEY, key_id
from breakyard.device.client.client import Client
from breakyard.device.install.key import KeyOutcome, KeyState, settle_key, wanted_key
from breakyard.errors import DataError, UsageError
from breakyard.simulate.logger import VirtualLogger
from breakyard.wire.layout import Access, Command

OURS = bytes(range(1, 33))
THEIRS = bytes(range(101, 133))


def outcome(before: bytes | None, wanted: bytes | None, known: bytes | None) -> tuple[KeyOutcome, bool]:
    """What comes of it, and whether the logger obeys by radio the key that is told."""

    async def go() -> tuple[KeyOutcome, bool]:
        async with VirtualLogger() as logger, Client(logger.link()) as client:
            if before is not None:
                await client.set_key(before)
            found = await settle_key(client, wanted, known, Access.STATUS)
            if found.key is None:
                return found, False
            await client.unlock(found.key)
            await client.ask(Command.STOP)
            return found, True

    return asyncio.run(go())


def test_a_logger_without_a_key_gets_one() -> None:
    """Drawn anew each time, and it works."""
    first, works = outcome(None, None, None)
    second, _ = outcome(None, None, OURS)

    assert (first.state, works) == (KeyState.NEW, True)
    assert second.state == KeyState.NEW
    assert first.key != second.key
    assert first.key is not None
    assert len(key_id(first.key)) == 8


def test_a_key_that_is_there_stays() -> None:
    """Whether this computer knows it or not; only when asked it is replaced."""
    assert outcome(OURS, None, OURS) == (KeyOutcome(KeyState.KEPT, OURS), True)
    assert outcome(THEIRS, None, OURS)[0] == KeyOutcome(KeyState.UNKNOWN, None)
    assert outcome(THEIRS, None, None)[0] == KeyOutcome(KeyState.UNKNOWN, None)
    assert outcome(THEIRS, OURS, None) == (KeyOutcome(KeyState.NEW, OURS), True)
    assert outcome(OURS, NO_KEY, OURS)[0] == KeyOutcome(KeyState.NONE, None)


def test_what_may_be_asked_for(tmp_path: Path) -> None:
    """A word or a file, never the key itself."""
    file = tmp_path / "key"
    file.write_text(OURS.hex().upper() + "\n")

    assert wanted_key("auto") is None
    assert wanted_key("none") == NO_KEY
    assert len(wanted_key("new") or b"") == 32
    assert wanted_key(str(file)) == OURS


@pytest.mark.parametrize(
    "text",
    ["", "00" * 31, "zz" * 32, "00" * 32, "\xe9" * 64],
    ids=["empty", "short", "letters", "zero", "latin"],
)
def test_a_file_without_a_key(tmp_path: Path, text: str) -> None:
    """One line that names the file."""
    file = tmp_path / "key"
    file.write_text(text, encoding="latin-1")
    with pytest.raises(DataError, match="not a key of 64 hex digits"):
        wanted_key(str(file))


def test_a_key_as_a_word() -> None:
    """Others could read it in the list of processes."""
    with pytest.raises(UsageError, match="put it into a file"):
        wanted_key(OURS.hex())
