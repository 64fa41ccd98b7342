"""The commands that talk to a logger, against the virtual one."""

import json
import stat
import sys
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from breakyard.cli import arming, logger, record
from breakyard.device.keeping import Keeper
from breakyard.device.keys import keep_key, read_keys
from breakyard.errors import DataError, UsageError
from breakyard.run import read_run
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.layout import run_name
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import create_session


@pytest.fixture(autouse=True)
def own_keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "settings" / "keys.json"
    monkeypatch.setenv("BREAKYARD_KEYS", str(path))
    return path


def say(function: Any, *words: str) -> tuple[int, Any]:
    """Run one command; its status, and its JSON document."""
    app = typer.Typer()
    app.command()(function)
    done = CliRunner().invoke(app, [*words, "--json"])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, json.loads(done.stdout)


def test_info_tells_who_it_is() -> None:
    status, document = say(logger.info, "--link", "virtual")

    assert status == 0
    assert document["schema"] == "breakyard.logger.info/1"
    assert document["serial"] == "0102030405060708"
    assert document["state"] == "idle"
    assert document["settings"]["hang_ms"] == 5000


def test_arm_stop_runs_and_time() -> None:
    """Each is one connection to a logger that was just switched on."""
    status, document = say(arming.arm, "--link", "virtual")
    assert status == 0
    assert document.pop("seconds_left_s") > 1800  # the virtual logger has 1 MiB
    assert document == {
        "schema": "breakyard.logger.arm/1",
        "run": 1,
        "recording": False,
        "warning": None,
    }
    assert say(arming.stop, "--link", "virtual")[1]["run"] is None
    assert say(logger.runs, "--link", "virtual")[1]["runs"] == []
    assert 0 <= say(logger.time, "--link", "virtual")[1]["uncertainty_s"] < 5


def test_record_keeps_each_run_under_a_name_of_its_own(tmp_path: Path) -> None:
    """Two loggers with the same serial number and run number: two files, each complete, neither replaced."""
    words = (str(tmp_path), "--link", "virtual", "--now", "--seconds", "1")
    files = [Path(say(record.command, *words)[1]["file"]) for _ in range(2)]

    assert [path.name for path in files] == ["logger-05060708-run-1.run", "logger-05060708-run-1-2.run"]
    for path in files:
        assert read_run(path.read_bytes()).loss.complete
    assert not list(tmp_path.glob("*.part"))


def test_a_key_is_kept_for_its_owner_alone(own_keys: Path) -> None:
    """Set over the cable, kept in a file that nobody else may read, shown only when asked."""
    status, document = say(logger.key, "--link", "virtual", "--access", "reading")
    kept = read_keys()["0102030405060708"]

    assert status == 0
    assert document["key"] is None
    assert len(kept) == 32
    if sys.platform != "win32":
        assert stat.S_IMODE(own_keys.stat().st_mode) == 0o600
    shown = say(logger.key, "--link", "virtual", "--show")[1]["key"]
    assert read_keys()["0102030405060708"].hex() == shown
    say(logger.key, "--link", "virtual", "--remove")
    assert read_keys() == {}


def test_a_broken_file_of_keys_is_one_clear_line(own_keys: Path) -> None:
    keep_key("00", bytes(32))
    for text in ("{", "[1]", '{"00": 5}', '{"00": "xyz"}'):
        own_keys.write_text(text)
        with pytest.raises(DataError, match="cannot be read as a file of keys"):
            read_keys()


@pytest.mark.parametrize("way", ["bluetooth", "virtual:1", "", "tcp:host"])
def test_a_way_that_is_none_is_refused(way: str) -> None:
    with pytest.raises(UsageError, match="say ble, ble:SERIAL, usb, usb:PORT or virtual"):
        say(logger.info, "--link", way)


def test_an_access_that_is_none_is_refused_before_anything_is_set() -> None:
    with pytest.raises(UsageError, match="key_only, status, reading, everything"):
        say(logger.key, "--link", "virtual", "--access", "all")


def test_erase_wants_a_complete_file(tmp_path: Path) -> None:
    """What is not complete here is not erased there."""
    words = (str(tmp_path), "--link", "virtual", "--now", "--seconds", "1")
    path = Path(say(record.command, *words)[1]["file"])
    part = tmp_path / "part.run"
    part.write_bytes(path.read_bytes()[:-60])

    with pytest.raises(DataError, match="is not complete here"):
        say(logger.erase, str(part), "--link", "virtual")
    with pytest.raises(DataError, match="there is no such file"):
        say(logger.erase, str(tmp_path / "none.run"), "--link", "virtual")
    assert say(logger.erase, str(path), "--link", "virtual") == (
        0,
        {"schema": "breakyard.logger.erase/1", "runs": []},
    )


def test_names_from_a_logger_stay_in_the_folder(tmp_path: Path) -> None:
    """A name is made of the serial number's hex and the run's number, whatever the logger sends."""
    name = run_name(b"/../\x00\x1b.\\", 65535)

    assert name == "logger-001b2e5c-run-65535"
    assert Keeper(tmp_path).part(name).parent == tmp_path
    with pytest.raises(DataError, match="there is no such folder"):
        Keeper(tmp_path / "none")


def test_a_specimen_that_is_recorded_at_once_is_a_pull(tmp_path: Path) -> None:
    """--now with a specimen is no calibration; the session's folders may be missing, as after a copy."""
    session = create_session(tmp_path / "day", SessionInfo(), [Specimen("W1")])
    for folder in (session.layout.runs, session.layout.calibrations, session.layout.results):
        folder.rmdir()
    words = (str(session.root), "--link", "virtual", "--now", "--seconds", "1")

    status, found = say(record.command, *words, "--specimen", "W1")
    say(record.command, *words)

    assert status == 0
    assert found["specimen"] == "W1"
    assert [pull.specimen for pull in session.pulls] == ["W1"]
    assert len(session.runs()) == 2
