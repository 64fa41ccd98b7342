"""The import rule: that it covers every module is a test; that it holds is `python3 tasks.py lint`."""

import ast
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
CONTRACTS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
    "contracts"
]
FRONT = {"breakyard", "breakyard.__main__"}
"""The front door opens every room, and `python -m breakyard` is the command."""


def modules() -> set[str]:
    found = set()
    for path in (ROOT / "host" / "breakyard").rglob("*.py"):
        parts = path.relative_to(ROOT / "host").with_suffix("").parts
        found.add(".".join(parts[:-1] if parts[-1] == "__init__" else parts))
    return found - FRONT


def is_in(module: str, named: set[str]) -> bool:
    return any(module == name or module.startswith(name + ".") for name in named)


def named_as_importers() -> set[str]:
    """Modules and rooms whose own imports some contract limits."""
    found: set[str] = set()
    for contract in CONTRACTS:
        found |= set(contract.get("source_modules", ()))
        found |= {name.strip() for layer in contract.get("layers", ()) for name in layer.split("|")}
    return found


def test_every_module_stands_in_a_contract() -> None:
    """A module that no contract names could import anything unnoticed."""
    missing = sorted(module for module in modules() if not is_in(module, named_as_importers()))

    assert missing == []


def test_every_module_of_the_line_is_kept_from_files_links_and_screens() -> None:
    """What the layers place below the edges may touch no file, link or screen."""
    (layers,) = (one["layers"] for one in CONTRACTS if one["name"] == "the line imports leftwards only")
    (pure,) = (set(one["source_modules"]) for one in CONTRACTS if "files, links and screens" in one["name"])
    edges = {"breakyard.cli", "breakyard.front", "breakyard.session", "breakyard.report", "breakyard.formats"}
    edges |= {"breakyard.disk", "breakyard.video"}
    line = {name.strip() for layer in layers for name in layer.split("|")}

    assert line - edges == pure


def test_contracts_name_only_what_is_there() -> None:
    """A contract about a module that moved away guards nothing."""
    there = modules() | {"breakyard"}
    gone = sorted(name for name in named_as_importers() if name.startswith("breakyard") and name not in there)

    assert gone == []


COMMANDS_ALONE = "no command imports another"


def test_every_command_is_kept_apart_from_the_others() -> None:
    """What two commands need is library, or words they share; a contract names each module of a command."""
    from breakyard.cli import commands

    (contract,) = (one for one in CONTRACTS if one["name"] == COMMANDS_ALONE)
    functions = [module.command for module in commands.MODULES.values()]
    modules = {function.__module__ for function in (*functions, *commands.LOGGER.values())}

    assert set(contract["modules"]) == modules


def test_only_tests_of_the_commands_import_the_command_line() -> None:
    """Whatever else needs it needs library that lies in the wrong room."""
    importing = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "tests").rglob("*.py")
        if "from breakyard.cli" in path.read_text("utf-8")
        or "import breakyard.cli" in path.read_text("utf-8")
    }
    commands = ("tests/host/cli/", "tests/docs/", "tests/jobs/", "tests/support/typed.py")

    assert {path for path in importing if not path.startswith(commands)} <= {"tests/host/test_contracts.py"}


SAME_NAME = {
    "Break": "a break as it happens, and as it is read",
    "Converter": "the converter as it works, and what is known of it",
    "Drop": "a drop as it happens, and as it is read",
    "Glitch": "a glitch as it is made, and as it is found",
    "Point": "a point of a calibration with the truth beside it, and as people have it",
    "Rig": "the rig as it pulls, and as it is described",
}
"""Public classes that share a name on purpose. Truth and analysis share no code, so each has its own of one thing."""


def test_a_public_class_has_its_name_to_itself() -> None:
    """One meaning per word; only the simulation and the analysis may each have a class of one thing."""
    homes: dict[str, list[str]] = {}
    for path in sorted((ROOT / "host" / "breakyard").rglob("*.py")):
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                homes.setdefault(node.name, []).append(path.relative_to(ROOT / "host" / "breakyard").parts[0])
    shared = {name: rooms for name, rooms in homes.items() if len(rooms) > 1}

    assert set(shared) == set(SAME_NAME)
    assert all(len(rooms) == 2 and rooms.count("simulate") == 1 for rooms in shared.values())
