"""Texts in TOML: read with the standard library, written with tomli_w, errors with the file's name.

Writing a file again keeps keys that this version does not know, but not comments.
"""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from breakyard.errors import DataError
from breakyard.formats.text import unicode_text
from breakyard.session.files.atomic import write_atomically


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


def write_toml(path: Path, data: Mapping[str, Any]) -> None:
    """Write a file whole, leaving out what is None. Raises: DataError."""
    import tomli_w

    write_atomically(path, tomli_w.dumps(_without_none(data), multiline_strings=True).encode())


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
