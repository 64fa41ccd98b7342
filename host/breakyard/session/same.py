"""One specimen in two sessions: proof in June, broken in July. It counts once.

The column same_as of specimens.csv names it: "june/S3" (the other session's folder and its id there), or "S3" for
another row of the same table.
"""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from breakyard.errors import DataError

if TYPE_CHECKING:
    from breakyard.session.files.specimens import Specimen

SAME_AS: Final = "same_as"
"""Column of specimens.csv."""

Key = tuple[str, str]
"""Folder of a session, and the id of a specimen in its table."""


def first_of(table: "Mapping[Key, Specimen]") -> dict[Key, Key]:
    """For each specimen of the sessions that were read, the first row that stands for the same thing.

    A session that was not read is not looked for: then its specimen is the one of this session.
    Raises: DataError for an id that is not in the table it names, or rows that name one another in a circle.
    """
    found: dict[Key, Key] = {}
    for key in table:
        seen = [key]
        while (other := _named(seen[-1], table)) is not None:
            if other in seen:
                raise DataError(f"specimens.csv, {key[1]}: {SAME_AS} leads in a circle; mend one of the rows")
            seen.append(other)
        found[key] = seen[-1]
    return found


def inherited(table: "Mapping[Key, Specimen]") -> "dict[Key, Specimen]":
    """The rows, each with what the first row of the same thing says where it is silent: group, mass, own columns.

    What held on a day (temperature, speed) is not to be taken from here. Raises: DataError as `first_of`.
    """
    made = {}
    for key, first in first_of(table).items():
        own, whole = table[key], table[first]
        said = {name: cell for name, cell in own.more.items() if cell.strip()}
        made[key] = replace(
            own,
            group=own.group or whole.group,
            mass_kg=whole.mass_kg if own.mass_kg is None else own.mass_kg,
            more={**whole.more, **said},
        )
    return made


def _named(key: Key, table: "Mapping[Key, Specimen]") -> Key | None:
    text = table[key].more.get(SAME_AS, "").strip()
    if not text:
        return None
    folder, _, name = text.replace("\\", "/").rpartition("/")
    roots = [root for root in dict.fromkeys(root for root, _ in table) if _called(root, folder, key[0])]
    for root in roots:
        if (root, name) in table:
            return root, name
    if roots:
        raise DataError(f'specimens.csv, {key[1]}: {SAME_AS} says "{text}", but there is no such specimen')
    return None


def _called(root: str, folder: str, own: str) -> bool:
    return root == own if not folder else Path(root).resolve().name == folder.rpartition("/")[2]
