"""The help as somebody reads it who has never seen the command."""

from collections.abc import Callable

import pytest

from breakyard.cli.commands import LOGGER, MODULES, STAGES

from .conftest import Said

Breakyard = Callable[..., Said]


def test_commands_stand_under_the_stages_of_the_job(breakyard: Breakyard) -> None:
    """Each stage is a heading, in the order of the job; every command stands under its own."""
    lines = breakyard("--help").out.splitlines()
    headings = [line.rstrip(":") for line in lines if line.endswith(":") and not line.startswith(" ")]
    under: dict[str, list[str]] = {}
    for line in lines:
        if line.endswith(":") and not line.startswith(" "):
            under[line.rstrip(":")] = []
        elif under and line.startswith("  "):
            under[headings[len(under) - 1]].append(line.split()[0])

    assert [heading for heading in headings if heading != "Options"] == list(STAGES)
    for stage, modules in STAGES.items():
        assert set(modules) <= set(under[stage])


@pytest.mark.parametrize("words", [("--help",), ("logger", "--help")], ids=["all", "logger"])
def test_every_command_is_told_in_one_line_of_80_columns(
    breakyard: Breakyard, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    """The first sentence of a command's help fits where it is listed; none is cut short."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TERMINAL_WIDTH", "80")
    out = breakyard(*words).out
    names = LOGGER if words[0] == "logger" else MODULES
    told = {line.split()[0]: line for line in out.splitlines() if line.startswith("  ") and line.split()}

    assert [line for line in out.splitlines()[1:] if line.endswith("...")] == []
    assert [name for name in names if not told[name].rstrip().endswith((".", "?"))] == []
