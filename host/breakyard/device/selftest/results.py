"""What a self-test says: one verdict per check, and where to look when it failed."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final

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

    name: str
    verdict: Verdict
    found: str
    look: str = ""
    numbers: dict[str, float | int | None] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """As in the JSON face."""
        return {
            "check": self.name,
            "verdict": str(self.verdict),
            "found": self.found,
            "look": self.look or None,
            **self.numbers,
        }


def verdict(
    name: str, good: bool, found: str, look: str, letters: str, **numbers: float | int | None
) -> Check:
    """A check that was made."""
    if good:
        return Check(name, Verdict.PASSED, found, "", numbers)
    return Check(name, Verdict.FAILED, found, f"{look}: {FAULTS} {letters}", numbers)


def left_out(name: str, why: str, **numbers: float | int | None) -> Check:
    """A check that was not made, and why."""
    return Check(name, Verdict.LEFT_OUT, why, "", numbers)


@dataclass(frozen=True, slots=True)
class Report:
    """All checks at one setting of the RATE pin, in the order in which they were made.

    `rate` is "fast" or "slow", or None when the measured rate is neither or not known.
    """

    serial: str
    rate_hz: float
    rate: str | None
    checks: tuple[Check, ...]

    @property
    def passed(self) -> bool:
        """True unless a check failed."""
        return all(check.verdict != Verdict.FAILED for check in self.checks)

    def to_json(self) -> dict[str, Any]:
        """As in the JSON face."""
        return {
            "serial": self.serial,
            "rate": self.rate,
            "rate_hz": self.rate_hz,
            "passed": self.passed,
            "checks": [check.to_json() for check in self.checks],
        }
