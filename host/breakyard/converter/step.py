"""What was measured of a logger's converter: a frozen value, and its JSON document with a content hash."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from types import MappingProxyType
from typing import Any, Final, Literal, Self

from breakyard.document import hash_of
from breakyard.errors import DataError

SCHEMA: Final = "breakyard.step/1"

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
class StepResponse:
    """The measured answer to a sudden step. `at`, `left`, `standard` have one item per point of the curve."""

    logger: str
    """The logger's serial number in hexadecimal."""
    created: str
    rate_hz: float
    gain: int | None
    verdict: FitsVerdict
    order: int
    """The order that fits best; to be relied on if the verdict is "order"."""
    order_weights: tuple[tuple[int, float], ...]
    """Orders tried, with their posterior weights."""
    at: tuple[float, ...]
    """Time since the cut, in conversions, as far as the best order tells when the fall began."""
    left: tuple[float, ...]
    standard: tuple[float, ...]
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

    @property
    def content_hash(self) -> str:
        """SHA-256 of everything in it."""
        return hash_of(self._content())

    def same_but_for_time(self, other: "StepResponse") -> bool:
        """Whether the other one says the same and was only made at another time."""
        return replace(self, created="") == replace(other, created="")

    def to_json(self) -> dict[str, Any]:
        """The document, with its hash."""
        return self._content() | {"hash": self.content_hash}

    def _content(self) -> dict[str, Any]:
        return {
            "schema": SCHEMA,
            "logger": self.logger,
            "created": self.created,
            "rate_hz": self.rate_hz,
            "gain": self.gain,
            "verdict": self.verdict,
            "order": self.order,
            "order_weights": {str(order): weight for order, weight in self.order_weights},
            "response": {
                "at_conversions": list(self.at),
                "left": list(self.left),
                "standard": list(self.standard),
            },
            "quality": asdict(self.quality),
            "sentences": list(self.sentences),
            "sources": [asdict(source) for source in self.sources],
        }

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Read a document. Raises: DataError if it is none, or was changed after it was made."""
        try:
            document = json.loads(text)
        except ValueError:
            raise DataError("this is no step response (not JSON)") from None
        if not isinstance(document, Mapping) or document.get("schema") != SCHEMA:
            found = document.get("schema") if isinstance(document, Mapping) else None
            raise DataError(f'this is no step response: its "schema" is {found!r}, expected "{SCHEMA}"')
        content = {key: value for key, value in document.items() if key != "hash"}
        try:
            if document.get("hash") != hash_of(content):
                raise DataError(
                    "this step response was changed after it was made (its hash disagrees): measure again"
                )
            return cls(
                logger=str(content["logger"]),
                created=str(content["created"]),
                rate_hz=float(content["rate_hz"]),
                gain=None if content["gain"] is None else int(content["gain"]),
                verdict=_verdict(content["verdict"]),
                order=int(content["order"]),
                order_weights=tuple((int(k), float(v)) for k, v in content["order_weights"].items()),
                at=tuple(map(float, content["response"]["at_conversions"])),
                left=tuple(map(float, content["response"]["left"])),
                standard=tuple(map(float, content["response"]["standard"])),
                quality=StepQuality(**content["quality"]),
                sentences=tuple(map(str, content["sentences"])),
                sources=tuple(StepSource(**source) for source in content["sources"]),
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise DataError(f"this step response cannot be read ({error}): measure again") from None


def _verdict(text: Any) -> FitsVerdict:
    if text in ("order", "neither", "unsure"):
        return text  # type: ignore[no-any-return]
    raise ValueError(f"verdict {text!r}")
