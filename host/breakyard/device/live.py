"""What a logger says of itself many times a second, as a number that a person can read."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from breakyard.units import from_newtons
from breakyard.wire.layout import State
from breakyard.wire.records import Status

if TYPE_CHECKING:
    from breakyard.calibration import Calibration


@dataclass(frozen=True, slots=True)
class LiveNumber:
    """The load at one moment, not yet read: the true peak of a fast event may lie above every sample.

    Counts are those above the logger's own zero; loads are newtons, None without a calibration.
    """

    state: str
    """idle, armed, recording, fault ..."""
    counts: int
    largest_counts: int
    """Largest of the run under way."""
    samples: int
    """Of the run under way."""
    load_n: float | None = None
    largest_n: float | None = None

    @property
    def recording(self) -> bool:
        """Whether a run is being recorded."""
        return self.state == "recording"

    def text(self, unit: str = "N") -> str:
        """The number with its unit."""
        return _text(self.load_n, self.counts, unit)

    def largest_text(self, unit: str = "N") -> str:
        """The largest number of the run under way with its unit."""
        return _text(self.largest_n, self.largest_counts, unit)


def _text(load_n: float | None, counts: int, unit: str) -> str:
    return f"{counts:+9d} counts" if load_n is None else f"{from_newtons(load_n, unit):8.1f} {unit}"


def live_number(status: Status, calibration: "Calibration | None" = None) -> LiveNumber:
    """Make a number of a status, in newtons where a calibration is given."""
    zero = status.baseline_counts

    def load(counts: int) -> float | None:
        return None if calibration is None else float(calibration.load_n(counts, zero))

    return LiveNumber(
        state=state_name(status.state),
        counts=status.counts - zero,
        largest_counts=status.extreme_counts - zero,
        samples=status.samples,
        load_n=load(status.counts),
        largest_n=load(status.extreme_counts),
    )


def state_name(number: int | None) -> str:
    """A state of the protocol in a word; nothing for None."""
    if number is None:
        return ""
    try:
        return State(number).name.lower()
    except ValueError:
        return f"state {number}"
