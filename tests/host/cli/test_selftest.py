"""breakyard logger selftest as a command: one JSON document, status, and what is kept of both rates."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from breakyard.cli import selftest
from breakyard.errors import DataError


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BREAKYARD_KEYS", str(tmp_path / "settings" / "keys.json"))
    return tmp_path / "settings"


def test_against_the_virtual_logger_in_real_time(breakyard: Callable[..., Any], own_folder: Path) -> None:
    """Link and clock are measured for real; nobody is there to press; the result is kept."""
    said = breakyard("logger", "selftest", "--link", "virtual", "--json")
    document = said.document

    assert said.status == 0, said.out
    assert document["schema"] == "breakyard.selftest/1"
    assert document["passed"] is True
    assert document["rate"] == "fast"
    verdicts = {check["check"]: check["verdict"] for check in document["checks"]}
    assert verdicts["link"] == verdicts["time"] == "passed"
    assert verdicts["answer to a press"] == "left out"
    kept = json.loads((own_folder / "selftests.json").read_text("utf-8"))
    assert kept[document["serial"]]["fast"]["checks"] == document["checks"]
    assert document["rates"]["fast"]["passed"] is True
    assert document["rates"]["slow"] is None


def test_both_rates_of_each_logger_are_kept(own_folder: Path) -> None:
    """The latest of each; a rate that is neither replaces nothing."""
    fast = {"serial": "01", "rate": "fast", "passed": True, "time": "2026-05-03T10:00:00+00:00"}
    slow = fast | {"rate": "slow"}
    other = fast | {"serial": "02", "passed": False}
    for one in (fast, other, slow):
        selftest.keep(one)
    assert selftest.keep(fast | {"rate": None, "passed": False}) == {"fast": fast, "slow": slow}
    assert selftest.keep(fast | {"passed": False})["fast"]["passed"] is False
    assert selftest.keep(other) == {"fast": other, "slow": None}


def test_a_broken_file_is_named(own_folder: Path) -> None:
    """It is not overwritten, and the line says what to do."""
    own_folder.mkdir()
    (own_folder / "selftests.json").write_text("{")
    with pytest.raises(DataError, match=r"selftests\.json: cannot be read .*remove it"):
        selftest.keep({"serial": "01", "rate": "fast"})
