"""A new session: its folder, and the specimens that are planned."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from breakyard.errors import UsageError
from breakyard.session.files.info import SessionInfo
from breakyard.session.files.layout import name_from, session_above
from breakyard.session.files.specimens import Specimen
from breakyard.session.session import Session, create_session

MOST_SPECIMENS = 1000


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a new session is to say. `each`: specimens per group; capacity as a text, as on the plate."""

    unit: str = "N"
    place: str = ""
    day: date | None = None
    latitude_deg: float | None = None
    height_m: float | None = None
    capacity: str | None = None
    rated_output_mv_v: float | None = None
    groups: tuple[str, ...] = ()
    each: int = 3


def begin(folder: Path, wanted: Wanted) -> Session:
    """Make the session.

    Raises: UsageError (a folder that holds something or lies in another session, groups whose ids would be the same),
    UnitError, DataError if the disk refuses.
    """
    from breakyard.units import parse_force

    inside = session_above(folder)
    if inside is not None:
        where = "this is a session already" if inside == folder.absolute() else f"this lies in {inside}"
        raise UsageError(f"{folder}: {where}; choose another folder")
    cell: dict[str, Any] = {}
    if wanted.capacity is not None:
        parse_force(wanted.capacity)
        cell["capacity"] = wanted.capacity
    if wanted.rated_output_mv_v is not None:
        cell["rated_output_mv_v"] = wanted.rated_output_mv_v
    info = SessionInfo(
        place=wanted.place,
        date=wanted.day,
        latitude_deg=wanted.latitude_deg,
        height_m=wanted.height_m,
        unit=wanted.unit,
        cell=cell,
    )
    return create_session(folder, info, new_specimens(wanted.groups, wanted.each))


def new_specimens(groups: Sequence[str], each: int, taken: Collection[str] = ()) -> tuple[Specimen, ...]:
    """Specimens named after their groups, "bonded-1" and so on. Raises: UsageError for ids that would be the same."""
    if not 0 < each <= MOST_SPECIMENS:
        raise UsageError(f"{each} specimens per group: give a number from 1 to {MOST_SPECIMENS}")
    made = tuple(
        Specimen(f"{name_from(group)}-{number}", group) for group in groups for number in range(1, each + 1)
    )
    if len({one.id for one in made} | set(taken)) < len(made) + len(set(taken)):
        raise UsageError(
            "two groups would give their specimens the same ids; choose names that differ in letters"
        )
    return made
