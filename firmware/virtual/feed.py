"""Where the converter's counts come from: a feed file, and what comes before and after it.

A feed file holds 8 bytes per conversion: microseconds since its start (u32) and counts (i32),
little-endian. When it ends, the converter goes on at the last interval with the mean of the last 8 counts.
"""

import struct

_BLOCK = 4096


class Feed:
    """Conversions one after another: `next()` returns the microseconds to the next, whose count is `counts`."""

    def __init__(self, clock, interval_us, idle_counts):
        self.counts = 0
        self._clock = clock
        self._interval_us = interval_us
        self._idle_counts = idle_counts
        self._file = None
        self._block = b""
        self._at = 0
        self._started_us = 0
        self._last_us = 0
        self._recent = []
        self.stopped = False

    def load(self, path):
        """Play a file from the present moment on; returns the microseconds to its first conversion."""
        self._file = open(path, "rb")  # noqa: SIM115 - read block by block as time passes
        self._block = b""
        self._at = 0
        self._recent = []
        self._started_us = self._clock.now_us
        self._last_us = self._started_us
        return self.next()

    def stop(self):
        """Fault: no conversion comes any more."""
        self.stopped = True

    def resume(self):
        """End that fault; what would have been converted meanwhile never was."""
        self.stopped = False
        wait = self.next()
        while wait <= 0:
            wait = self.next()
        return wait

    def next(self):
        """Step to the next conversion."""
        if self.stopped:
            return 1 << 50
        if self._file:
            if self._at == len(self._block):
                self._block = self._file.read(_BLOCK)
                self._at = 0
            if self._block:
                if len(self._block) - self._at < 8:
                    raise ValueError("the feed file ends within a conversion")
                at_us, self.counts = struct.unpack_from("<Ii", self._block, self._at)
                self._at += 8
                due = self._started_us + at_us
                if self._recent:
                    if due <= self._last_us:
                        raise ValueError("times in the feed file must rise")
                    self._interval_us = due - self._last_us
                self._last_us = due
                self._recent.append(self.counts)
                if len(self._recent) > 8:
                    self._recent.pop(0)
                return due - self._clock.now_us
            self._file.close()
            self._file = None
            if self._recent:
                self._idle_counts = sum(self._recent) // len(self._recent)
                if self._idle_counts == -1:
                    self._idle_counts = 0  # again and again all bits ones would be a fault
        self.counts = self._idle_counts
        return self._interval_us
