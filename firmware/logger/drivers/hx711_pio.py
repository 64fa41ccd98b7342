# ruff: noqa: F821 - the assembler gives these names
# mypy: disable-error-code="name-defined"
"""The PIO program that reads an HX711 and counts the time between conversions in its own cycles.

Run in an instruction-level emulator against a model of the chip (tests/pio). NOT RUN ON HARDWARE YET.

For each conversion it pushes two words:

  1. the turns that it waited for the line, at least 1. A turn takes TURN_CYCLES whether the line is still low
     or already high, so the time since the conversion before is exactly
         OVERHEAD_CYCLES + BIT_CYCLES * pulses + TURN_CYCLES * turns
     where `pulses` are those of the reading before; for the first conversion it is FIRST_CYCLES and the turns.
  2. the bits: a mark of two bits (0, 1, 2 for 25, 26, 27 pulses), 24 bits of the count, 1 to 3 extra bits.
     Word 2 is below 2**29, so that a small integer holds it.

Law:
  * It waits for the line to be high before it waits for it to be low. If the chip lost a pulse the line may
    stay low after a reading; reading on would shift all that follows.
  * The clock is low wherever the program can stall. So nothing, least of all a full queue, keeps it high.
  * The number of pulses is taken from the queue when there is one, else it stays; it holds for this reading
    and so chooses the input of the next conversion.

Cycles are those of the state machine. The level is looked at as the clock falls, 5 cycles after it rose.
"""

import rp2
from micropython import const

OVERHEAD_CYCLES = const(9)
BIT_CYCLES = const(10)
TURN_CYCLES = const(2)
FIRST_CYCLES = const(2)
_HIGH_CYCLES = const(5)

CLOCK_HIGH = const(0xB042)  # nop side 1, for StateMachine.exec
CLOCK_LOW = const(0xA042)  # nop side 0


@rp2.asm_pio(sideset_init=rp2.PIO.OUT_LOW, in_shiftdir=rp2.PIO.SHIFT_LEFT)
def hx711():  # type: ignore[no-untyped-def]
    """16 instructions; `pin` is the data line, the side-set pin the clock."""
    pull(block).side(0)  # pulses less one, before the first conversion
    wrap_target()
    mov(x, invert(null)).side(0)
    label("still_low")
    jmp(pin, "high").side(0)
    jmp(x_dec, "still_low").side(0)
    label("high")
    jmp(x_dec, "look").side(0)
    label("look")
    jmp(pin, "high").side(0)
    mov(isr, invert(x)).side(0)
    push(block).side(0)
    mov(x, osr).side(0)  # what a pull from the empty queue takes
    pull(noblock).side(0)
    mov(y, osr).side(0)
    in_(y, 2).side(0)
    label("bit")
    nop().side(1)[4]
    in_(pins, 1).side(0)[3]
    jmp(y_dec, "bit").side(0)
    push(block).side(0)
    wrap()
