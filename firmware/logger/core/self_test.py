"""The two parts of a self-test that take code and time: looking back over samples, and a block on flash.

Loaded by probe.py when first asked for, so that a logger that is never tested has the memory for its runs.
"""

from micropython import const

from . import layout
from .recorder import Recorder
from .timebase import elapsed_ms, ticks_between

_BLOCK_BYTES = const(4096)
FILE = "selftest"

_PIECE = const(256)
_MOST = const(65535)


def square_root(number: int) -> int:
    """Largest whole number whose square is at most `number` (Newton's method): exact where floats have 22 bits."""
    if number < 2:
        return number
    root = number
    better = (number + 1) // 2
    while better < root:
        root = better
        better = (root + number // root) // 2
    return root


def samples(recorder: Recorder, seconds: int, free: int) -> tuple:  # type: ignore[type-arg]
    """The results of SELF_TEST, for the latest `seconds` before the time base's present reading; `free` bytes."""
    timebase = recorder.timebase
    ring = recorder.ring
    kinds = [0] * 5
    missed = number = total = squares = lowest = highest = first = at = 0
    position = ring.head
    oldest = max(0, ring.head - ring.size)
    while position > oldest:
        before = (position - 1) & ring.mask
        age = elapsed_ms(timebase.second, timebase.microsecond, ring.second[before], ring.microsecond[before])
        if age > seconds * 1000:
            break
        if position < ring.head:
            missed += ring.missed[at]  # before the sample that is later by one
        position -= 1
        at = before
        quality = ring.quality[at]
        kinds[quality] += 1
        if quality >= layout.QUALITY_SETTLING:
            continue
        counts = ring.counts[at]
        if not number:
            first = lowest = highest = counts
        number += 1
        lowest = min(lowest, counts)
        highest = max(highest, counts)
        total += counts - first  # small numbers as a rule
        squares += (counts - first) * (counts - first)
    looked_at = ring.head - position
    span = 0
    if looked_at:
        last = (ring.head - 1) & ring.mask
        span = elapsed_ms(ring.second[last], ring.microsecond[last], ring.second[at], ring.microsecond[at])
    noise = 0
    if number > 1:
        spread = number * squares - total * total
        noise = square_root(spread * 1000000 // (number * (number - 1)))
    mean = first + (total + number // 2) // number if number else 0
    late, rail, settling, out_of_step = kinds[1:]
    head = (looked_at, span, min(missed, _MOST), late, rail, settling, out_of_step)
    return head + (mean, lowest, highest, min(noise, 0xFFFFFFFF), recorder.settings.input, free)


def store(files, ticks_us, turn: int) -> tuple[int, int, int, int]:  # type: ignore[no-untyped-def]
    """The results of TEST_STORE; `turn` makes the block another one."""
    if not files:
        return layout.STORE_TEST_NO_FLASH, 0, 0, 0
    remove(files)
    started = ticks_us()
    outcome = _write(files, started + turn)
    written = ticks_us()
    read = written
    if outcome == layout.STORE_TEST_SAME:
        outcome = _compare(files, started + turn)
        read = ticks_us()
    remove(files)
    return outcome, _BLOCK_BYTES, _ms(written, started), _ms(read, written)


def remove(files) -> None:  # type: ignore[no-untyped-def]
    """Remove what is there of a test."""
    try:
        files.remove(FILE)
    except OSError:
        pass  # it was not there


def _piece(buffer: bytearray, number: int, seed: int) -> None:
    seed += 31 * number
    step = 2 * number + 1
    for i in range(_PIECE):
        buffer[i] = (seed + i * step) & 0xFF


def _write(files, seed: int) -> int:  # type: ignore[no-untyped-def]
    buffer = bytearray(_PIECE)
    try:
        for number in range(_BLOCK_BYTES // _PIECE):
            _piece(buffer, number, seed)
            files.append(FILE, memoryview(buffer))
        files.sync()
        files.close()
    except OSError:
        try:
            files.close()
        except OSError:
            pass
        return layout.STORE_TEST_NOT_WRITTEN
    return layout.STORE_TEST_SAME


def _compare(files, seed: int) -> int:  # type: ignore[no-untyped-def]
    wanted = bytearray(_PIECE)
    found = bytearray(_PIECE)
    try:
        for number in range(_BLOCK_BYTES // _PIECE):
            _piece(wanted, number, seed)
            count = files.read(FILE, number * _PIECE, memoryview(found))
            if count != _PIECE:
                return layout.STORE_TEST_NOT_READ
            if found != wanted:
                return layout.STORE_TEST_DIFFERENT
    except OSError:
        return layout.STORE_TEST_NOT_READ
    return layout.STORE_TEST_SAME


def _ms(later: int, earlier: int) -> int:
    return (ticks_between(later, earlier) + 500) // 1000
