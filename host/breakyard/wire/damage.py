"""A stretch of bytes that is no record, as a report; the error of one record is in breakyard.errors."""

from dataclasses import dataclass

from breakyard.errors import DAMAGE
from breakyard.errors import DamagedRecord as DamagedRecord
from breakyard.wire.layout import Damage


@dataclass(frozen=True, slots=True)
class Damaged:
    """A stretch of bytes between delimiters that is not a record.

    `offset` counts from the first byte of the stream or file, `length` is in bytes, delimiters excluded.
    """

    offset: int
    length: int
    reason: Damage

    def __str__(self) -> str:
        return f"{self.length} bytes at {self.offset}: {DAMAGE[self.reason.name]}"
