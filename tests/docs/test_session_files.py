"""The page of a session's files, and the list of keys that it is checked against, say what the code reads."""

import ast
import re
from dataclasses import fields
from pathlib import Path

from breakyard.formats.recording import CsvOptions
from breakyard.session.conditions import condition_of
from breakyard.session.files import keys
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.notes import Imported, RunNotes
from breakyard.session.files.specimens import COLUMNS
from breakyard.session.same import SAME_AS

ROOT = Path(__file__).parent.parent.parent
PAGE = (ROOT / "host" / "session_files.md").read_text(encoding="utf-8")
HOST = ROOT / "host" / "breakyard"

SECTIONS = {
    "## session.toml": keys.SESSION_KEYS,
    "### Its table [cell]": keys.CELL_KEYS,
    "### Its table [line]": keys.LINE_KEYS,
    "## specimens.csv": keys.SPECIMEN_COLUMNS,
    "## runs/NAME.toml": keys.NOTES_KEYS,
    "### Its table [import]": keys.IMPORT_KEYS,
}


def rows(heading: str) -> list[tuple[str, str, str]]:
    """The rows of the first table below a heading."""
    below = PAGE.split(f"{heading}\n", 1)[1].split("\n#", 1)[0]
    found = re.findall(r"^\| `([^`]+)` \| (?:`([^`]+)`)? ?\| (.+) \|$", below, re.MULTILINE)
    return [(name, example, meaning) for name, example, meaning in found]


def test_the_page_lists_every_key_and_no_other() -> None:
    """Table by table, in the same order, with the same examples and words."""
    for heading, known in SECTIONS.items():
        assert rows(heading) == [(key.name, key.example, key.meaning) for key in known], heading


def test_the_page_lists_every_file() -> None:
    """The first table is the list of files."""
    told = dict(re.findall(r"^\| `([^`]+)` \| (.+) \|$", PAGE.split("\n## ", 1)[0], re.MULTILINE))

    assert list(told) == [file.path for file in keys.FILES]
    assert all(told[file.path].startswith(file.meaning) for file in keys.FILES)


def test_the_keys_are_those_that_the_code_has() -> None:
    """What is read into a field, and each key of the notes that any module names as a constant, is listed."""
    conditions = [key.name for key in keys.CONDITIONS]
    proof = [key.name for key in keys.PROOF]
    said = {one.name for one in fields(SessionInfo)} - {"more"}
    assert {key.name for key in keys.SESSION_KEYS} == said | {"made_by", "line", *conditions, *proof}
    own = {one.name for one in fields(RunNotes)} - {"more", "imported"}
    assert own <= {key.name for key in keys.NOTES_KEYS}
    assert {key.name for key in keys.IMPORT_KEYS} == (
        {one.name for one in fields(CsvOptions)} | {one.name for one in fields(Imported)} - {"options"}
    )
    assert tuple(key.name for key in keys.SPECIMEN_COLUMNS) == (*COLUMNS, SAME_AS, *conditions, *proof)
    assert all(condition_of(name) for name in conditions)


def test_every_key_that_is_looked_up_in_the_notes_is_listed() -> None:
    """No module reads a key of `more` that the list does not know: people would be told that nothing reads it."""
    looked_up: set[str] = set()
    for path in (
        path for room in ("session", "field", "device", "cli") for path in (HOST / room).rglob("*.py")
    ):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            key: ast.expr | None = None
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr == "get"
            ):
                key = node.args[0] if node.args and _is_more(node.func.value) else None
            elif isinstance(node, ast.Subscript) and _is_more(node.value):
                key = node.slice
            if isinstance(key, ast.Constant) and isinstance(key.value, str):
                looked_up.add(key.value)
            elif isinstance(key, ast.Name) and key.id.isupper() and (said := _constant(key.id)):
                looked_up.add(said)

    assert "outcome" in looked_up
    known = {key.name for key in (*keys.NOTES_KEYS, *keys.SESSION_KEYS, *keys.SPECIMEN_COLUMNS)}
    assert looked_up - known == set()


def _is_more(node: ast.expr) -> bool:
    return (isinstance(node, ast.Attribute) and node.attr == "more") or (
        isinstance(node, ast.Name) and node.id == "more"
    )


def _constant(name: str) -> str:
    """The text that a constant of this name stands for, wherever it is defined; "" for none."""
    for path in HOST.rglob("*.py"):
        found = re.search(rf'^{name}(?:: Final)? = "([^"]+)"', path.read_text(encoding="utf-8"), re.MULTILINE)
        if found:
            return found[1]
    return ""
