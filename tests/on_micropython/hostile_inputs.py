"""A hostile host at the firmware core, in the real interpreter: nothing raises, nothing grows, no run disappears.

MICROPYPATH=tests/firmware:firmware:firmware/virtual:.frozen micropython -X heapsize=4m \
    tests/on_micropython/hostile_inputs.py 20000 1

Arguments: inputs, seed. An input is noise, a command of any number with arguments of the right or any size, one that is
damaged, sealed by a stranger, repeated or cut, a pause with samples, a lost link, or a restart with what the flash has.
Half of the loggers are reached over a link that anyone can open, half over a cable. Also eats settings files and kept
secrets with anything in them.
"""

import gc
import sys

from firmware_support import Logger, command, split_frames

from logger.core import auth, layout
from logger.core.commands import Commands
from logger.core.inbox import Inbox
from logger.core.outbox import Outbox
from logger.core.settings import Settings
from logger.core.settings_file import SettingsFile, text_of

SIZES = {"B": 1, "H": 2, "I": 4, "i": 3, "f": 4, "8": 8, "S": 32, "*": 7}
MOST_QUEUED = 24  # _QUEUE of outbox.py, which the interpreter keeps to itself
KEY = bytes([i + 1 for i in range(32)])
LIFE = 400
"""Inputs that a logger lives before a new one takes its place."""
ALLOWED_GROWTH = 30000
"""Bytes of heap after a collection, from the third look on: what a logger holds varies with its store."""


class Draw:
    """Random numbers, the same under every interpreter (Numerical Recipes' quick generator, 32 bits)."""

    def __init__(self, seed):
        self.state = seed

    def below(self, limit):
        self.state = (self.state * 1664525 + 1013904223) & 0xFFFFFFFF
        return (self.state >> 9) % limit

    def some(self, size):
        return bytes([self.below(256) if self.below(3) else 0 for _ in range(size)])


def arguments_for(draw, number):
    """Arguments of about the right shape, small numbers preferred."""
    letters = layout.ARGUMENTS[number - 1] if 1 <= number <= len(layout.ARGUMENTS) else ""
    out = b""
    for letter in letters:
        if letter == "t":
            size = draw.below(6)
            out += bytes([size]) + bytes([97 + draw.below(26) for _ in range(size)])
        elif letter in "BHI" and draw.below(4):
            out += bytes([draw.below(6)]) + bytes(SIZES[letter] - 1)
        else:
            out += draw.some(SIZES[letter])
    return out if draw.below(10) else out + draw.some(3)


class Victim:
    """A logger with one link, and what a host may find out about it."""

    def __init__(self, draw, trusted, secrets):
        self.draw = draw
        self.trusted = trusted
        self.keys = auth.Keys(secrets, bytes)
        if not trusted:
            self.keys.set(KEY, layout.ACCESS_STATUS)
        self.logger = Logger(capacity=8000)
        self.logger.samples(0, 50)
        self.before = self.logger.settings.values()
        self.outbox = Outbox(self.logger.recorder)
        self.commands = Commands(self.logger.recorder, self.outbox, auth.Gate(self.keys, trusted))
        self.inbox = Inbox()
        self.packet = bytearray(256)
        self.index = 0
        self.latest = b""
        self.erased = 0
        self.sealed_answers = 0
        erase = self.logger.store.erase

        def counted(run):
            done = erase(run)
            self.erased += 1 if done else 0
            return done

        self.logger.store.erase = counted

    def input(self):
        """One input of some kind, then a little of what a link does; checks what must hold."""
        draw = self.draw
        what = draw.below(12)
        if what == 0:
            self.feed(draw.some(draw.below(60)))
        elif what == 1:
            for _ in range(draw.below(12)):
                counts = (0, 90000, 8388607, -8388608, 20500)[draw.below(5)]
                self.logger.sample(counts, draw.below(5) if draw.below(9) == 0 else 0)
        elif what == 2:
            self.logger.idle(10 * draw.below(60))
        elif what == 3:
            self.commands.link_lost()
            self.outbox.link_lost()
            self.inbox.clear()
        elif what == 4 and self.latest:
            self.feed(self.latest)
        elif what == 5 and self.latest:
            damaged = bytearray(self.latest)
            damaged[draw.below(len(damaged))] ^= 1 << draw.below(8)
            self.feed(damaged)
        elif what == 6:
            number = draw.below(23)
            inner = bytes([number]) + arguments_for(draw, number)
            self.feed(self.numbered(layout.COMMAND_SEALED, draw.some(36) + inner))
        elif what == 7 and draw.below(8) == 0:
            self.erase_rightly()
        else:
            number = draw.below(23)
            self.feed(self.numbered(number, arguments_for(draw, number)))
        self.check()

    def numbered(self, number, arguments):
        self.index += 1
        self.latest = command(self.index, number, arguments)
        return self.latest

    def feed(self, data):
        for byte in data:
            length = self.inbox.feed(byte)
            if length:
                self.commands.handle(self.inbox.record, length, self.logger.ticks)

    def erase_rightly(self):
        """Whoever has read a run to its end may erase it over a cable."""
        run = self.logger.store.find(1)
        if run and self.logger.store.complete(run):
            self.feed(
                self.numbered(
                    layout.COMMAND_ERASE, bytes([run & 255, run >> 8]) + self.logger.store.sha256(run)
                )
            )

    def check(self):
        store = self.logger.store
        assert len(self.outbox._queue) <= MOST_QUEUED
        assert store.runs + self.erased == store.last_run
        sent = b""
        while True:
            length = self.outbox.fill(self.packet, 20 + self.draw.below(200), self.logger.ticks)
            sent += self.packet[:length]
            if not length or len(sent) > 2000:
                break
        if self.outbox._frame_at == self.outbox._frame_length:
            split_frames(sent)
        if not self.trusted:
            assert self.erased == 0
            assert self.keys.key == KEY
            assert self.logger.settings.values() == self.before
            assert store.last_run == 0
            assert not store.calibration


def read_texts(draw):
    """A settings file and kept secrets with anything in them."""
    names = (
        b"hang_ms",
        b"name",
        b"threshold_counts",
        b"input",
        b"=",
        b"#",
        b"\n",
        b" = 7\n",
        b"\xff",
        b"-",
        b"9" * 30,
    )
    text = b"".join([names[draw.below(len(names))] for _ in range(draw.below(20))])
    file = SettingsFile(text_of(text))
    settings = Settings()
    settings.take(file)
    file.unknown()
    for value, limits in zip(settings.values(), layout.SETTING_LIMITS):  # noqa: B905 - MicroPython has no strict
        assert limits[1] <= value <= limits[2]
    secrets = auth.MemorySecrets()
    secrets.data = draw.some(42)
    assert not auth.Keys(secrets, bytes).has_key


def held():
    """Bytes of the heap in use after a collection; 0 where the interpreter does not tell."""
    gc.collect()
    return gc.mem_alloc() if hasattr(gc, "mem_alloc") else 0


def main(inputs, seed):
    draw = Draw(seed)
    victim = None
    looks = []
    for number in range(inputs):
        if number % LIFE == 0:
            victim = Victim(draw, number // LIFE % 2 == 1, auth.MemorySecrets())
        victim.input()
        if number % 16 == 0:
            read_texts(draw)
        if number % (LIFE * 10) == LIFE - 1:
            looks.append(held())
    # The first looks see what is loaded late; from then on the same.
    grown = max(looks) - looks[min(2, len(looks) - 1)]
    print("inputs:", inputs, "heap after each tenth life:", looks[0], "to", max(looks), "grown:", grown)
    assert grown <= ALLOWED_GROWTH


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
    print("nothing found")
