"""A known resistor across one arm of the bridge: what it must do to the count.

It checks gain, supply, wires, connector and the bridge's resistance at once, without masses; it says nothing of the
cell as a scale.
"""

import re
from dataclasses import dataclass
from typing import Final

from breakyard.errors import UsageError
from breakyard.plan.ranges import counts_per_mv_v

BRIDGE_OHM: Final = 350.0
_PREFIXES: Final = {"": 1.0, "k": 1e3, "m": 1e6}


@dataclass(frozen=True, slots=True)
class Shunt:
    """A resistor and the bridge that it is held to.

    Attributes:
        ohm: of the resistor, from A+ to E-.
        bridge_ohm: from A+ to A-, as measured with nothing else on the cell's wires.
    """

    ohm: float
    bridge_ohm: float = BRIDGE_OHM

    def __post_init__(self) -> None:
        if not 50.0 <= self.bridge_ohm <= 10_000.0:
            raise UsageError(
                f"a bridge of {self.bridge_ohm:g} ohm: give what you measure from A+ to A-, about 350"
            )
        if not 10.0 * self.bridge_ohm <= self.ohm <= 1e8:
            raise UsageError(f"a shunt of {self.ohm:g} ohm: give 100k or another much above the bridge's")

    @property
    def mv_v(self) -> float:
        """Shift of the bridge's output, in mV per V of excitation, without a sign.

        R / (4 Rs + 2 R), from the potential divider of one arm with the resistor across it (circuit theory; the same
        exact equation: manual of a strain amplifier, sources.md, P22).
        """
        return 1000.0 * self.bridge_ohm / (4.0 * self.ohm + 2.0 * self.bridge_ohm)

    def counts(self, gain: int) -> float:
        """The same in counts, without a sign."""
        return self.mv_v * counts_per_mv_v(gain)


def parse_ohm(text: str) -> float:
    """ "100k", "100 kohm", "87000": ohms. Raises: UsageError."""
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([km]?)(?:ohms?)?\s*", text, re.IGNORECASE)
    if found is None:
        raise UsageError(f'"{text}" is no resistance; write it as 100k or 100000')
    return float(found[1]) * _PREFIXES[found[2].lower()]
