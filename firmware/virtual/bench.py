"""Lets virtual time pass as the host grants it, and carries out what the host asks of the bench.

The clock stands still unless granted. Messages are taken strictly one after another, the next only when
the grant of the one before is used up; so the same input gives the same bytes on any machine. (While the
clock follows the real one, messages are taken as they come, and their grants only tell when to say "idle".)

    channel 0            bytes for the link; grants 100 ms
    channel 2            the air (radio.py); grants nothing
    {"do": "run", "ms"}  grants that much
    {"do": "load", "path"}  plays a feed file from now on
    {"do": "realtime"}   the clock follows the real one from now on
    {"do": "power_off"}  exit at once with status 3
    {"do": "crash"}      an error where the firmware waits
    {"do": "cut_link"}   the link is lost: what was under way is gone; it is back with the next bytes
    {"do": "stall", "ms"}   flash is erased that long: conversions happen, nothing runs, no interrupt comes through
    {"do": "flash", "fault"}     those of flash.py; with "erase_ms" how long an erase takes, 0 at first
    {"do": "battery", "mv"}      another voltage
    {"do": "converter", "fault"}  "stopped": no more conversions; "shifted": the chip misses the first clock
                         pulse of each reading; "doubled": it takes the first for two;
                         those of machine.Hx711Chip; null: well again
"""

import json
import sys

import machine
import pipe

LINK_GRANT_MS = 100


def tell(event):
    """Send an event to the host."""
    pipe.put(pipe.BENCH, json.dumps(event).encode())


class Lamp:
    """Tells the host when it is switched."""

    def __init__(self, clock):
        self._clock = clock

    def set(self, level):
        """1 on, 0 off."""
        tell({"event": "lamp", "level": level, "now_us": self._clock.now_us})


class Battery:
    """A voltage."""

    def __init__(self, millivolts):
        self.value = millivolts

    def millivolts(self):
        """What the board measures."""
        return self.value


class LinkCable:
    """The virtual end of the USB cable: what the host sent, and the way back."""

    trusted = True
    checked = False
    counted = False
    max_packet = 256
    gather_ms = 0
    session = 0

    def __init__(self):
        self.connected = False
        self._waiting = []
        self._at = 0

    def arrive(self, payload):
        """Bytes came from the host."""
        if payload:
            self._waiting.append(payload)
            self.connected = True

    def cut(self):
        """The cable is pulled."""
        self._waiting = []
        self._at = 0
        self.connected = False

    def receive_into(self, buffer):
        """Copy bytes that have come into `buffer` without waiting; return how many."""
        if not self._waiting:
            return 0
        first = self._waiting[0]
        count = min(len(buffer), len(first) - self._at)
        buffer[:count] = first[self._at : self._at + count]
        self._at += count
        if self._at == len(first):
            self._waiting.pop(0)
            self._at = 0
        return count

    def send(self, buffer, start, end):
        """Send buffer[start:end]; all of it is taken."""
        pipe.put(pipe.LINK, memoryview(buffer)[start:end])
        return end - start

    def end(self) -> None:
        """A cable stays."""

    def announce(self, state, private):
        """A cable shows nothing."""


class Bench:
    """`wait` is called by the event loop instead of sleeping."""

    def __init__(self, clock, chip, feed, cable, real_ms, radio=None):
        self._radio = radio
        self._clock = clock
        self._chip = chip
        self._feed = feed
        self._cable = cable
        self._real_ms = real_ms
        self._grants = []  # until when; more than one only while the clock follows the real one
        self._realtime = False
        self.files = None
        self.battery = None
        self._real_start_ms = 0
        self._virtual_start_us = 0

    def wait(self, milliseconds):
        """Let that much virtual time pass, blocking on the host where it is not granted."""
        clock = self._clock
        if milliseconds < 0:
            raise ValueError("nothing is left to wait for")
        target = clock.now_us // 1000 * 1000 + milliseconds * 1000
        while clock.now_us < target:
            if self._realtime:
                self._follow_real_clock(target)
            elif self._grants and clock.now_us < self._grants[0]:
                clock.advance_to(min(target, self._grants[0]))
            else:
                self._finish_grants()
                self._take(pipe.read_message())

    def _finish_grants(self):
        while self._grants and self._clock.now_us >= self._grants[0]:
            self._grants.pop(0)
            tell({"event": "idle", "now_ms": self._clock.now_us // 1000})

    def _follow_real_clock(self, target):
        clock = self._clock
        real_us = self._virtual_start_us + (self._real_ms() - self._real_start_ms) * 1000
        clock.advance_to(max(clock.now_us, min(target, real_us)))
        self._finish_grants()
        if clock.now_us < target:
            message = pipe.wait_message((target - clock.now_us) // 1000 + 1)
            if message is not False:
                self._take(message)

    def _grant(self, milliseconds):
        self._grants.append(self._clock.now_us + milliseconds * 1000)
        self._grants.sort()

    def _take(self, message):
        if message is None:
            sys.exit(0)
        channel, payload = message
        if channel == pipe.LINK:
            self._cable.arrive(payload)
            self._grant(LINK_GRANT_MS)
        elif channel == pipe.RADIO and self._radio:
            self._radio.take(payload)
        elif channel == pipe.BENCH:
            self._obey(json.loads(payload))
        else:
            raise ValueError("no such channel: %d" % channel)

    def _obey(self, request):
        clock = self._clock
        what = request.get("do")
        if what == "run":
            self._grant(int(request["ms"]))
        elif what == "load":
            clock.next_event_us = clock.now_us + self._feed.load(request["path"])
        elif what == "realtime":
            self._realtime = True
            self._real_start_ms = self._real_ms()
            self._virtual_start_us = clock.now_us
        elif what == "power_off":
            sys.exit(3)
        elif what == "crash":
            raise ValueError("a crash was asked for")
        elif what == "cut_link":
            self._cable.cut()
        elif what == "stall":
            machine.hold_interrupts()
            clock.advance_to(clock.now_us + int(request["ms"]) * 1000)
            machine.release_interrupts()
        elif what == "flash":
            if request["fault"] not in (None, "refuses", "forgets", "spoils"):
                raise ValueError("no such fault: %s" % request["fault"])
            self.files.fault = request["fault"]
            self.files.erase_ms = int(request.get("erase_ms", self.files.erase_ms))
        elif what == "battery":
            self.battery.value = int(request["mv"])
        elif what == "converter":
            fault = request["fault"]
            if fault == "stopped":
                self._feed.stop()
                clock.next_event_us = clock.now_us + self._feed.next()
            elif fault == "shifted":
                self._chip.lost_pulse = 1
            elif fault == "doubled":
                self._chip.double_pulse = 1
            else:
                self._chip.lost_pulse = self._chip.double_pulse = 0
                self._chip.break_down(fault)
                if fault is None and self._feed.stopped:
                    clock.next_event_us = clock.now_us + self._feed.resume()
        else:
            raise ValueError("the bench cannot do %s" % what)
