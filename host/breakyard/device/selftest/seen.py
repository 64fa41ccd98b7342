"""What was measured, as plain data between the measuring and the judging."""

from dataclasses import dataclass

from breakyard.wire.layout import GAINS, Input


@dataclass(frozen=True, slots=True)
class SelfTestResults:
    """The results of SELF_TEST, by the names of the protocol's table, and the logger's fault at the time."""

    samples: int
    span_ms: int
    missed: int
    late: int
    on_rail: int
    settling: int
    out_of_step: int
    mean_counts: int
    lowest_counts: int
    highest_counts: int
    noise_millicounts: int
    input: int
    free_memory: int = 0
    fault: int = 0

    @property
    def usable(self) -> int:
        """Samples that tell something of the input."""
        return self.samples - self.settling - self.out_of_step

    @property
    def rate_hz(self) -> float:
        """Conversions a second, those not read included; 0 when not known."""
        steps = self.samples - 1 + self.missed
        return steps * 1000.0 / self.span_ms if self.span_ms and steps > 0 else 0.0

    @property
    def noise_counts(self) -> float:
        """Standard deviation, in counts."""
        return self.noise_millicounts / 1000.0

    @property
    def gain(self) -> int:
        """Of the input."""
        return GAINS.get(Input(self.input), 128) if self.input in list(Input) else 128


@dataclass(frozen=True, slots=True)
class Press:
    """What was seen while the builder pressed the cell, in counts from the zero before. `largest` has a sign."""

    largest: int
    pressed: bool
    returned: bool
    left: int


@dataclass(frozen=True, slots=True)
class Store:
    """The results of TEST_STORE; `outcome` is None when the logger did not allow it."""

    outcome: int | None
    bytes: int = 0
    write_ms: int = 0
    read_ms: int = 0


@dataclass(frozen=True, slots=True)
class Supply:
    """Of the first and the last status of the test."""

    restarted: bool
    reset_cause: int
    battery_mv: int
    lowest_battery_mv: int
    seconds_left: int
    crash_lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Clock:
    """How much faster the logger's clock ran than this computer's over a span, and how surely."""

    relative: float
    uncertainty: float
    span_s: float
