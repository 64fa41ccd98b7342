"""A first look at the converter, on the board: `mpremote run hardware_notes/first_look.py`.

Reads for ten seconds through the board's own driver and says what it saw, with what to check. Nothing is stored.
NOT RUN ON HARDWARE YET. The letters in brackets are those of hardware_notes/faults.md.
"""

SECONDS = 10
FAST = (60, 160)  # conversions a second that a high RATE pin gives, with room for the oscillator
SLOW = (7, 13)
RAILS = (-8388608, 8388607)
COUNTS_PER_MV_V = 2147483.648  # at gain 128: 2**24 / (2 * 0.5 V/V / 128) / 1000
NOISE = {False: 33, True: 59}  # counts, data sheet: 50 and 90 nV rms, at 3.3 V; by "is fast"
NAMES = ("good", "late", "on a rail", "settling", "out of step")


class Seen:
    """What came in the time of looking. `steps_us` is the time from the first sample to the last."""

    def __init__(self):
        self.samples = 0
        self.missed = 0
        self.steps_us = 0
        self.lowest = self.highest = None
        self.qualities = [0] * len(NAMES)
        self._mean = self._squares = 0.0
        self._first = 0
        self.settled = 0

    def take(self, counts, quality, missed):
        """Count one sample; settling ones tell nothing of the load."""
        self.samples += 1
        self.missed += missed
        self.qualities[quality] += 1
        if quality == 3:
            return
        self.settled += 1
        if self.settled == 1:
            self._first = counts  # the boards have single precision: small numbers keep their digits
        step = counts - self._first
        before = step - self._mean
        self._mean += before / self.settled
        self._squares += before * (step - self._mean)
        if self.lowest is None or counts < self.lowest:
            self.lowest = counts
        if self.highest is None or counts > self.highest:
            self.highest = counts

    @property
    def mean(self):
        """Mean of the settled samples, in counts."""
        return self._first + self._mean

    @property
    def deviation(self):
        """Their standard deviation, in counts."""
        return (self._squares / (self.settled - 1)) ** 0.5 if self.settled > 1 else 0.0

    @property
    def rate(self):
        """Conversions a second, missed ones included; 0 when not known."""
        return (self.samples - 1 + self.missed) * 1e6 / self.steps_us if self.steps_us else 0.0


def look(converter, ticks_us, sleep_ms, seconds=SECONDS):
    """Read for so long; `converter` is a driver of the firmware."""
    seen = Seen()
    start = ticks_us()
    last = None
    while (ticks_us() - start) & 0x3FFFFFFF < seconds * 1000000:
        if converter.poll():
            seen.take(converter.counts, converter.quality, converter.missed)
            if last is not None:
                seen.steps_us += (converter.ticks - last) & 0x3FFFFFFF
            last = converter.ticks
        else:
            sleep_ms(1)
    return seen


def words(seen, line):
    """What was seen, in lines for people; `line` is the level of the data line at the end."""
    if seen.settled < 20:
        level = "high" if line else "low"
        return [
            f"almost no conversions ({seen.samples}); the data line is {level}",
            "check: power at the converter, DT and SCK not swapped, no broken wire [A]",
        ]
    is_fast = FAST[0] <= seen.rate <= FAST[1]
    qualities = ", ".join(f"{NAMES[i]} {n}" for i, n in enumerate(seen.qualities) if n)
    lines = [
        f"conversions  {seen.samples} in {seen.steps_us / 1e6:.1f} s: {seen.rate:.2f} a second",
        f"counts       mean {seen.mean:.0f}, standard deviation {seen.deviation:.0f}",
        f"             from {seen.lowest} to {seen.highest}",
        f"input        {seen.mean / COUNTS_PER_MV_V:.4f} mV/V at gain 128",
        f"samples      {qualities}, missed {seen.missed}",
    ]
    if SLOW[0] <= seen.rate <= SLOW[1]:
        lines.append("check: slow rate; peaks would be missed: tie RATE high [B]")
    elif not is_fast:
        lines.append("check: a rate that is neither slow nor fast: wires, supply [C]")
    if seen.lowest == seen.highest:
        lines.append("check: the count never changes: the input is open or on a rail, or DT is stuck [D]")
    elif seen.lowest in RAILS or seen.highest in RAILS:
        lines.append("check: on a rail: open or swapped wires of the cell, overload [D]")
    elif seen.deviation > 5 * NOISE[is_fast]:
        lines.append("check: noise above 5 times the data sheet: is the cell still? then ground, supply [E]")
    if seen.qualities[4]:
        lines.append("check: readings out of step: SCK wire, supply [F]")
    if seen.missed or seen.qualities[1]:
        lines.append("check: conversions missed or read late [G]")
    if abs(seen.mean) > 0.1 * 2 * COUNTS_PER_MV_V and seen.lowest != seen.highest:
        lines.append("check: zero beyond a tenth of a 2 mV/V cell's range: loaded? overloaded once? [H]")
    if not any(text.startswith("check") for text in lines):
        lines.append("nothing to complain about")
    return lines


def main():
    """Look through the file of this board."""
    import os
    import sys
    import time

    import micropython

    from logger.boards.choose import board_name

    name = board_name(sys.platform, os.uname().machine)
    module = __import__("logger.boards." + name, None, None, ("Board",))
    converter = module.Board().converter
    micropython.kbd_intr(3)  # the board file gives Ctrl-C away; take it back
    print(f"looking for {SECONDS} s: leave the cell alone")
    print("\n".join(words(look(converter, time.ticks_us, time.sleep_ms), converter.line())))


if __name__ == "__main__":
    main()
