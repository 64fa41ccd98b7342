"""How far away: distances from the length of the line, and where the line of fire lies.

They come from rules for recovery straps and winch cables. They do not cover fragments of a brittle specimen, and no
distance makes standing in line with the pull right.
"""

from dataclasses import dataclass, field

from breakyard.document import face
from breakyard.errors import UsageError
from breakyard.plan import rules
from breakyard.plan.rules import BYSTANDER_LENGTHS, FLOOR_M, MINIMUM_LENGTHS, Rule


@dataclass(frozen=True, slots=True)
class StandOff:
    """Distances in metres from every part of the line and of both its ends, to the side.

    `overshoot_m` is how far a parted end may fly past its point of attachment.
    """

    line_m: float
    paid_out_m: float
    minimum_m: float
    bystanders_m: float
    overshoot_m: float
    by_floor: bool
    """The distances come from the shortest distance, a rule of thumb, and not from the line."""
    rules: tuple[Rule, ...] = field(metadata=face(names=True))


def stand_off(line_m: float, paid_out_m: float | None = None, stretch_m: float = 0.0) -> StandOff:
    """Suggest distances for a line of `line_m` without load, of which `paid_out_m` left the winch (default: all).

    Minimum: 1.5 x the unstretched line. Bystanders: 2 x the longer of line and paid-out cable. Never under 10 m.
    Raises: UsageError.
    """
    paid_out = line_m if paid_out_m is None else paid_out_m
    if not 0.0 < line_m <= 2000.0 or not 0.0 <= paid_out <= 2000.0:
        raise UsageError("lengths of lines are metres, above 0 and up to 2000")
    longest = max(line_m, paid_out)
    minimum, bystanders = MINIMUM_LENGTHS * longest, BYSTANDER_LENGTHS * longest
    return StandOff(
        line_m=line_m,
        paid_out_m=paid_out,
        minimum_m=max(minimum, FLOOR_M),
        bystanders_m=max(bystanders, FLOOR_M),
        overshoot_m=longest + stretch_m,
        by_floor=minimum < FLOOR_M,
        rules=(rules.STAND_OFF, rules.BYSTANDERS, rules.SNAP_BACK, rules.FLOOR),
    )
