"""TOML that people edit: comments and layout survive a change, and mistakes are named with their file."""

from pathlib import Path

import pytest

from breakyard.errors import DataError
from breakyard.session.files.toml_text import add_table, read_toml, take, write_toml


def test_what_a_person_wrote_stays(tmp_path: Path) -> None:
    """Comments, order and blank lines; only the value that differs is changed."""
    path = tmp_path / "notes.toml"
    path.write_text('# my own\nspecimen = "B1"  # the loose one\n\nnotes = "slipped"\n')

    write_toml(path, {"specimen": "B1", "notes": "broke", "photos": []})

    assert path.read_text() == '# my own\nspecimen = "B1"  # the loose one\n\nnotes = "broke"\n'


def test_a_new_file_begins_with_its_remarks(tmp_path: Path) -> None:
    """None is left out, and so is a quiet key while it is empty."""
    path = tmp_path / "notes.toml"

    write_toml(path, {"specimen": None, "notes": "", "force_n": 3.5}, remarks="# help\n", quiet=("notes",))

    assert path.read_text() == "# help\nforce_n = 3.5\n"
    assert read_toml(path) == {"force_n": 3.5}


def test_a_table_is_added_once(tmp_path: Path) -> None:
    """In place of an empty one; never over what stands there."""
    path = tmp_path / "session.toml"
    path.write_text("# top\nunit = 'N'\n")

    add_table(path, "rig", '[rig]\nspecimen = "B1"\n')

    assert path.read_text().startswith("# top\nunit = 'N'\n")
    assert read_toml(path)["rig"] == {"specimen": "B1"}
    with pytest.raises(DataError, match="described there already"):
        add_table(path, "rig", "[rig]\n")


@pytest.mark.parametrize("text", ["a = ", "a = 1\na = 2\n", "\ufffe", "a = " + "[" * 5000])
def test_broken_files_are_named_in_one_line(tmp_path: Path, text: str) -> None:
    """With what to do."""
    path = tmp_path / "session.toml"
    path.write_text(text, encoding="utf-16" if "\ufffe" in text else "utf-8")

    with pytest.raises(DataError, match=r"session\.toml: this is not valid TOML") as problem:
        read_toml(path)
    assert "\n" not in str(problem.value)


def test_a_value_of_another_kind_is_named() -> None:
    """A truth value is no number, though Python counts it as one."""
    data = {"height": True, "place": "here"}

    with pytest.raises(DataError, match=r'x\.toml: "height" must be a number, not True'):
        take(data, "height", (float, int), Path("x.toml"))
    assert take(data, "place", str, Path("x.toml")) == "here"
    assert take(data, "place", str, Path("x.toml")) is None
