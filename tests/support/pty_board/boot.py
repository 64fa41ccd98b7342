"""What a Pico W is before main.py: its modules, its flash with littlefs on it, its converter. Run by board.py.

micropython boot.py STAND-INS FLASH FEED PROMPT CAUSE WORDS REPLIES

Real: the interpreter, its REPL, asyncio and littlefs; everything that was installed, main.py and the board's own file
included. Stand-in, besides firmware/virtual (pins, converter, state machine, DMA, clock): a flash chip that is a file
of this computer; sys.platform and os.uname; ADC, watchdog, pins of lamp and prompt; when Ctrl-C is obeyed: as on a
board, from main.py's first instruction until it says micropython.kbd_intr(-1), of which WORDS tells board.py. There is
no `bluetooth`, as on a board whose radio does not start. Not simulated: the memory of a board, the time that its code
and its flash take.
"""

import builtins
import os as real_os
import sys as real_sys
import time as real_time

import micropython as real_micropython
import uctypes as real_uctypes
import vfs

_stand_ins, _flash, _feed, _prompt, _cause, _words, _replies = real_sys.argv[1:8]
_words = open(_words, "wb")  # noqa: SIM115 - for the life of the board
_replies = open(_replies, "rb")  # noqa: SIM115
real_sys.path.insert(0, _stand_ins)

import event_loop  # noqa: E402
import feed  # noqa: E402
import flash_chip  # noqa: E402
import machine as virtual  # noqa: E402
import rp2  # noqa: E402 - the firmware imports it when this computer's folders are gone
from clock import clock  # noqa: E402

RESET = 7
BITE = 8
MACHINE = "Raspberry Pi Pico W with RP2040"


class Like:
    """A module with some names of its own."""

    def __init__(self, module, **own):
        self._module = module
        for name in own:
            setattr(self, name, own[name])

    def __getattr__(self, name):
        return getattr(self._module, name)


def reset():
    """The board starts anew: whoever runs this process sees to it."""
    real_sys.exit(RESET)


_noted = []
"""Bytes 3 that came before main.py's first instruction, or while it asked for no more of them: a board makes a note of
one, and raises it at main.py's next jump."""


def obey_control_c(character):
    """As micropython.kbd_intr; once this returns, no interrupt comes, or each comes, that a byte 3 asks for."""
    _words.write(b"y" if character == 3 else b"n")
    reply = b""
    while not reply:
        try:
            reply = _replies.read(1)
        except KeyboardInterrupt:
            _noted.append(3)
    if _noted and character != 3:
        _noted.clear()
        raise KeyboardInterrupt


def run(program):
    """Run main.py; it has not begun before it has bound a name."""
    while True:
        names = {"__name__": "__main__"}
        try:
            exec(program, names)
            return
        except KeyboardInterrupt:
            if len(names) > 1:
                raise
            _noted.append(3)


class OtherPin:
    """A lamp, which nobody sees, or the prompt switch."""

    def __init__(self, number):
        self._number = number

    def __call__(self, *value):
        return 0 if self._number == 22 and _prompt == "closed" else 1


def pin(number, mode=None, pull=None):
    """The converter's two pins as firmware/virtual has them."""
    return virtual.Pin(number, mode, pull) if number in (2, 3) else OtherPin(number)


class Pins:
    """machine.Pin: called, and holding its constants."""

    IN, OUT, PULL_UP, IRQ_FALLING = (
        virtual.Pin.IN,
        virtual.Pin.OUT,
        virtual.Pin.PULL_UP,
        virtual.Pin.IRQ_FALLING,
    )

    def __call__(self, *arguments):
        return pin(*arguments)


class Adc:
    """27 degrees on the chip's sensor."""

    def __init__(self, channel):
        self._channel = channel

    def read_u16(self):
        return 14021


class Watchdog:
    """Starts the board anew when it is not fed in time."""

    last_ms = None
    timeout = 0

    def __init__(self, timeout):
        Watchdog.timeout = timeout
        self.feed()

    def feed(self):
        Watchdog.last_ms = real_time.ticks_ms()


_began_ms = real_time.ticks_ms()


def wait(milliseconds):
    """Instead of asyncio's own waiting: the virtual clock follows the real one."""
    target = clock.now_us // 1000 * 1000 + milliseconds * 1000
    while clock.now_us < target:
        real_us = real_time.ticks_diff(real_time.ticks_ms(), _began_ms) * 1000
        if real_us < target:
            real_time.sleep_ms(min(5, (target - real_us) // 1000 + 1))
        clock.advance_to(max(clock.now_us, min(target, real_us)))
    if (
        Watchdog.last_ms is not None
        and real_time.ticks_diff(real_time.ticks_ms(), Watchdog.last_ms) > Watchdog.timeout
    ):
        real_sys.exit(BITE)


def power_up():
    """Modules under their names, converter on, file system mounted where a board has it."""
    event_loop.install(clock, wait)
    source = feed.Feed(clock, 10870, 0)
    virtual.chip.power_up(source)
    clock.next_event_us = source.load(_feed)
    modules = real_sys.modules
    modules["sys"] = Like(real_sys, platform="rp2")
    modules["os"] = Like(real_os, uname=lambda: Like(None, machine=MACHINE))
    modules["time"] = Like(
        real_time, ticks_us=clock.ticks_us, sleep_us=lambda us: clock.advance_to(clock.now_us + us)
    )
    modules["micropython"] = Like(
        real_micropython, alloc_emergency_exception_buf=lambda size: None, kbd_intr=obey_control_c
    )
    modules["uctypes"] = Like(real_uctypes, addressof=rp2.address_of)
    modules["machine"] = Like(
        virtual,
        Pin=Pins(),
        ADC=Adc,
        WDT=Watchdog,
        freq=lambda: 125000000,
        unique_id=lambda: bytes.fromhex("e6614103e7172d2f"),
        reset=reset,
        PWRON_RESET=1,
        WDT_RESET=3,
        reset_cause=lambda: (
            int(_cause) & 3
        ),  # WDT_RESET of any reset by the program or the watchdog, as on a board
        mem32={0x40058008: int(_cause) >> 2},
    )
    files = flash_chip.littlefs(_flash)
    vfs.umount("/")
    vfs.mount(files, "/")
    real_sys.path[:] = ["", "/lib", ".frozen"]


def as_a_port_prints(*words, sep=" ", end="\n"):
    """A board's port puts a carriage return before each line feed; the link's bytes, which are not printed, pass."""
    _print((sep.join([str(word) for word in words]) + end).replace("\n", "\r\n"), end="")


_print = print
builtins.print = as_a_port_prints
power_up()
if "main.py" in real_os.listdir("/"):
    program = compile(open("/main.py").read(), "main.py", "exec")  # noqa: SIM115
    try:
        real_micropython.kbd_intr(3)
        obey_control_c(3)
        run(program)
    except (Exception, KeyboardInterrupt) as error:  # as a board does, whatever it is
        real_sys.print_exception(error)
    obey_control_c(-1)
real_os.putenv("MICROPYINSPECT", "1")  # when main.py has come to its end: the prompt
