"""Byte stuffing: a record without zero bytes, so that a zero byte can mean "here a frame ends".

Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2), 1999.
Both functions write into a buffer of the caller. A record has at most 254 bytes, so stuffing always
costs exactly one byte.
"""


def stuff(source: bytearray, length: int, target: bytearray, at: int) -> int:
    """Stuff the first `length` bytes of `source` into `target` from `at` on; return the end."""
    code_at = at
    code = 1
    at += 1
    for i in range(length):
        byte = source[i]
        if byte:
            target[at] = byte
            at += 1
            code += 1
            if code == 255 and i + 1 < length:
                target[code_at] = code
                code_at = at
                code = 1
                at += 1
        else:
            target[code_at] = code
            code_at = at
            code = 1
            at += 1
    target[code_at] = code
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
        while read < end:
            buffer[write] = buffer[read]
            write += 1
            read += 1
        if code < 255 and read < length:
            buffer[write] = 0
            write += 1
    return write
