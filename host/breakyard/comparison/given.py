"""Plain values -> Observations: numbers that someone has already, some of them only "at least"."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from breakyard.comparison.observations import Observation, Quantity, observe
from breakyard.errors import DataError, UsageError
from breakyard.pull.results import Summary
from breakyard.units import parse_force, split_quantity, to_newtons


@dataclass(frozen=True, slots=True)
class AtLeast:
    """A specimen that bears this much or more: it did not break, or went off scale.

    Example:
        >>> import breakyard as by
        >>> by.at_least(500)
        AtLeast(500)
    """

    value: float

    def __repr__(self) -> str:
        return f"AtLeast({self.value:g})"


Value = float | str | AtLeast | Summary
"""A load: a number in the stated unit, a text ("412 kgf", "at least 500", ">= 500 kgf"), or a pull's summary."""

_AT_LEAST: Final = re.compile(r"\s*(?:at least|>=|≥|>)\s*(.+)", re.IGNORECASE)


def at_least(value: float) -> AtLeast:
    """Say that a specimen bears this much or more, because it did not break or went off scale.

    Args:
        value: in the unit that the comparison is given.

    Example:
        >>> import breakyard as by
        >>> by.compare({"bonded": [410, by.at_least(500)], "screwed": [310, 330]}, unit="kgf").groups[0].at_least
        1
    """
    return AtLeast(float(value))


def observations_from(
    groups: Mapping[str, Iterable[Value]] | Sequence[Iterable[Value]], *, unit: str, of: Quantity = "strength"
) -> tuple[Observation, ...]:
    """Take each group's values as specimens that are known exactly; groups without names get letters.

    Raises: UsageError (what is no load), DataError (a load that is not above zero), UnitError.
    """
    named = groups if isinstance(groups, Mapping) else dict(zip(_letters(len(groups)), groups, strict=True))
    found: list[Observation] = []
    for group, values in named.items():
        if isinstance(values, str | int | float | AtLeast | Summary):
            raise UsageError(
                f'group "{group}": give a list of loads, as {{"bonded": [410, 395, "at least 500"]}}, not {values!r}'
            )
        before = len(found)
        for number, value in enumerate(values, start=1):
            found.append(_observation(str(group), number, value, unit, of))
        if len(found) == before:
            raise DataError(f'group "{group}" has no loads; give it one, or leave it out')
    if not found:
        raise DataError("there is nothing to compare: give each group at least one load")
    return tuple(found)


def _observation(group: str, number: int, value: Value, unit: str, of: Quantity) -> Observation:
    if isinstance(value, Summary):
        observed = observe(value, group=group, of=of)
        if observed is None:
            raise DataError(f"{value.run.name}: nothing settled after its peak; compare another quantity")
        return observed
    load, bound = value, False
    if isinstance(load, AtLeast):
        load, bound = load.value, True
    if isinstance(load, str):
        if (match := _AT_LEAST.fullmatch(load)) is not None:
            load, bound = match[1], True
        newtons = _newtons(load, group, unit)
    else:
        try:
            newtons = to_newtons(float(load), unit)
        except (TypeError, ValueError):
            raise UsageError(f'group "{group}": {load!r} is no load; give a number in {unit}') from None
    return Observation(group, f"{group} {number}", newtons, at_least=bound)


def _newtons(text: str, group: str, unit: str) -> float:
    try:
        return to_newtons(float(text.replace(",", ".")), unit)
    except ValueError:
        pass
    try:
        split_quantity(text)
    except ValueError:
        raise UsageError(
            f'group "{group}": "{text}" is no load; write 412, "412 kgf" or "at least 412"'
        ) from None
    return parse_force(text)


def _letters(number: int) -> list[str]:
    if number > 26:
        raise UsageError(f"{number} groups: give them names, as a dictionary of lists")
    return [chr(ord("A") + place) for place in range(number)]
