"""What can be wrong with the bytes of a record, as an error and as a report."""

from dataclasses import dataclass
from typing import Final

from breakyard.errors import DataError
from breakyard.wire.layout import Damage

SENTENCES: Final = {
    Damage.BAD_STUFFING: "its stuffing points past its end",
    Damage.TOO_SHORT: "it is shorter than a header and a checksum",
    Damage.TOO_LONG: "it is longer than a record can be",
    Damage.BAD_CHECKSUM: "its checksum does not agree",
    Damage.BAD_LENGTH: "its length does not fit its fields",
    Damage.BAD_VALUE: "a field has a value that the protocol rules out",
}


class DamagedRecord(DataError):
    """One record cannot be used; `reason` says why, `detail` where in the record."""

    def __init__(self, reason: Damage, detail: str = "") -> None:
        self.reason = reason
        self.detail = detail
        tail = f" ({detail})" if detail else ""
        super().__init__(f"damaged record dropped: {SENTENCES[reason]}{tail}")


@dataclass(frozen=True, slots=True)
class Damaged:
    """A stretch of bytes between delimiters that is not a record.

    `offset` counts from the first byte of the stream or file, `length` is in bytes, delimiters excluded.
    """

    offset: int
    length: int
    reason: Damage

    def __str__(self) -> str:
        return f"{self.length} bytes at {self.offset}: {SENTENCES[self.reason]}"
