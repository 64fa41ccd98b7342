"""The conditions of a pull, where people wrote them: in the command, the recording's notes, the table of specimens or
session.toml; what is said nearest to the pull counts.

A column or key says its unit in its name: temperature_C, misalignment_deg, pull_speed_mm_min. In session.toml and in
notes they are keys, in specimens.csv columns. Whatever else people add is their own and only shown.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from breakyard.errors import DataError, UnitError, UsageError
from breakyard.formats.recording import LENGTH_UNITS, TIME_UNITS, length_unit, time_unit
from breakyard.session.options import ReadOptions

if TYPE_CHECKING:
    from breakyard.session.pulls import Pull

FASTEST_PULL_M_PER_S: Final = 20.0

TEMPERATURE, MISALIGNMENT, SPEED = "temperature", "misalignment", "pull_speed"

_TEMPERATURES: Final = {"c": (1.0, 0.0), "f": (5.0 / 9.0, -160.0 / 9.0), "k": (1.0, -273.15)}
"""Degrees Celsius of a number: factor and offset (NIST SP 811, B.8)."""

_LIMITS: Final = {TEMPERATURE: (-60.0, 80.0, "C"), MISALIGNMENT: (0.0, 30.0, "degrees")}


def condition_of(name: str) -> tuple[str, str] | None:
    """What a column or key tells, with the unit in its name: "pull_speed_mm_min" -> ("pull_speed", "mm min").

    None for what is no condition.
    """
    words = re.sub(r"[^a-z0-9]+", " ", name.lower()).split()
    if words[:2] == ["pull", "speed"]:
        return SPEED, " ".join(word for word in words[2:] if word != "per")
    if words and words[0] in (TEMPERATURE, MISALIGNMENT) and len(words) <= 2:
        return words[0], " ".join(words[1:])
    return None


def with_conditions(options: ReadOptions, pull: "Pull") -> ReadOptions:
    """The options with the conditions of one pull filled in where the command does not say them.

    Raises: DataError, with the file and the column or key.
    """
    found = {
        TEMPERATURE: options.temperature_c,
        MISALIGNMENT: options.misalignment_deg,
        SPEED: options.pull_speed_m_per_s,
    }
    for table, where in places_of(pull):
        for name, text in table.items():
            told = condition_of(name)
            if told is not None and found[told[0]] is None:
                found[told[0]] = _number(*told, text, f"{where}, {name}")
    return replace(
        options,
        temperature_c=found[TEMPERATURE],
        misalignment_deg=found[MISALIGNMENT],
        pull_speed_m_per_s=found[SPEED],
    )


def places_of(pull: "Pull") -> list[tuple[Mapping[str, Any], str]]:
    """Where people may tell something of a pull, the nearest first, each with its name. Raises: DataError (notes)."""
    session = pull.session
    if session is None:
        return []
    places: list[tuple[Mapping[str, Any], str]] = []
    if pull.path.parent.resolve() == session.layout.runs.resolve():
        places.append((session.notes(pull.path.stem).more, f"{pull.path.stem}.toml"))
    if pull.row is not None:
        places.append((pull.row.more, f"specimens.csv, {pull.row.id}"))
    places.append((session.info.more, "session.toml"))
    return places


def _number(what: str, unit: str, said: Any, where: str) -> float | None:
    """A condition in our units; None for an empty cell. Raises: DataError."""
    text = str(said).strip()
    if not text:
        return None
    try:
        if what == SPEED:
            return parse_speed(text if not _plain(text) else f"{text} {_as_speed_unit(unit)}")
        match = re.fullmatch(r"([+-]?[\d.,]+)\s*(?:°|deg\.?|degrees?)?\s*([CFKcfk]?)", text)
        if match is None:
            raise UsageError("it is no number")
        value = float(match[1].replace(",", "."))
        if what == TEMPERATURE:
            scale = (match[2] or unit or "C").lower()
            if scale not in _TEMPERATURES:
                raise UsageError(f'"{scale}" is no scale of temperature: C or F')
            factor, offset = _TEMPERATURES[scale]
            value = factor * value + offset
        low, high, words = _LIMITS[what]
        if not (math.isfinite(value) and low <= value <= high):
            raise UsageError(f"give {low:g} to {high:g} {words}")
    except (UnitError, UsageError, ValueError) as error:
        raise DataError(f'{where}: "{text[:40]}" is not sensible: {error}') from None
    return value


def _plain(text: str) -> bool:
    return re.fullmatch(r"[\d.,]+(?:[eE][+-]?\d+)?", text) is not None


def _as_speed_unit(unit: str) -> str:
    """ "mm min" -> "mm/min"; millimetres per second where the name says nothing."""
    words = unit.split()
    if not words:
        return "mm/s"
    return f"{words[0]}/{words[1] if len(words) > 1 else 's'}"


def parse_speed(text: str) -> float:
    """A speed in metres per second from "5" (mm/s), "5 mm/s", "0.3 m/min". Raises: UsageError."""
    match = re.fullmatch(r"\s*([\d.,]+(?:[eE][+-]?\d+)?)\s*(?:([^\d\s/]+)\s*/\s*(\w+))?\s*", text)
    try:
        if match is None:
            raise ValueError
        value = float(match[1].replace(",", "."))
        if match[2]:
            speed = value * LENGTH_UNITS[length_unit(match[2])] / TIME_UNITS[time_unit(match[3])]
        else:
            speed = value * LENGTH_UNITS["mm"]
    except (ValueError, KeyError, UnitError):
        raise UsageError(f'"{text}" is no speed; write 5 (mm/s), "5 mm/s" or "0.3 m/min"') from None
    if not 0.0 < speed <= FASTEST_PULL_M_PER_S:
        raise UsageError(
            f'"{text}" is not sensible: give a speed above 0, up to {FASTEST_PULL_M_PER_S:g} m/s'
        )
    return speed
