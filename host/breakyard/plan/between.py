"""Blocks between cell and specimen: what the rig's description says that they take from the load, or may add to it."""

from collections.abc import Mapping
from typing import Any, Final

from breakyard.errors import BreakyardError, DataError
from breakyard.units import parse_mass

BLOCK: Final = "block"
SHEAVE_LOSS: Final = 0.09
"""The share that a sheave with a plain bearing takes; with rollers 4 % (textbook figures, as in `rules.SHEAVE`)."""


def blocks_between(
    rig: Mapping[str, Any], *, where: str = "session.toml"
) -> tuple[tuple[str, float, float], ...]:
    """Name, largest share of the load lost, and mass in kg, of each block that says `between = true`.

    Raises: DataError for values that cannot be.
    """
    found = []
    listed = rig.get("element", [])
    listed = [listed] if isinstance(listed, Mapping) else listed
    # What else is wrong with it, the rig's reader says.
    for entry in listed if isinstance(listed, list) else ():
        if not isinstance(entry, Mapping) or entry.get("kind") != BLOCK or entry.get("between") is not True:
            continue
        name = str(entry.get("name") or BLOCK)
        place = f'{where}: rig.element "{name}"'
        found.append((name, _loss(entry, place), _mass(entry, place)))
    return tuple(found)


def _loss(entry: Mapping[str, Any], where: str) -> float:
    value = entry.get("friction", SHEAVE_LOSS)
    value = value[-1] if isinstance(value, list) and value else value
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value < 0.9:
        raise DataError(
            f"{where}: friction is the share of the load that the block takes, as 0.05 or [0.04, 0.09]"
        )
    return float(value)


def _mass(entry: Mapping[str, Any], where: str) -> float:
    value = entry.get("mass")
    if value is None:
        return 0.0
    if not isinstance(value, str):
        raise DataError(f'{where}: write the mass with its unit, as mass = "3 kg"')
    try:
        return parse_mass(value)
    except BreakyardError as error:
        raise DataError(f"{where}: {error}") from None
