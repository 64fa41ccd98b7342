"""What was measured of a logger's converter: a frozen value, and its JSON document with a content hash."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import ClassVar, Final, Literal

from breakyard.document import Document, face
from breakyard.errors import DataError

FitsVerdict = Literal["order", "neither", "unsure"]

MEASURED: Final = 0.999
"""Weight of an order that was measured; the other one keeps the rest."""

NEITHER_ORDERS: Final[Mapping[int, float]] = MappingProxyType({2: 0.25, 3: 0.25, 4: 0.25, 5: 0.25})
"""Allowed for where the measured response is that of no third- or fourth-order filter."""

SAME_RATE: Final = 0.3
"""A response holds for runs whose rate lies within this fraction of the one it was measured at."""


@dataclass(frozen=True, slots=True)
class StepSource:
    """One recording that was used: its name, the SHA-256 of its bytes, and the cuts found in it."""

    name: str
    sha256: str
    cuts: int


@dataclass(frozen=True, slots=True)
class StepQuality:
    """Whether the data are good enough. Durations and times are in conversions."""

    found: int
    used: int
    with_missing: int
    """Cuts left out because a conversion is missing in their fall."""
    largest_phase_gap: float
    """Largest part of a conversion, of 1, into which no cut fell."""
    quick: int
    """Cuts that let go within 0.4 conversions."""
    median_duration: float
    ringing: float
    """Most that is put down to ringing during the fall, as a share of the mass; median of the cuts."""
    noise: float
    """Median standard deviation of one sample, as a share of the mass."""
    misfit: float
    """Median misfit of the best order: near 1 if it fits."""
    departure: float
    """Largest difference between the measured shares and those of the best order."""


@dataclass(frozen=True, slots=True)
class StepResponse(Document):
    """The measured answer to a sudden step. `at`, `left`, `standard` have one item per point of the curve."""

    SCHEMA: ClassVar = "breakyard.step/1"
    NOUN: ClassVar = "step response"
    AGAIN: ClassVar = "measure again"
    HASHED: ClassVar = True

    logger: str
    """The logger's serial number in hexadecimal."""
    created: str
    rate_hz: float
    gain: int | None
    verdict: FitsVerdict
    order: int
    """The order that fits best; to be relied on if the verdict is "order"."""
    order_weights: tuple[tuple[int, float], ...] = field(metadata=face(pairs=True))
    """Orders tried, with their posterior weights."""
    at: tuple[float, ...] = field(metadata=face("response.at_conversions"))
    """Time since the cut, in conversions, as far as the best order tells when the fall began."""
    left: tuple[float, ...] = field(metadata=face("response.left"))
    standard: tuple[float, ...] = field(metadata=face("response.standard"))
    quality: StepQuality
    sentences: tuple[str, ...]
    sources: tuple[StepSource, ...]

    @property
    def usable(self) -> bool:
        """Whether it says more than the data sheet does."""
        return self.verdict != "unsure"

    def weights(self) -> Mapping[int, float]:
        """Filter orders with the weights to read peaks with. Raises: DataError if it is not sure."""
        if self.verdict == "order":
            return {self.order: MEASURED, 7 - self.order: 1.0 - MEASURED}
        if self.verdict == "neither":
            return NEITHER_ORDERS
        raise DataError("this step response is not sure: measure it again")

    def fits_rate(self, rate_hz: float) -> bool:
        """Whether a run at this rate was made in the same way."""
        return abs(rate_hz / self.rate_hz - 1.0) <= SAME_RATE

    def same_but_for_time(self, other: "StepResponse") -> bool:
        """Whether the other one says the same and was only made at another time."""
        return replace(self, created="") == replace(other, created="")
