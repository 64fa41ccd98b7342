"""The logger's settings in words: what each is, and values as people write them."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from breakyard.errors import UnitError, UsageError

if TYPE_CHECKING:
    from breakyard.wire.records import CalibrationCopy

MEANINGS: Final = {
    "threshold_counts": "distance from zero that starts a run",
    "trigger_samples": "samples in a row beyond the threshold that start a run",
    "pre_trigger_ms": "kept from before",
    "hang_ms": "time below the threshold that ends a run",
    "input": "of the converter",
    "status_ms": "time from one live number to the next",
    "commit_ms": "longest time until a sample is safe on flash",
    "capacity_counts": "the cell's rated capacity, where its overload begins; 0: not known",
    "mean_ms": "mean, lowest and highest over this time are stored; 0: every sample is",
    "privacy": "what strangers are told by radio; 0: as the access says, 1: serial number and name, 2: neither",
    "alarm_counts": "the stop load, at which lamp and buzzer call; 0: no alarm there",
}
"""In the order of the protocol's table."""

_INPUTS: Final = {"A128": "channel A, gain 128", "B32": "channel B, gain 32", "A64": "channel A, gain 64"}
_MILLISECONDS: Final = {"": 1.0, "ms": 1.0, "s": 1000.0, "min": 60000.0}


@dataclass(frozen=True, slots=True)
class Wish:
    """A setting by name, and the value it is to have: a number, or a force that a calibration makes one of."""

    name: str
    text: str
    value: int = 0
    force_n: float | None = None

    def number(self, copy: "CalibrationCopy | None", input_number: int) -> int:
        """The value in the setting's own unit, within its limits. Raises: UsageError."""
        if self.force_n is None:
            return _within(self.name, self.text, self.value)
        if copy is None:
            raise UsageError(
                f"{self.text}: the logger keeps no calibration that makes counts of a force; give one with "
                "--calibration, or say counts"
            )
        each = newtons_per_count(copy, input_number)
        if each is None:
            raise UsageError(
                f'{self.text}: the calibration "{copy.name}" is for another input of the converter'
            )
        return _within(self.name, self.text, round(abs(self.force_n / each)))


def parse_setting(text: str) -> Wish:
    """Read NAME=VALUE; the unit in a name may be left out, and a value may have its own. Raises: UsageError."""
    name, equals, value = (part.strip() for part in text.partition("="))
    names = [one for one in MEANINGS if name.lower() in (one, one.rpartition("_")[0])]
    if not name or not equals or not names:
        known = ", ".join(MEANINGS)
        raise UsageError(f"{text}: say NAME=VALUE, with one of {known}; others stand in settings.txt only")
    (full,) = names
    if full == "input":
        return _input(text, value)
    if full.endswith("_counts"):
        return _counts(full, text, value)
    number, unit = _split(text, value)
    units = _MILLISECONDS if full.endswith("_ms") else {"": 1.0, "samples": 1.0}
    if unit not in units:
        raise UsageError(f"{text}: {full} is given in {' or '.join(filter(None, units))}")
    return Wish(full, text, _within(full, text, number * units[unit]))


def value_words(name: str, value: int, each_n: float | None, unit: str) -> str:
    """A value with its unit, and as a force where newtons per count are known."""
    from breakyard.units import from_newtons, significant
    from breakyard.wire.layout import Input

    if name == "input":
        try:
            return _INPUTS[Input(value).name]
        except ValueError:
            return f"input {value}"
    if name.endswith("_ms"):
        return f"{value} ms"
    if not name.endswith("_counts"):
        return f"{value} samples"
    if each_n is None or not value:
        return f"{value} counts"
    return f"{value} counts = {significant(from_newtons(value * each_n, unit), 4)} {unit}"


def newtons_per_count(copy: "CalibrationCopy | None", input_number: int) -> float | None:
    """Of a distance in counts; None without a calibration for that input.

    The slope alone: what a cell's curve bends is far below what a threshold needs.
    """
    if copy is None or copy.input != input_number or not copy.scale_counts:
        return None
    return abs(copy.c1_n) / copy.scale_counts or None


def _input(text: str, value: str) -> Wish:
    from breakyard.wire.layout import Input

    for one in Input:
        if value.upper() in (one.name, str(int(one))):
            return Wish("input", text, int(one))
    raise UsageError(f"{text}: an input is {', '.join(f'{name} ({_INPUTS[name]})' for name in _INPUTS)}")


def _counts(name: str, text: str, value: str) -> Wish:
    from breakyard.units import parse_force

    number, unit = _split(text, value)
    if unit in ("", "counts"):
        return Wish(name, text, _within(name, text, number))
    try:
        return Wish(name, text, force_n=parse_force(value))
    except UnitError as error:
        raise UsageError(f"{text}: {error}") from None


def _split(text: str, value: str) -> tuple[float, str]:
    from breakyard.units import split_quantity

    try:
        return split_quantity(value)
    except UnitError:
        pass
    try:
        return float(value), ""
    except ValueError:
        raise UsageError(f"{text}: {value or 'nothing'} is no number with a unit") from None


def _within(name: str, text: str, value: float) -> int:
    from breakyard.wire.layout import SETTING_LIMITS, Setting

    lowest, _, highest = SETTING_LIMITS[Setting[name.upper()]]
    if value != round(value) or not lowest <= value <= highest:
        raise UsageError(f"{text}: {name} is a whole number from {lowest} to {highest}")
    return round(value)
