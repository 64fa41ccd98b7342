"""What a Pico W is before main.py, on a heap that cannot grow: run by board.py.

micropython -X heapsize=N -m small_board FLASH [impatient]

Real: the interpreter, its heap with its limit and its holes, its loader, asyncio, littlefs; main.py and all that it
loads, the board's own file included, read from littlefs on a flash that is a file of this computer. Stand-in, as small
as can be because it lies on the same heap: clock, pins, state machine and DMA (words are put where the channel was
told to put them, 92 conversions a second), radio, USB. Device time passes only while every task sleeps. Ten times in
a second of it the host has its turn: messages on standard input and output, u8 channel, u16 length (little-endian),
payload. A line of the interpreter's own on standard output says how many names it has, before the first of them.

With "impatient" a byte 3 comes whenever the flash is read while main.py obeys Ctrl-C.
"""

import builtins
import gc
import os as real_os
import struct
import sys as real_sys
import time as real_time

import micropython as real_micropython
import uctypes
import vfs
from flash_chip import Flash
from micropython import const

USB = const(0)
BLE = const(1)
WORDS = const(2)
TURN = const(3)
STARTED = const(4)
MEMORY = const(5)

_TURN_MS = const(100)
_PERIOD_US = const(10870)
_FIRST_TURNS = const(27174)
_TURNS = const(
    27045
)  # of the waiting loop in 10 870 us, less 25 pulses, at 5 MHz; every second time one more
_MASK = const(0x3FFFFFFF)
_RING_BYTES = const(2048)
_EXIT_RESET = const(7)
_EXIT_BITE = const(8)

out = real_sys.stdout.buffer
into = real_sys.stdin.buffer
head = bytearray(3)


def put(channel, payload):
    """A message to the host."""
    head[0] = channel
    head[1] = len(payload) & 255
    head[2] = len(payload) >> 8
    out.write(head)
    out.write(payload)


def memory():
    """Bytes free after a collection, and of the largest piece that can be had."""
    gc.collect()
    free = gc.mem_free()
    low, high = 0, free
    while high - low > 16:
        middle = (low + high) >> 1
        try:
            bytearray(middle)
            low = middle
        except MemoryError:
            high = middle
    return struct.pack("<II", free, low)


class Clock:
    """Microseconds, and milliseconds far ahead of the real ones, with which the interpreter stamps new tasks."""

    us = real_time.ticks_us()
    ms = real_time.ticks_add(real_time.ticks_ms(), 1 << 24)
    rest_us = 0
    turn_ms = 0
    dma = None
    fed_ms = None
    timeout_ms = 0
    began = False

    def pass_us(self, microseconds):
        """Time passes, conversions come."""
        self.us = (self.us - _MASK - 1 + microseconds) & _MASK
        self.rest_us += microseconds
        self.ms = (self.ms - _MASK - 1 + self.rest_us // 1000) & _MASK
        self.rest_us %= 1000
        if self.dma:
            self.dma.convert(microseconds)

    def sleep(self, milliseconds):
        """Every task sleeps; asyncio asks for this."""
        if not self.began:
            self.began = True
            real_micropython.qstr_info()  # prints a line
            put(STARTED, struct.pack("<I", FREE) + memory())
        while milliseconds > 0:
            now = min(milliseconds, 10)
            self.pass_us(now * 1000)
            milliseconds -= now
            self.turn_ms += now
            if self.fed_ms is not None and real_time.ticks_diff(self.ms, self.fed_ms) > self.timeout_ms:
                real_sys.exit(_EXIT_BITE)
            if self.turn_ms >= _TURN_MS:
                self.turn_ms -= _TURN_MS
                host_has_its_turn()
        return ()


clock = Clock()


def host_has_its_turn():
    """Tell it how much memory is free; take what it says until it is done."""
    put(TURN, struct.pack("<I", gc.mem_free()))
    while True:
        into.readinto(head)
        payload = into.read(head[1] | head[2] << 8)
        if head[0] == TURN:
            return
        if head[0] == USB:
            stdin.waiting += payload
        elif head[0] == MEMORY:
            put(MEMORY, memory())
        elif payload:
            radio.waiting += payload
        else:
            radio.handler(1, (0, 0, b""))
            radio.handler(21, (0, 247))


class Module:
    """A module with some names of its own, the rest from a real one."""

    def __init__(self, real, **own):
        self._real = real
        for name in own:
            setattr(self, name, own[name])

    def __getattr__(self, name):
        return getattr(self._real, name)


class Pin:
    """Any pin: high."""

    IN = OUT = PULL_UP = IRQ_FALLING = 1

    def __init__(self, *_):
        pass

    def __call__(self, *_):
        return 1


class Adc:
    """27 degrees on the chip's sensor."""

    def __init__(self, _):
        pass

    def read_u16(self):
        return 14021


class Watchdog:
    """Bites in device time."""

    def __init__(self, timeout):
        clock.timeout_ms = timeout
        self.feed()

    def feed(self):
        clock.fed_ms = clock.ms


class StateMachine:
    """Whatever it is told."""

    def __init__(self, _):
        pass

    def nothing(self, *_, **__):
        return 0

    init = exec = put = active = tx_fifo = nothing


class Dma:
    """Two words a conversion, into the ring."""

    count = 0
    ring = None

    def pack_ctrl(self, **_):
        return 0

    def active(self, on):
        self.ring = None

    def config(self, read=None, write=None, count=0, ctrl=0, trigger=False):
        if not trigger:
            return
        self.count = count
        if write is not None:
            self.ring = uctypes.bytearray_at(write, _RING_BYTES)
            self.at = self.number = 0
            self.left_us = _PERIOD_US
            clock.dma = self

    def convert(self, microseconds):
        if self.ring is None:
            return
        self.left_us -= microseconds
        while self.left_us <= 0:
            turns = _TURNS + (self.number & 1) if self.number else _FIRST_TURNS
            word = (20500 + (self.number * 7919 & 127)) << 1 | 1
            struct.pack_into("<II", self.ring, self.at, turns, word)
            self.at = (self.at + 8) % _RING_BYTES
            self.number = (self.number + 1) & 0xFFFFF
            self.count -= 2
            self.left_us += _PERIOD_US


class Stream:
    """USB, both ways."""

    waiting = b""

    def readinto(self, buffer):
        count = min(len(buffer), len(self.waiting))
        buffer[:count] = self.waiting[:count]
        self.waiting = self.waiting[count:]
        return count

    def write(self, data):
        put(USB, data)
        return len(data)


class Poll:
    """Of select: whether USB has something; and asyncio's sleep."""

    def __init__(self):
        self._reads = False

    def register(self, what, mask):
        self._reads = mask == 1

    def poll(self, _):
        return stdin.waiting if self._reads else True

    def ipoll(self, milliseconds):
        return clock.sleep(milliseconds)


class Radio:
    """The module `bluetooth`: one host, which takes everything at once."""

    waiting = b""

    def UUID(self, value):  # noqa: N802 - its name there
        return value

    def BLE(self):  # noqa: N802
        return self

    def nothing(self, *_, **__):
        pass

    active = config = gatts_set_buffer = gatts_write = gap_advertise = gap_disconnect = nothing

    def irq(self, handler):
        self.handler = handler

    def gatts_register_services(self, _):
        return ((1, 2), (3, 4, 5), (6,))

    def gatts_read(self, _):
        taken = self.waiting
        self.waiting = b""
        return taken

    def gatts_notify(self, _, __, data):
        put(BLE, data)


def asm_pio(**_):
    return lambda function: function


def reset():
    """Whoever runs this process sees it."""
    real_sys.exit(_EXIT_RESET)


def say(*words):
    """Instead of print: on the console."""
    put(WORDS, " ".join([str(word) for word in words]).encode())


class State:
    obeys = False


def kbd_intr(character):
    """As micropython's."""
    State.obeys = character == 3


class EagerFlash(Flash):
    """While it is read, a byte 3 comes."""

    def readblocks(self, block, buffer, offset=0):
        if State.obeys:
            raise KeyboardInterrupt
        super().readblocks(block, buffer, offset)


stdin = Stream()
radio = Radio()


def power_up():
    """Modules under their names; the flash in place of this computer's files."""
    modules = real_sys.modules
    usb = Module(None, buffer=stdin)
    modules["sys"] = Module(real_sys, platform="rp2", stdin=usb, stdout=usb)
    modules["os"] = Module(
        real_os, uname=lambda: Module(None, machine="Raspberry Pi Pico W with RP2040"), sync=lambda: None
    )
    modules["time"] = Module(
        real_time,
        ticks_us=lambda: clock.us,
        ticks_ms=lambda: clock.ms,
        sleep_us=clock.pass_us,
        sleep_ms=lambda ms: clock.pass_us(ms * 1000),
    )
    modules["micropython"] = Module(
        real_micropython, alloc_emergency_exception_buf=lambda _: None, kbd_intr=kbd_intr
    )
    modules["select"] = Module(None, poll=Poll, POLLIN=1, POLLOUT=4)
    modules["bluetooth"] = radio
    modules["rp2"] = Module(
        None, StateMachine=StateMachine, DMA=Dma, PIO=Module(None, OUT_LOW=2, SHIFT_LEFT=0), asm_pio=asm_pio
    )
    modules["machine"] = Module(
        None,
        Pin=Pin,
        ADC=Adc,
        WDT=Watchdog,
        freq=lambda: 125000000,
        unique_id=lambda: b"\xe6\x61\x41\x03\xe7\x17\x2d\x2f",
        reset=reset,
        PWRON_RESET=1,
        WDT_RESET=3,
        reset_cause=lambda: 1,
        mem32={},
    )
    builtins.print = say
    chip = (EagerFlash if "impatient" in real_sys.argv else Flash)(real_sys.argv[1])
    files = vfs.VfsLfs2(chip, progsize=256)
    vfs.umount("/")
    vfs.mount(files, "/")
    real_sys.path[:] = ["", "/lib", ".frozen"]


power_up()
gc.collect()
FREE = gc.mem_free()
program = compile(open("/main.py").read(), "main.py", "exec")  # noqa: SIM115
try:
    State.obeys = True
    exec(program, {"__name__": "__main__"})
except (Exception, KeyboardInterrupt) as error:  # as a board does, whatever it is
    say("at the prompt:", repr(error))
    real_sys.print_exception(error, real_sys.stderr)
