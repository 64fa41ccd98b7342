"""Texts in TOML: read with the standard library, errors with the file's name.

A new file is written with tomli_w. A file that a person may have edited is changed with tomlkit, which keeps comments,
order and layout; keys that this version does not know stay too.
"""

import tomllib
from collections.abc import Collection, Mapping, MutableMapping
from pathlib import Path
from typing import Any

from breakyard.disk.atomic import write_atomically
from breakyard.errors import DataError
from breakyard.formats.text import unicode_text


def read_toml(path: Path) -> dict[str, Any]:
    """Read a file. Raises: DataError (not there, no text, or where the TOML is broken)."""
    try:
        return tomllib.loads(unicode_text(path.read_bytes()))
    except OSError as error:
        raise DataError(f"{path}: cannot be read ({error.strerror or error})") from error
    except RecursionError:
        raise DataError(
            f"{path}: this is not valid TOML (too deeply nested); mend it in a text editor"
        ) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        line = str(error).splitlines()[0]
        raise DataError(f"{path}: this is not valid TOML ({line}); mend it in a text editor") from error


def write_toml(
    path: Path, data: Mapping[str, Any], *, remarks: str = "", quiet: Collection[str] = ()
) -> None:
    """Write a file whole, leaving out what is None; what is there already is changed only where it differs.

    remarks: lines that a new file begins with. quiet: keys that it leaves out while they are empty.
    Raises: DataError.
    """
    values = _without_none(data)
    text = _edited(path, values) or remarks + toml_text(
        {name: value for name, value in values.items() if name not in quiet or value}
    )
    write_atomically(path, text.encode())


def add_table(path: Path, name: str, text: str) -> None:
    """Put the text of a table at the end of a file, in place of an empty value of that name; the rest stays as it is.

    Raises: DataError, also if the file says something under that name already.
    """
    import tomlkit

    said = read_toml(path).get(name)
    if said not in (None, "", {}):
        raise DataError(f"{path}: {name} is described there already; edit it, or delete it first")
    document = tomlkit.parse(unicode_text(path.read_bytes()))
    document.pop(name, None)
    before = tomlkit.dumps(document).rstrip()
    whole = f"{before}\n\n{text}"
    expected = {key: value for key, value in read_toml(path).items() if key != name} | tomllib.loads(text)
    if tomllib.loads(whole) != expected:  # a file laid out in a way that cannot be added to
        raise DataError(f"{path}: {name} cannot be added; write it by hand")
    write_atomically(path, whole.encode())


def toml_text(values: Mapping[str, Any]) -> str:
    """Values as TOML."""
    import tomli_w

    return tomli_w.dumps(values, multiline_strings=True)


def _edited(path: Path, values: dict[str, Any]) -> str | None:
    """The file's own text with these values in it; None where there is none, or where it cannot be done.

    The result is read again: TOML can be written in ways that do not survive an edit, and the values come before the
    comments. What is empty is not added.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(path.read_bytes().decode("utf-8-sig"))
        values = {
            name: value for name, value in values.items() if name in document or value not in ("", [], {})
        }
        _put(document, values)
        text = tomlkit.dumps(document)
        return text if tomllib.loads(text) == values else None
    except (OSError, TOMLKitError, ValueError, TypeError, LookupError, AttributeError, RecursionError):
        return None


def _put(table: MutableMapping[str, Any], values: Mapping[str, Any]) -> None:
    """Make a table say these values, touching only what differs."""
    import tomlkit

    for name in [name for name in table if name not in values]:
        del table[name]
    for name, value in values.items():
        old = table.get(name)
        if isinstance(old, MutableMapping) and isinstance(value, Mapping):
            _put(old, value)
        elif old != value or isinstance(old, bool) != isinstance(value, bool):
            several_lines = isinstance(value, str) and "\n" in value
            table[name] = tomlkit.string(value, multiline=True) if several_lines else value


def _without_none(data: Mapping[str, Any]) -> dict[str, Any]:
    return {
        key: _without_none(value) if isinstance(value, Mapping) else value
        for key, value in data.items()
        if value is not None
    }


def take(data: dict[str, Any], key: str, kinds: type | tuple[type, ...], path: Path) -> Any:
    """Remove and return a value, None if it is missing. Raises: DataError if it is of another kind."""
    value = data.pop(key, None)
    expected = kinds if isinstance(kinds, tuple) else (kinds,)
    if value is not None and (
        not isinstance(value, expected) or (isinstance(value, bool) and bool not in expected)
    ):
        words = {str: "a text", float: "a number", int: "a number", list: "a list", dict: "a table"}
        wanted = words.get(expected[0], expected[0].__name__)
        raise DataError(f'{path}: "{key}" must be {wanted}, not {value!r}')
    return value
