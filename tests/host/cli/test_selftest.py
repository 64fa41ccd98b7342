"""breakyard logger selftest as a command: one JSON document, status, and what is kept of both rates."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from breakyard.device.selftest import kept as selftest_file
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
        selftest_file.keep(one)
    assert selftest_file.keep(fast | {"rate": None, "passed": False}) == {"fast": fast, "slow": slow}
    assert selftest_file.keep(fast | {"passed": False})["fast"]["passed"] is False
    assert selftest_file.keep(other) == {"fast": other, "slow": None}


def test_a_broken_file_is_named(own_folder: Path) -> None:
    """It is not overwritten, and the line says what to do."""
    own_folder.mkdir()
    (own_folder / "selftests.json").write_text("{")
    with pytest.raises(DataError, match=r"selftests\.json: cannot be read .*remove it"):
        selftest_file.keep({"serial": "01", "rate": "fast"})


def shunted(
    counts: int, *, expected: int = 1_875_766, verdict: str = "passed", day: int = 3
) -> dict[str, Any]:
    check = {"check": "shunt", "verdict": verdict, "shunt_counts": counts, "expected_counts": expected}
    time = f"2026-05-{day:02d}T10:00:00+00:00"
    return {"serial": "01", "rate": "fast", "passed": verdict == "passed", "time": time, "checks": [check]}


def test_a_shunt_is_held_against_the_last_one(own_folder: Path) -> None:
    """Only against one that passed, of the same resistor and bridge; a test without a shunt forgets nothing."""
    first = shunted(-1_870_000)
    assert selftest_file.shunt_moved(first) is None
    selftest_file.keep(first)
    selftest_file.keep({"serial": "01", "rate": "fast", "passed": True, "time": "2026-05-04T10:00:00+00:00"})
    selftest_file.keep(shunted(-900_000, verdict="failed", day=5))

    moved = selftest_file.shunt_moved(shunted(-1_873_740, day=10))

    assert moved == {"percent": pytest.approx(0.2), "time": "2026-05-03T10:00:00+00:00"}
    assert selftest_file.shunt_moved(shunted(-1_873_740, expected=900_000)) is None


def test_a_resistance_that_is_none(breakyard: Callable[..., Any]) -> None:
    """One line, status 2, before a link is looked for."""
    for words in (["--shunt", "much"], ["--shunt", "100"], ["--shunt", "100k", "--bridge", "3"]):
        said = breakyard("logger", "selftest", "--link", "virtual", *words)

        assert said.status == 2
        assert len(said.err.strip().splitlines()) == 1
