"""Records in a caller's buffer: header, fields, CRC-32. Writes what the logger sends, reads commands.

`begin`, then `pack` or the sample calls, then `finish`. `put_sample` allocates nothing; the others may
allocate a little and run once per record.
"""

from binascii import crc32
from struct import pack_into, unpack_from

from .layout import (
    DAMAGE_BAD_CHECKSUM,
    DAMAGE_BAD_VALUE,
    DAMAGE_TOO_LONG,
    DAMAGE_TOO_SHORT,
    HEADER,
    MAX_RECORD,
    MAX_TEXT,
    MIN_RECORD,
    QUALITY_SHIFT,
    TRAILER,
    VERSION,
)


def begin(buffer: bytearray, kind: int, run: int, index: int) -> int:
    """Write a record's header; return where its payload starts."""
    pack_into("<BBHI", buffer, 0, kind, VERSION, run, index)
    return HEADER


def put_sample(buffer: bytearray, at: int, counts: int, quality: int, step: int) -> int:
    """Write one sample; return the end."""
    stamp = (quality << QUALITY_SHIFT) | step
    buffer[at] = counts & 255
    buffer[at + 1] = (counts >> 8) & 255
    buffer[at + 2] = (counts >> 16) & 255
    buffer[at + 3] = stamp & 255
    buffer[at + 4] = stamp >> 8
    return at + 5


def text_bytes(text: str) -> bytes:
    """UTF-8 of a text, cut at a whole character so that it fits a text field."""
    raw = text.encode()
    if len(raw) <= MAX_TEXT:
        return raw
    end = MAX_TEXT
    while raw[end] & 0xC0 == 0x80:
        end -= 1
    return raw[:end]


def pack(buffer: bytearray, at: int, layout: str, values: tuple) -> int:  # type: ignore[type-arg]
    """Write fields by their layout (see layout.py); return the end. Texts are given as bytes."""
    for i in range(len(layout)):
        code = layout[i]
        value = values[i]
        if code == "B":
            buffer[at] = value
            at += 1
        elif code == "H":
            pack_into("<H", buffer, at, value)
            at += 2
        elif code == "I":
            pack_into("<I", buffer, at, value)
            at += 4
        elif code == "i":
            buffer[at] = value & 255
            buffer[at + 1] = (value >> 8) & 255
            buffer[at + 2] = (value >> 16) & 255
            at += 3
        else:  # f 8 S t *: bytes, a text with its length before it
            if code == "t":
                buffer[at] = len(value)
                at += 1
            end = at + len(value)
            buffer[at:end] = value
            at = end
    return at


def finish(buffer: bytearray, end: int) -> int:
    """Write the CRC after a payload that ends at `end`; return the length of the record."""
    pack_into("<I", buffer, end, crc32(memoryview(buffer)[:end]))
    return end + TRAILER


def damage(buffer: bytearray, length: int) -> int:
    """Say what is wrong with a received record: 0, or one of the DAMAGE numbers."""
    if length < MIN_RECORD:
        return DAMAGE_TOO_SHORT
    if length > MAX_RECORD:
        return DAMAGE_TOO_LONG
    end = length - TRAILER
    if crc32(memoryview(buffer)[:end]) != unpack_from("<I", buffer, end)[0]:
        return DAMAGE_BAD_CHECKSUM
    if buffer[1] == 0:
        return DAMAGE_BAD_VALUE
    return 0


def numbers(buffer: bytearray) -> tuple[int, int]:
    """Run and index in the header of a record."""
    return unpack_from("<HI", buffer, 2)


def unpack(buffer: bytearray, at: int, end: int, layout: str) -> list | None:  # type: ignore[type-arg]
    """Read fields between `at` and `end`; None when they do not fit.

    The last item of the list is where reading stopped. Texts come as bytes, at most MAX_TEXT, valid UTF-8;
    an f32 as its four bytes, never an infinity or NaN.
    """
    values: list = []  # type: ignore[type-arg]
    for code in layout:
        if code == "t":
            if at >= end:
                return None
            size = buffer[at]
            at += 1
            if size > MAX_TEXT:
                return None
        else:
            size = _SIZES[code]
        if at + size > end:
            return None
        if code == "B":
            values.append(buffer[at])
        elif code == "H":
            values.append(unpack_from("<H", buffer, at)[0])
        elif code == "I":
            values.append(unpack_from("<I", buffer, at)[0])
        elif code == "i":
            low, high = unpack_from("<Hb", buffer, at)
            values.append(high * 65536 + low)
        else:
            raw = bytes(buffer[at : at + size])
            if code == "t" and not _is_utf8(raw):
                return None
            if code == "f" and raw[3] & 0x7F == 0x7F and raw[2] & 0x80:
                return None
            values.append(raw)
        at += size
    values.append(at)
    return values


_SIZES = {"B": 1, "H": 2, "I": 4, "i": 3, "f": 4, "8": 8, "S": 32}


def _is_utf8(raw: bytes) -> bool:
    # RFC 3629, section 4. Written out because the interpreters differ in how strictly they decode.
    i = 0
    while i < len(raw):
        lead = raw[i]
        i += 1
        if lead < 0x80:
            continue
        low, high = 0x80, 0xBF
        if 0xC2 <= lead <= 0xDF:
            more = 1
        elif 0xE0 <= lead <= 0xEF:
            more = 2
            if lead == 0xE0:
                low = 0xA0
            elif lead == 0xED:
                high = 0x9F
        elif 0xF0 <= lead <= 0xF4:
            more = 3
            if lead == 0xF0:
                low = 0x90
            elif lead == 0xF4:
                high = 0x8F
        else:
            return False
        for _ in range(more):
            if i >= len(raw) or not low <= raw[i] <= high:
                return False
            low, high = 0x80, 0xBF
            i += 1
    return True
