"""Who may pass for a logger that this computer knows."""

import json
from pathlib import Path

import pytest

from breakyard.device.keys import KEYS_VARIABLE, known_key
from breakyard.errors import LinkError

SERIAL = "e66138528350ab25"


@pytest.fixture(autouse=True)
def keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "keys.json"
    path.write_text(json.dumps({SERIAL: "07" * 32}))
    monkeypatch.setenv(KEYS_VARIABLE, str(path))


def test_a_known_logger_has_its_key_and_a_strange_one_none() -> None:
    """By its whole number."""
    assert known_key(SERIAL, "8350ab25") == bytes([7]) * 32
    assert known_key(SERIAL) == bytes([7]) * 32
    assert known_key("0011223344556677", "44556677") is None


@pytest.mark.parametrize("claimed", ["ffffffff8350ab25", "e66138528350ab26"])
def test_nobody_escapes_the_proof_by_claiming_part_of_a_number(claimed: str) -> None:
    """Advertised as the known one, or with the same end: an error instead of a conversation without a key."""
    with pytest.raises(LinkError):
        known_key(claimed, "8350ab25")
