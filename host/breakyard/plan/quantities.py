"""Loads as people type and read them: "300..500 kgf" in, three significant digits out."""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from breakyard.errors import UnitError, UsageError
from breakyard.units import force_unit, from_newtons, parse_force, significant, to_newtons

_RANGE: Final = re.compile(
    r"\s*([0-9]*[.,]?[0-9]+)\s*([A-Za-z]*)\s*(?:\.\.\.?|-|\N{EN DASH}|to)\s*([0-9]*[.,]?[0-9]+)\s*([A-Za-z]+)\s*"
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to know: "no" fails the check; a caution or a note does not. `text` is a sentence or two for people."""

    code: str
    level: Literal["no", "caution", "note"]
    text: str


LEVELS: Final = ("no", "caution", "note")


def sort_findings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """What fails first, then cautions, then notes; otherwise in the order given."""
    return tuple(sorted(findings, key=lambda finding: LEVELS.index(finding.level)))


def count_findings(findings: Sequence[Finding], good: str, bad: str) -> str:
    """One line: whether anything fails the check, and how many cautions and notes there are."""
    numbers = {level: sum(finding.level == level for finding in findings) for level in LEVELS}
    more = [
        f"{number} {level}{'s' if number > 1 else ''}"
        for level, number in numbers.items()
        if number and level != "no"
    ]
    return ", ".join([bad if numbers["no"] else good, *more])


def parse_force_range(text: str) -> tuple[float, float]:
    """Newtons of "300..500 kgf", "0.3 tf to 500 kgf" or a single "400 kgf" (then both ends are the same).

    Raises: UnitError (unknown unit, a mass), UsageError (not positive, ends the wrong way round).
    """
    if match := _RANGE.fullmatch(text):
        unit = match[4]
        low = to_newtons(float(match[1].replace(",", ".")), match[2] or unit)
        high = to_newtons(float(match[3].replace(",", ".")), unit)
    else:
        low = high = parse_force(text)
    if not (low > 0.0 and math.isfinite(high)):
        raise UsageError(f'"{text}": a load to plan for must be more than zero')
    if low > high:
        raise UsageError(f'"{text}": the lower end is above the upper end')
    return low, high


def unit_of(text: str) -> str:
    """The unit of force at the end of "300..500 kgf". Raises: UnitError."""
    letters = re.search(r"[A-Za-z]+\s*$", text)
    if letters is None:
        raise UnitError(f'"{text}" has no unit of force, as in "300 kgf"')
    return force_unit(letters[0])


def parse_stiffness(text: str) -> float:
    """Newtons per metre of "20 kN/m". Raises: UnitError, UsageError."""
    head, slash, tail = text.rpartition("/")
    if not slash or tail.strip() != "m":
        raise UnitError(f'"{text}" is not a stiffness, as in "20 kN/m"')
    stiffness = parse_force(head)
    if not stiffness > 0.0:
        raise UsageError(f'"{text}": a stiffness must be more than zero')
    return stiffness


def show_force(force_n: float, unit: str) -> str:
    """A force in the user's unit with three significant digits: "412 kgf", "0.0031 kgf". Raises: UnitError."""
    return f"{show_number(from_newtons(force_n, unit))} {force_unit(unit)}"


def show_range(low_n: float, high_n: float, unit: str) -> str:
    """ "300 to 500 kgf", or one number where both ends read the same."""
    low, high = (show_number(from_newtons(value, unit)) for value in (low_n, high_n))
    return f"{low} {force_unit(unit)}" if low == high else f"{low} to {high} {force_unit(unit)}"


def show_number(value: float) -> str:
    """Three significant digits without an exponent; whole numbers in full."""
    return f"{value:.0f}" if 99.95 <= abs(value) < math.inf else significant(value, 3)


def show_percent(share: float) -> str:
    """ "87 %", "3.2 %"; a share is 1 at 100 %."""
    percent = 100.0 * share
    if not math.isfinite(percent):
        return "unbounded"
    return f"{percent:.0f} %" if percent >= 10.0 else f"{percent:.2g} %"


def show_span(low: float, high: float) -> str:
    """Two numbers as a range, or one where they read the same."""
    first, last = show_number(low), show_number(high)
    return first if first == last else f"{first} to {last}"


def show_force_down(force_n: float, unit: str) -> str:
    """A limit for people, rounded down to three digits: never more than it is."""
    value = from_newtons(force_n, unit)
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return f"{show_number(math.floor(value / step * (1.0 + 1e-12)) * step)} {force_unit(unit)}"
