"""A small assembler for PIO programs written as for `rp2.asm_pio`, after the RP2040 data sheet, section 3.4.

It shares nothing with MicroPython's own, so that a fault there or here shows as a difference in what the
program does. Left out: `irq`, `wait`, side-set of pin directions, origin. What it does not know raises.
"""

from dataclasses import dataclass, field
from types import FunctionType
from typing import Any

JMP, IN, OUT, PUSH_PULL, MOV, SET = 0, 2, 3, 4, 5, 7


@dataclass(frozen=True)
class Assembled:
    """Words of the program and what the state machine's registers must say."""

    words: tuple[int, ...]
    wrap_target: int
    wrap_top: int
    side_bits: int
    side_optional: bool
    in_shift_right: bool


@dataclass(frozen=True)
class Name:
    """A name of the language."""

    text: str
    operation: int = 0


@dataclass
class Instruction:
    """Parts of one instruction; `label` is put in when all labels are known."""

    kind: int
    argument: int
    label: str | None = None
    side_value: int | None = None
    delay: int = 0

    def side(self, value: int) -> "Instruction":
        assert self.side_value is None, "side twice"
        self.side_value = value
        return self

    def __getitem__(self, cycles: int) -> "Instruction":
        self.delay = cycles
        return self


@dataclass
class _Listing:
    instructions: list[Instruction] = field(default_factory=list)
    labels: dict[str, int] = field(default_factory=dict)
    wrap_target: int = 0
    wrap_top: int | None = None

    def add(self, kind: int, argument: int, label: str | None = None) -> Instruction:
        self.instructions.append(Instruction(kind, argument, label))
        return self.instructions[-1]

    def label(self, name: str) -> None:
        assert name not in self.labels, f"label {name} twice"
        self.labels[name] = len(self.instructions)

    def start_wrap(self) -> None:
        self.wrap_target = len(self.instructions)

    def end_wrap(self) -> None:
        self.wrap_top = len(self.instructions) - 1


# Table 3.4: numbers of conditions, sources and destinations.
_CONDITIONS = {"not_x": 1, "x_dec": 2, "not_y": 3, "y_dec": 4, "x_not_y": 5, "pin": 6, "not_osre": 7}
_IN_SOURCES = {"pins": 0, "x": 1, "y": 2, "null": 3, "isr": 6, "osr": 7}
_OUT_TARGETS = {"pins": 0, "x": 1, "y": 2, "null": 3, "pindirs": 4, "pc": 5, "isr": 6, "exec": 7}
_MOV_TARGETS = {"pins": 0, "x": 1, "y": 2, "exec": 4, "pc": 5, "isr": 6, "osr": 7}
_MOV_SOURCES = {"pins": 0, "x": 1, "y": 2, "null": 3, "status": 5, "isr": 6, "osr": 7}
_SET_TARGETS = {"pins": 0, "x": 1, "y": 2, "pindirs": 4}
_NAMES = (
    "pins",
    "x",
    "y",
    "null",
    "isr",
    "osr",
    "pindirs",
    "pc",
    "exec",
    "status",
    "pin",
    "block",
    "noblock",
    "iffull",
)


def _bits(count: int) -> int:
    assert 1 <= count <= 32
    return count & 31  # 32 is written as 0


def _names(listing: _Listing) -> dict[str, Any]:
    def jmp(*words: Any) -> Instruction:
        condition = _CONDITIONS[words[0].text] if len(words) == 2 else 0
        return listing.add(JMP, condition << 5, words[-1])

    def push_pull(pull: int, words: tuple[Name, ...]) -> Instruction:
        said = {word.text for word in words}
        assert said <= {"block", "noblock", "iffull"}
        return listing.add(PUSH_PULL, pull << 7 | ("iffull" in said) << 6 | ("noblock" not in said) << 5)

    def mov(target: Name, source: Name) -> Instruction:
        return listing.add(
            MOV, _MOV_TARGETS[target.text] << 5 | source.operation << 3 | _MOV_SOURCES[source.text]
        )

    known: dict[str, Any] = {name: Name(name) for name in (*_NAMES, *_CONDITIONS)}
    known |= {
        "invert": lambda name: Name(name.text, 1),
        "reverse": lambda name: Name(name.text, 2),
        "label": listing.label,
        "wrap_target": listing.start_wrap,
        "wrap": listing.end_wrap,
        "jmp": jmp,
        "in_": lambda source, count: listing.add(IN, _IN_SOURCES[source.text] << 5 | _bits(count)),
        "out": lambda target, count: listing.add(OUT, _OUT_TARGETS[target.text] << 5 | _bits(count)),
        "push": lambda *words: push_pull(0, words),
        "pull": lambda *words: push_pull(1, words),
        "mov": mov,
        "nop": lambda: mov(Name("y"), Name("y")),
        "set": lambda target, value: listing.add(SET, _SET_TARGETS[target.text] << 5 | value),
    }
    return known


def assemble(function: FunctionType, *, side_pins: int, in_shift_right: bool) -> Assembled:
    """Run the function with the language's names in place of its globals and encode what it said."""
    listing = _Listing()
    FunctionType(function.__code__, _names(listing))()
    sides = [one.side_value is not None for one in listing.instructions]
    optional = any(sides) and not all(sides)
    side_bits = side_pins + optional if any(sides) else 0
    words = []
    for one in listing.instructions:
        assert 0 <= one.delay < 1 << (5 - side_bits), "delay too long"
        high = one.delay
        if one.side_value is not None:
            assert 0 <= one.side_value < 1 << side_pins
            high |= one.side_value << (5 - side_bits) | (optional << 4)
        argument = one.argument if one.label is None else one.argument | listing.labels[one.label]
        words.append(one.kind << 13 | high << 8 | argument)
    assert len(words) <= 32
    top = len(words) - 1 if listing.wrap_top is None else listing.wrap_top
    return Assembled(tuple(words), listing.wrap_target, top, side_bits, optional, in_shift_right)
