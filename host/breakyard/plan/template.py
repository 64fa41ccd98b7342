"""A rig to begin with, as a table for session.toml."""

import tomllib
from collections.abc import Mapping
from typing import Any, Final

RIG_TEMPLATE: Final = """\
# The rig, for session.toml. Forces with their unit: a part stamped "2 t" is "2 tf". All numbers here are invented.
[rig]
specimen = "cleat, bonded"
expected = "300..500 kgf"       # load at which the specimen should break
loading = "winch"               # hand winch, winch, hoist, slow vehicle, jerk
# dynamic_factor = 1.2          # instead of the rule of thumb of the loading
# margin = 2                    # every other part must bear this many times the pull
# paid_out_m = 6                # of a winch, if longer than the line
stop = "600 kgf"                # break the pull off here: no more than the weakest rating; the logger's alarm

[[rig.element]]
name = "bow shackle"
kind = "shackle"                # also hook, ring, eyebolt, rod end, swivel, turnbuckle, block, chain, wire rope,
wll = "2 tf"                    # webbing sling, round sling, rope, cell, winch, anchor, other; wll or breaking, or both
# side_load_deg = 0             # a block between specimen and cell: between = true, and its friction = [0.04, 0.09]
                                # and mass = "3 kg", which every reading feels

[[rig.element]]
name = "S cell"
kind = "cell"
capacity = "1 tf"
# link = true                   # a cell that takes the shackles' pins itself; else what is in its threads, as below

[[rig.element]]
name = "eye bolt of the cell"
kind = "eyebolt"
wll = "1 tf"                    # straight along its thread; off its line only with shoulder = true

[[rig.element]]
name = "rod end of the cell"
kind = "rod end"
static = "12 kN"                # static load rating of its sheet, C0; half of it is taken as its working load

[[rig.element]]
name = "bridle"
kind = "chain"
wll = "1.5 tf"                  # of one leg
legs = 2
leg_angle_deg = 30              # from the line of pull: half the angle between two legs

[[rig.element]]
name = "pull line"
kind = "rope"
breaking = "90 kN"
ends = "splice"                 # none, sewn, pressed, splice, knot, bowline, clove hitch, clips

[[rig.line]]
length_m = 6                    # without load
material = "hmpe"               # nylon, polyester, polypropylene, hmpe, wire rope, chain; or stretch, or stiffness
breaking = "90 kN"

[[rig.anchor]]
name = "concrete block"
kind = "block"                  # or vehicle
mass = "3500 kg"
surface = "gravel"              # or friction = [0.3, 0.5]
# slope_deg = 0                 # above 0: falls towards the pull
# rise_deg = 0                  # above 0: the line rises from here towards the pull

[[rig.anchor]]
name = "van with the winch"
kind = "vehicle"
mass = "2600 kg"
surface = "dry concrete"
braked = "all"                  # all wheels chocked or braked; "one axle" for a parking brake alone
role = "pull"
"""


def is_template(rig: Mapping[str, Any]) -> bool:
    """Whether a table [rig] is still the example, word for word: nobody's rig."""
    return bool(dict(rig) == tomllib.loads(RIG_TEMPLATE)["rig"])
