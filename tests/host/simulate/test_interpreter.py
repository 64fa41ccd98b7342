"""What runs the firmware of the virtual logger."""

import sys

import pytest

from breakyard.errors import UsageError
from breakyard.simulate.logger import INTERPRETER_VARIABLE, interpreter_command


def test_a_computer_without_micropython_can_be_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """The variable decides where nobody says it; who says it is right."""
    monkeypatch.setenv(INTERPRETER_VARIABLE, "cpython")
    assert interpreter_command()[0] == sys.executable

    monkeypatch.setattr("shutil.which", lambda _: "/somewhere/micropython")
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    assert interpreter_command("micropython")[0] == "/somewhere/micropython"
    monkeypatch.delenv(INTERPRETER_VARIABLE)
    assert interpreter_command()[0] == "/somewhere/micropython"

    monkeypatch.setattr("shutil.which", lambda _: None)
    assert interpreter_command()[0] == "/nowhere/python"
    with pytest.raises(UsageError, match="CPython can run the same files"):
        interpreter_command("micropython")
