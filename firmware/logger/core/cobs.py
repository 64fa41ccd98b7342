"""Byte stuffing: a record without zero bytes, so that a zero byte can mean "here a frame ends".

Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2), 1999.
Both functions write into a buffer of the caller. A record has at most 254 bytes, so stuffing always
costs exactly one byte.
"""

from micropython import const

_SHORT = const(12)  # so few bytes are copied one by one: no slower, and it makes no object


def stuff(source: bytearray, length: int, target: bytearray | memoryview, at: int) -> int:
    """Stuff the first `length` bytes of `source` into `target` from `at` on; return the end.

    Give a large target as a memoryview: a slice put into a large bytearray moves all that is behind it.
    """
    start = 0
    while True:
        most = start + 254
        zero = source.find(b"\x00", start, length if length < most else most)
        end = zero if zero >= 0 else most if most < length else length
        size = end - start
        target[at] = size + 1
        at += 1
        if size < _SHORT:
            while start < end:
                target[at] = source[start]
                at += 1
                start += 1
        else:
            target[at : at + size] = memoryview(source)[start:end]
            at += size
            start = end
        if zero >= 0:
            start += 1
        elif start >= length:
            return at


def frame(source: bytearray, length: int, target: bytearray) -> int:
    """Write the frame of a record (zero, stuffed bytes, zero) to the start of `target`; return its length."""
    target[0] = 0
    end = stuff(source, length, target, 1)
    target[end] = 0
    return end + 1


def unstuff(buffer: bytearray, length: int) -> int:
    """Undo `stuff` in place for a frame without its zeros; return the length, or -1 when it cannot be."""
    read = 0
    write = 0
    while read < length:
        code = buffer[read]
        end = read + code
        if code == 0 or end > length:
            return -1
        read += 1
        size = code - 1
        if size < _SHORT:
            while read < end:
                buffer[write] = buffer[read]
                write += 1
                read += 1
        else:
            buffer[write : write + size] = memoryview(buffer)[read:end]
            write += size
            read = end
        if code < 255 and read < length:
            buffer[write] = 0
            write += 1
    return write
