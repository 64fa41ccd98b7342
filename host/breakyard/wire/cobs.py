"""Consistent Overhead Byte Stuffing: a record without zero bytes, so that a zero can delimit it.

Source: S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7
(1999) 159. One record is at most 254 bytes, so its stuffed form is always exactly one byte longer: the first
byte leads to the first zero, each zero's place holds the distance to the next. `bulk` relies on this.
"""

from breakyard.wire.damage import DamagedRecord
from breakyard.wire.layout import MAX_RECORD, Damage


def stuff(record: bytes) -> bytes:
    """Return the stuffed form without delimiters. Takes any length, even more than a record may have."""
    blocks = bytearray()
    pieces = record.split(b"\0")
    last = len(pieces) - 1
    for number, piece in enumerate(pieces):
        rest = piece
        while len(rest) > MAX_RECORD or (len(rest) == MAX_RECORD and number < last):
            blocks += b"\xff" + rest[:MAX_RECORD]
            rest = rest[MAX_RECORD:]
        blocks.append(len(rest) + 1)
        blocks += rest
    return bytes(blocks)


def unstuff(body: bytes) -> bytes:
    """Undo `stuff`. Raises: DamagedRecord (BAD_STUFFING) for a code of 0 or one that points past the end."""
    out = bytearray()
    place, end = 0, len(body)
    if not end:
        raise DamagedRecord(Damage.BAD_STUFFING, "nothing between the delimiters")
    while place < end:
        code = body[place]
        block = body[place + 1 : place + code]
        if len(block) != code - 1 or 0 in block:
            raise DamagedRecord(Damage.BAD_STUFFING, f"at byte {place}")
        out += block
        place += code
        if place < end and code != 0xFF:
            out.append(0)
    return bytes(out)
