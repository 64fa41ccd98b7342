"""The files of the logger stay within what MicroPython understands, and within their own layer."""

import ast
import json
from pathlib import Path

import pytest

FIRMWARE = Path(__file__).parent.parent.parent / "firmware"
LOGGER = sorted((FIRMWARE / "logger").rglob("*.py"))
CORE = sorted((FIRMWARE / "logger" / "core").glob("*.py"))
ABSENT = {
    "__future__",
    "typing",
    "enum",
    "dataclasses",
    "functools",
    "itertools",
    "abc",
    "hmac",
    "logging",
    "unittest",
}
CORE_MAY_IMPORT = {"struct", "binascii", "hashlib", "array", "micropython"}


def names(paths):
    return [str(path.relative_to(FIRMWARE)) for path in paths]


@pytest.mark.parametrize("path", [*LOGGER, FIRMWARE / "main.py"], ids=names([*LOGGER, FIRMWARE / "main.py"]))
def test_it_compiles(interpret, path):
    """The interpreter's own compiler takes the file."""
    done = interpret("-X", "compile-only", path)

    assert done.returncode == 0, done.stdout + done.stderr


def test_the_compiler_does_refuse(interpret, tmp_path):
    """The check above can fail: MicroPython has no `match`."""
    bad = tmp_path / "bad.py"
    bad.write_text("match 1:\n    case 1:\n        pass\n")

    assert interpret("-X", "compile-only", bad).returncode == 1


def traps(tree):
    """What compiles but fails or lies on a board (tried with the interpreter)."""
    private = set()
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Call):
            called = node.value.func
            if isinstance(called, ast.Name) and called.id == "const":
                private |= {
                    target.id
                    for target in node.targets
                    if isinstance(target, ast.Name) and target.id[0] == "_"
                }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            if node.func.attr == "from_bytes" and (len(node.args) > 2 or node.keywords):
                yield node, "from_bytes is unsigned whatever one asks"
            if (
                node.func.attr in ("startswith", "endswith")
                and node.args
                and isinstance(node.args[0], ast.Tuple)
            ):
                yield node, "older images take one prefix only"
            if node.func.attr in ("iter_unpack", "Struct", "cast"):
                yield node, "does not exist"
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda) and node.args.posonlyargs:
            yield node, "positional-only arguments are a syntax error"
        if isinstance(node, ast.Delete) and any(
            isinstance(target, ast.Subscript) and isinstance(target.slice, ast.Slice)
            for target in node.targets
        ):
            yield node, "a slice cannot be deleted"
        if isinstance(node, ast.Import | ast.ImportFrom):
            modules = (
                [node.module or ""] if isinstance(node, ast.ImportFrom) else [one.name for one in node.names]
            )
            if any(module.split(".")[0] in ABSENT for module in modules if not getattr(node, "level", 0)):
                yield node, "no such module"
            if any(one.name.startswith("_") for one in node.names):
                yield node, "a private const is no attribute and cannot be imported"
        if isinstance(node, ast.ClassDef) and len(node.bases) > 1:
            yield node, "two bases conflict"
        if isinstance(node, ast.Assign):
            for target in node.targets:
                if isinstance(target, ast.Name) and target.id == "__slots__":
                    yield node, "is ignored"
        if isinstance(node, ast.Attribute) and node.attr in private and not isinstance(node.value, ast.Name):
            yield node, "a private const is no attribute"


@pytest.mark.parametrize("path", LOGGER, ids=names(LOGGER))
def test_no_traps(path):
    """None of the differences between the interpreters that compile and then fail or lie."""
    found = [(node.lineno, why) for node, why in traps(ast.parse(path.read_text("utf-8")))]

    assert found == []


@pytest.mark.parametrize(
    "line",
    [
        "int.from_bytes(b, 'little', True)",
        "s.startswith(('a', 'b'))",
        "def f(a, /): pass",
        "del b[:2]",
        "from enum import IntEnum",
        "import typing",
        "from .layout import _X",
        "class A(B, C): pass",
        "struct.Struct('<I')",
    ],
)
def test_traps_are_seen(line):
    """The check above can fail."""
    assert list(traps(ast.parse(line)))


@pytest.mark.parametrize("path", CORE, ids=names(CORE))
def test_core_imports_core_and_a_handful_of_modules(path):
    """No hardware, no clock, no tasks in the core."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            assert {one.name for one in node.names} <= CORE_MAY_IMPORT
        if isinstance(node, ast.ImportFrom):
            assert node.level == 1 or node.module in CORE_MAY_IMPORT


def test_package_json_lists_the_files_that_a_board_needs():
    """mip copies exactly the logger (without the board of the computer) and main.py."""
    listed = json.loads((FIRMWARE / "package.json").read_text("utf-8"))["urls"]
    needed = {str(path.relative_to(FIRMWARE).as_posix()) for path in LOGGER} - {"logger/boards/virtual.py"}

    assert {target for target, _ in listed} == needed | {"main.py"}
    for target, source in listed:
        assert source == target
