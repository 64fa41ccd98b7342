"""What a logger can find out about itself without a run: samples, flash, and the slow rate for a while.

Nothing here touches a run or what lies in the store. `samples` and `store` take their time (a tenth of a second or
two, a flash erase more), so both are refused by commands.py while a run is awaited or recorded.
"""

from micropython import const

from . import layout
from .recorder import Recorder
from .timebase import elapsed_ms, ticks_between

LONGEST_S = const(10)  # the ring holds 12 s at 160 samples a second
SLOWEST_S = const(60)
BLOCK_BYTES = const(4096)

_FILE = "selftest"
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


class SelfTest:
    """`files` is where the runs are, `rate_pin` has set(level), high for the fast rate, `memory()` collects garbage
    and tells the free bytes; each may be None.
    """

    def __init__(self, recorder: Recorder, ticks_us=None, files=None, rate_pin=None, memory=None) -> None:  # type: ignore[no-untyped-def]
        self._recorder = recorder
        self._ticks_us = ticks_us
        self._files = files
        self._rate_pin = rate_pin
        self._memory = memory
        self._slow_ms = 0  # 0: fast
        self._since_s = 0
        self._since_us = 0
        self._turn = 0
        if files:
            self._remove()  # what a power cut left of the latest one

    def samples(self, seconds: int) -> tuple:  # type: ignore[type-arg]
        """The results of SELF_TEST, for the latest `seconds` before the time base's present reading."""
        recorder = self._recorder
        timebase = recorder.timebase
        ring = recorder.ring
        kinds = [0] * 5
        missed = number = total = squares = lowest = highest = first = at = 0
        position = ring.head
        oldest = max(0, ring.head - ring.size)
        while position > oldest:
            before = (position - 1) & ring.mask
            age = elapsed_ms(
                timebase.second, timebase.microsecond, ring.second[before], ring.microsecond[before]
            )
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
            span = elapsed_ms(
                ring.second[last], ring.microsecond[last], ring.second[at], ring.microsecond[at]
            )
        noise = 0
        if number > 1:
            spread = number * squares - total * total
            noise = square_root(spread * 1000000 // (number * (number - 1)))
        mean = first + (total + number // 2) // number if number else 0
        late, rail, settling, out_of_step = kinds[1:]
        head = (looked_at, span, min(missed, _MOST), late, rail, settling, out_of_step)
        free = self._memory() if self._memory else 0
        return head + (mean, lowest, highest, min(noise, 0xFFFFFFFF), recorder.settings.input, free)

    def store(self) -> tuple[int, int, int, int]:
        """The results of TEST_STORE."""
        if not self._files:
            return layout.STORE_TEST_NO_FLASH, 0, 0, 0
        self._turn = (self._turn + 1) & 0xFF
        started = self._ticks_us()
        outcome = self._write(started)
        written = self._ticks_us()
        read = written
        if outcome == layout.STORE_TEST_SAME:
            outcome = self._compare(started)
            read = self._ticks_us()
        self._remove()
        return outcome, BLOCK_BYTES, _ms(written, started), _ms(read, written)

    def slow(self, seconds: int) -> int:
        """Convert slowly for so long, 0: fast at once; returns 0 when the pin is not wired."""
        if not self._rate_pin:
            return 0
        if seconds:
            timebase = self._recorder.timebase
            self._since_s = timebase.second
            self._since_us = timebase.microsecond
            self._switch(seconds * 1000)
        else:
            self.fast()
        return 1

    def fast(self) -> None:
        """Back to the fast rate, if it is slow."""
        if self._slow_ms:
            self._switch(0)

    def step(self) -> None:
        """Called every few milliseconds: fast again when the time is over or a run may begin."""
        if not self._slow_ms:
            return
        recorder = self._recorder
        timebase = recorder.timebase
        over = (
            elapsed_ms(timebase.second, timebase.microsecond, self._since_s, self._since_us) >= self._slow_ms
        )
        if over or recorder.state in (layout.STATE_ARMED, layout.STATE_RECORDING):
            self._switch(0)

    def _switch(self, slow_ms: int) -> None:
        self._slow_ms = slow_ms
        self._rate_pin.set(0 if slow_ms else 1)
        self._recorder.faults.restart = True  # new power: the next four conversions are dropped

    def _piece(self, buffer: bytearray, number: int, seed: int) -> None:
        seed += self._turn + 31 * number
        step = 2 * number + 1
        for i in range(_PIECE):
            buffer[i] = (seed + i * step) & 0xFF

    def _write(self, seed: int) -> int:
        buffer = bytearray(_PIECE)
        try:
            for number in range(BLOCK_BYTES // _PIECE):
                self._piece(buffer, number, seed)
                self._files.append(_FILE, memoryview(buffer))
            self._files.sync()
            self._files.close()
        except OSError:
            try:
                self._files.close()
            except OSError:
                pass
            return layout.STORE_TEST_NOT_WRITTEN
        return layout.STORE_TEST_SAME

    def _compare(self, seed: int) -> int:
        wanted = bytearray(_PIECE)
        found = bytearray(_PIECE)
        try:
            for number in range(BLOCK_BYTES // _PIECE):
                self._piece(wanted, number, seed)
                count = self._files.read(_FILE, number * _PIECE, memoryview(found))
                if count != _PIECE:
                    return layout.STORE_TEST_NOT_READ
                if found != wanted:
                    return layout.STORE_TEST_DIFFERENT
        except OSError:
            return layout.STORE_TEST_NOT_READ
        return layout.STORE_TEST_SAME

    def _remove(self) -> None:
        try:
            self._files.remove(_FILE)
        except OSError:
            pass  # it was not there


def _ms(later: int, earlier: int) -> int:
    return (ticks_between(later, earlier) + 500) // 1000
