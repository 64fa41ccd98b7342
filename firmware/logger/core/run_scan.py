"""Finds sound records of one run in bytes that may be damaged, wherever one begins to look.

A run's bytes are its records as they are on a link: zero, stuffed record, zero. What is damaged, or belongs
to another run, is passed over.
"""

from . import cobs, record
from .layout import MAX_FRAME, MAX_RECORD

_WINDOW = 1024
_HIGHEST = 0x3FFFFFFF  # index of a record; no run is that long, but what has a sound checksum may say so


class RunScan:
    """Give it a run, then `next` from any offset: `record`, `length`, `index`, `start`, `end` of what it found.

    `load(run, offset, buffer)` fills the buffer with the run's bytes from there on and returns how many.
    """

    def __init__(self, load) -> None:  # type: ignore[no-untyped-def]
        self.record = bytearray(MAX_RECORD + 2)
        self.length = 0
        self.index = 0
        self.start = 0  # where its stuffed bytes begin
        self.end = 0  # just behind them
        self._load = load
        self.run = 0
        self._window = bytearray(_WINDOW)
        self._view = memoryview(self._window)
        self._at = 0
        self._used = 0

    def open(self, run: int) -> None:
        """From now on it is this run; also forgets what was read of it before."""
        self.run = run
        self._used = 0

    def next(self, offset: int, stop: int) -> bool:
        """Find the first sound record of the run that begins at `offset` or later and before `stop`."""
        window = self._window
        while offset < stop:
            if not self._at <= offset < self._at + self._used - MAX_FRAME:
                self._at = offset
                self._used = self._load(self.run, offset, self._view)
                if self._used == 0:
                    return False
            begin = offset - self._at
            if window[begin] == 0:
                offset += 1
                continue
            end = window.find(b"\x00", begin, self._used)
            if end < 0:
                # No record ends here: too long to be one, or the end of what there is.
                offset = self._at + self._used
            elif self._is_sound(begin, end):
                self.start = offset
                self.end = self._at + end
                return True
            else:
                offset = self._at + end
        return False

    def seek(self, index: int, size: int) -> int:
        """Offset from which `next` comes to the record `index`, if it is there, within a few records."""
        low = 0
        high = size
        while high - low > 2 * _WINDOW:
            middle = (low + high) // 2
            if self.next(middle, high) and self.index <= index:
                low = self.start
            else:
                high = middle
        return low

    def last(self, size: int) -> bool:
        """Find the last sound record of the run."""
        # As a rule the file ends with it.
        begin = size - MAX_FRAME if size > MAX_FRAME else 0
        self._at = begin
        self._used = self._load(self.run, begin, self._view)
        end = self._used - 1
        if end > 0 and self._window[end] == 0:
            start = self._window.rfind(b"\x00", 0, end) + 1
            if start and self._is_sound(start, end):
                self.start = begin + start
                self.end = begin + end
                return True
        # Its place is known to be near the end, unless the end is damaged.
        begin = size - _WINDOW + 1
        while True:
            if begin < 0:
                begin = 0
            offset = begin
            place = -1
            while self.next(offset, size):
                place = self.start
                offset = self.end
            if place >= 0:
                return self.next(place, size)
            if begin == 0:
                return False
            begin -= 4 * _WINDOW

    def _is_sound(self, begin: int, end: int) -> bool:
        size = end - begin
        if size > MAX_RECORD + 1:
            return False
        self.record[:size] = self._view[begin:end]
        length = cobs.unstuff(self.record, size)
        if length < 0 or record.damage(self.record, length):
            return False
        number, index = record.numbers(self.record)
        self.length = length
        self.index = index
        return number == self.run and index < _HIGHEST
