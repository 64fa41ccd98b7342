"""What a self-test says: one verdict per check, and where to look when it failed."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import ClassVar, Final

from breakyard.document import face

FAULTS: Final = "hardware_notes/faults.md"


class Verdict(StrEnum):
    """What became of a check."""

    PASSED = "passed"
    FAILED = "failed"
    LEFT_OUT = "left out"


@dataclass(frozen=True, slots=True)
class Check:
    """One check. `found` says what was seen, `look` what to check and the letters of faults.md when it failed.

    `numbers` are for programs: names end in their unit.
    """

    name: str = field(metadata=face("check"))
    verdict: Verdict
    found: str
    look: str | None = None
    numbers: dict[str, float | int | None] = field(default_factory=dict, metadata=face(flat=True))


def verdict(
    name: str, good: bool, found: str, look: str, letters: str, **numbers: float | int | None
) -> Check:
    """A check that was made."""
    if good:
        return Check(name, Verdict.PASSED, found, None, numbers)
    return Check(name, Verdict.FAILED, found, f"{look}: {FAULTS} {letters}", numbers)


def left_out(name: str, why: str, **numbers: float | int | None) -> Check:
    """A check that was not made, and why."""
    return Check(name, Verdict.LEFT_OUT, why, None, numbers)


@dataclass(frozen=True, slots=True)
class Report:
    """All checks at one setting of the RATE pin, in the order in which they were made.

    `rate` is "fast" or "slow", or None when the measured rate is neither or not known.
    """

    ALSO_IN_JSON: ClassVar = {"passed": "passed"}

    serial: str
    rate_hz: float
    rate: str | None
    checks: tuple[Check, ...]

    @property
    def passed(self) -> bool:
        """True unless a check failed."""
        return all(check.verdict != Verdict.FAILED for check in self.checks)
