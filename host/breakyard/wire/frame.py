"""Records out of a stream that arrives in pieces of any size. No I/O, no clock: bytes in, records out.

Law: a record is written as 00, stuffed record, 00, so a changed byte never damages two records. Bytes between
two zeros are one stretch; an empty stretch is nothing; any other is a record or is reported as damaged. What
comes out never depends on how the stream was cut into pieces.
"""

from collections.abc import Callable
from enum import Enum
from typing import Final, Literal, TypeVar

from breakyard.wire.cobs import stuff, unstuff
from breakyard.wire.damage import Damaged, DamagedRecord
from breakyard.wire.layout import MAX_RECORD, Damage
from breakyard.wire.records import Record, check, parse

_T = TypeVar("_T")


class _Need(Enum):
    NEED_DATA = "need data"


NEED_DATA: Final = _Need.NEED_DATA
"""Everything received so far has been given out."""

NeedData = Literal[_Need.NEED_DATA]

LONGEST_BODY: Final = MAX_RECORD + 1
"""Stuffed bytes of the largest record."""


def frame(record: bytes) -> bytes:
    """Return the bytes of one record as they go over a link or into a file."""
    return b"\0" + stuff(record) + b"\0"


def unframe(body: bytes) -> bytes:
    """Return the record of one stretch between delimiters, checksum checked.

    Raises: DamagedRecord (TOO_LONG, BAD_STUFFING, TOO_SHORT, BAD_CHECKSUM).
    """
    if len(body) > LONGEST_BODY:
        raise DamagedRecord(Damage.TOO_LONG, f"{len(body)} stuffed bytes")
    record = unstuff(body)
    check(record)
    return record


class FrameReader:
    """Feed it with receive_data, drain it with next_record (or next_bytes) until NEED_DATA."""

    def __init__(self) -> None:
        self._buffer = bytearray()
        self._offset = 0  # of the buffer's first byte within the stream
        self._scanned = 0  # bytes of the buffer known to hold no delimiter
        self._skipped = 0  # bytes of an over-long stretch thrown away already
        self._ended = False

    def receive_data(self, data: bytes) -> None:
        """Take the next bytes of the stream, as many as there are."""
        self._buffer += data

    def receive_end(self) -> None:
        """The stream has ended: what lacks its last delimiter is now judged like any other stretch."""
        self._ended = True

    def next_bytes(self) -> bytes | Damaged | NeedData:
        """Return the next record's bytes, unframed and with a checksum that agrees, or what was damaged."""
        return self._next(bytes)

    def next_record(self) -> Record | Damaged | NeedData:
        """Return the next record, or the next damaged stretch, or NEED_DATA. Raises nothing."""
        return self._next(parse)

    def _next(self, finish: Callable[[bytes], _T]) -> _T | Damaged | NeedData:
        while (taken := self._next_stretch()) is not None:
            body, offset, length = taken
            if not length:
                continue
            if length > LONGEST_BODY:
                return Damaged(offset, length, Damage.TOO_LONG)
            try:
                return finish(unframe(body))
            except DamagedRecord as error:
                return Damaged(offset, length, error.reason)
        return NEED_DATA

    def _next_stretch(self) -> tuple[bytes, int, int] | None:
        """Remove the next stretch from the buffer before anyone judges it: (bytes, offset, length)."""
        end = self._buffer.find(0, self._scanned)
        if end < 0:
            if not self._ended or not (self._buffer or self._skipped):
                self._forget_overlong()
                return None
            end = len(self._buffer)
        body = bytes(self._buffer[:end])
        offset, length = self._offset - self._skipped, end + self._skipped
        removed = min(end + 1, len(self._buffer))
        del self._buffer[:removed]
        self._offset += removed
        self._scanned = self._skipped = 0
        return body, offset, length

    def _forget_overlong(self) -> None:
        """Keep memory bounded: a stretch that is too long already is only counted."""
        self._scanned = len(self._buffer)
        if self._skipped or self._scanned > LONGEST_BODY:
            self._skipped += self._scanned
            self._offset += self._scanned
            self._buffer.clear()
            self._scanned = 0
