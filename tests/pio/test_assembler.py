"""The assembler of tests/support against published words, and the shipped program against another assembler."""

import pytest
from pio_assembler import assemble

from logger.drivers.hx711_pio import CLOCK_HIGH, CLOCK_LOW, hx711

# The program once more, as people write it for other assemblers; a change must be made in both places.
TEXT = """
.program hx711
.side_set 1
    pull block          side 0
.wrap_target
    mov x, !null        side 0
still_low:
    jmp pin high        side 0
    jmp x-- still_low   side 0
high:
    jmp x-- look        side 0
look:
    jmp pin high        side 0
    mov isr, !x         side 0
    push block          side 0
    mov x, osr          side 0
    pull noblock        side 0
    mov y, osr          side 0
    in y, 2             side 0
bit:
    nop                 side 1 [4]
    in pins, 1          side 0 [3]
    jmp y-- bit         side 0
    push block          side 0
.wrap
"""


def shipped():
    """The program of the firmware, assembled by the assembler of this project."""
    return assemble(hx711.function, side_pins=1, in_shift_right=False)


def squarewave():
    set(pindirs, 1)  # noqa: F821
    label("again")  # noqa: F821
    set(pins, 1)[1]  # noqa: F821
    set(pins, 0)  # noqa: F821
    jmp("again")  # noqa: F821


def ws2812():
    wrap_target()  # noqa: F821
    label("bitloop")  # noqa: F821
    out(x, 1).side(0)[2]  # noqa: F821
    jmp(not_x, "do_zero").side(1)[1]  # noqa: F821
    jmp("bitloop").side(1)[4]  # noqa: F821
    label("do_zero")  # noqa: F821
    nop().side(0)[4]  # noqa: F821
    wrap()  # noqa: F821


def test_published_words():
    """RP2040 data sheet: sections 3.2.2 (squarewave) and 3.6.2 (WS2812); words as the tool there prints them."""
    assert assemble(squarewave, side_pins=0, in_shift_right=False).words == (0xE081, 0xE101, 0xE000, 0x0001)
    assert assemble(ws2812, side_pins=1, in_shift_right=False).words == (0x6221, 0x1123, 0x1400, 0xA442)


def test_another_assembler_gives_the_same_words():
    """Adafruit's assembler (PyPI), fed with the usual text, and ours, fed with the function of the firmware."""
    pioasm = pytest.importorskip("adafruit_pioasm", reason="adafruit-circuitpython-pioasm is not installed")
    other = pioasm.Program(TEXT)

    assert shipped().words == tuple(other.assembled)
    assert shipped().wrap_target == other.pio_kwargs["wrap_target"]


def test_it_fits_and_sets_the_clock_with_every_instruction():
    """At most 32 instructions are shared by four machines; each has its side-set, so the clock is never left over."""
    program = shipped()

    assert len(program.words) == 16
    assert program.side_bits == 1
    assert not program.side_optional


def test_the_two_instructions_for_the_clock_alone():
    """nop = mov y, y: 101, side bit, no delay, 010 00 010."""
    assert CLOCK_HIGH == 0b101_1_0000_010_00_010
    assert CLOCK_LOW == 0b101_0_0000_010_00_010
