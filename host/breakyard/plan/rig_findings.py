"""What the rig check finds, in sentences. Each number that is a rule of thumb says so."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from breakyard.plan.elements import STRAIGHT_DEG, WIDEST_LEG_DEG, ElementCheck
from breakyard.plan.energy import as_fall
from breakyard.plan.quantities import (
    Finding,
    show_force,
    show_force_down,
    show_number,
    show_percent,
    show_range,
    show_span,
    sort_findings,
)
from breakyard.plan.rules import BYSTANDER_LENGTHS, ENERGY_CAUTION_J, EYEBOLT_SIDE, KNOTS, MINIMUM_LENGTHS

if TYPE_CHECKING:
    from breakyard.plan.anchors import AnchorCheck
    from breakyard.plan.rig import RigCheck


def rig_findings(check: "RigCheck", unit: str) -> tuple[Finding, ...]:
    """All findings, the ones that fail the check first."""
    found = [*_weakest(check, unit)]
    for part in check.elements:
        found += _element(part, check, unit)
    for anchor in check.anchors:
        found += _anchor(anchor, unit)
    found += [*_blocks(check), *_stop(check, unit)]
    return sort_findings([*found, *_joints(check), *_loading(check), *_line(check)])


def _blocks(check: "RigCheck") -> Iterator[Finding]:
    for part in check.elements:
        if part.element.kind != "block" or part.element.between is False:
            continue
        if part.element.between is None:
            yield Finding(
                "block_where",
                "caution",
                f'"{part.element.name}": is it between the cell and the specimen? Its friction (4 to 9 %, textbook '
                "figures) would then be in every peak; write between = true or false.",
            )
        else:
            yield Finding(
                "block_between",
                "caution",
                f'"{part.element.name}" is between the cell and the specimen: the cell does not read what the specimen '
                "bears. Every peak is widened by its friction; better put the cell next to the specimen.",
            )


def _weakest(check: "RigCheck", unit: str) -> Iterator[Finding]:
    unrated = [f'"{part.element.name}"' for part in check.elements if part.margin is None]
    if not check.elements:
        yield Finding(
            "no_elements",
            "no",
            "No part of the line is described, so nothing shows that the specimen is the weakest.",
        )
    if unrated:
        yield Finding(
            "unrated",
            "no",
            f"{', '.join(unrated)}: no rating, so nothing shows that the specimen is the weakest. Read the WLL or the "
            "breaking strength off the part; a part without marks does not belong in the line.",
        )
    if not any(anchor.anchor.role == "hold" for anchor in check.anchors) and not any(
        part.element.kind == "anchor" for part in check.elements
    ):
        yield Finding(
            "no_anchor", "caution", "Nothing is said of what holds the far end; describe the anchor."
        )
    weakest = check.weakest
    if weakest is not None and weakest.margin is not None and weakest.margin >= check.rig.margin:
        yield Finding(
            "weakest_part",
            "note",
            f'Weakest part beside the specimen: "{weakest.element.name}", which bears {show_number(weakest.margin)} '
            f"times the {show_force(check.rig.peak_n, unit)} to be expected.",
        )


def _element(part: ElementCheck, check: "RigCheck", unit: str) -> Iterator[Finding]:
    name, element = f'"{part.element.name}"', part.element
    if part.margin is not None and part.margin < check.rig.margin:
        weaker = "is weaker than the specimen may be" if part.margin < 1.0 else "is too near the specimen"
        rated = " (from its WLL and the lowest usual design factor)" if part.rated == "wll" else ""
        yield Finding(
            "not_weakest",
            "no",
            f"{name} {weaker}: it may part at {show_force(part.breaking_low_n or 0.0, unit)}{rated} under a load of "
            f"{show_force(part.load_n, unit)}, {show_number(part.margin)} times; {show_number(check.rig.margin)} times "
            "is wanted (rule of thumb).",
        )
    if element.kind == "cell":
        yield from _cell(part, unit)
    elif part.wll_use is not None and part.wll_use > 1.0:
        yield Finding(
            "above_wll",
            "no",
            f"{name}: {show_force(part.load_n, unit)} is {show_percent(part.wll_use)} of its working load limit as "
            f"rigged, {show_force(part.wll_n or 0.0, unit)}; take a larger one.",
        )
    if KNOTS in part.rules and element.ends != "splice":
        stated = "" if element.ends else " (ends not stated, taken as knots)"
        yield Finding(
            "knot",
            "caution",
            f"{name}: a knot{stated} leaves {show_percent(part.efficiency[0])} to "
            f"{show_percent(part.efficiency[1])} of the strength (published charts disagree); a sewn eye is better.",
        )
    if element.side_load_deg > STRAIGHT_DEG:
        yield _off_line(part)
    if element.leg_angle_deg > WIDEST_LEG_DEG:
        yield Finding(
            "leg_angle",
            "caution",
            f"{name}: legs at {show_number(element.leg_angle_deg)} degrees from the line of pull; beyond "
            f"{show_number(WIDEST_LEG_DEG)} degrees (EN 818-4, from memory) their load grows fast: use longer legs.",
        )
    if element.legs > 2:
        yield Finding("legs", "note", f"{name}: only two of {element.legs} legs are counted (rule of thumb).")
    if element.turn_deg:
        yield Finding(
            "bight",
            "caution",
            f"{name} turns the line: if it or its anchor lets go, it flies into the bight; keep the inside of the turn "
            "clear, on both legs.",
        )


def _off_line(part: ElementCheck) -> Finding:
    """A part that is pulled off its own line; what bears that is a shackle or a ring, not a thread or a pivot."""
    name, element = f'"{part.element.name}"', part.element
    angle = f"a side load at {show_number(element.side_load_deg)} degrees"
    if element.kind == "eyebolt" and not element.has_shoulder:
        return Finding(
            "eyebolt_off_line",
            "no",
            f"{name}: {angle}; plain eye bolts are for loads in line with their thread only (ASME B30.26). Turn it "
            "into line; write shoulder = true for one whose shoulder sits on the face.",
        )
    if element.kind == "eyebolt":
        return Finding(
            "eyebolt_off_line",
            "caution",
            f"{name}: {angle} leaves {show_percent(part.efficiency[0])} of its rating ({EYEBOLT_SIDE.mark}); its eye "
            "must lie in the plane of the pull. Better turn it into line.",
        )
    if element.kind in ("swivel", "turnbuckle"):
        return Finding(
            "off_line",
            "no",
            f"{name}: {angle}; swivels and turnbuckles are for loads in line only (ASME B30.26, from memory). Turn it "
            "into line.",
        )
    return Finding("side_load", "caution", f"{name}: {angle}; turn it into line.")


def _stop(check: "RigCheck", unit: str) -> Iterator[Finding]:
    """What keeps the puller below the weakest rating."""
    stop, most_n = check.stop, check.strongest_pull_n
    if stop is None:
        return
    limit = f'{show_force_down(stop.limit_n, unit)}, the rating of "{stop.by}" as rigged'
    stated_n = check.rig.stop_n
    if stated_n is not None and stated_n > stop.limit_n * (1.0 + 1e-9):
        yield Finding(
            "stop_too_high",
            "no",
            f"The stop load, {show_force(stated_n, unit)}, lies above {limit}: lower it, or take a stronger part.",
        )
    if not stop.stated and most_n is not None and most_n > stop.limit_n:
        can = "without limit" if most_n == float("inf") else f"up to {show_force(most_n, unit)}"
        yield Finding(
            "no_stop_load",
            "no",
            f"The puller can pull {can}, more than {limit}, and no stop load is stated. Write stop = "
            f'"{show_force_down(stop.limit_n, unit)}" into [rig] (or give --stop), and break the pull off there.',
        )
    if not stop.stated and most_n is None:
        yield Finding(
            "puller_unknown",
            "caution",
            f"Nothing is said of how hard the puller can pull: describe it (a winch with its rating, an anchor with "
            f'role = "pull"), or write stop = "{show_force_down(stop.limit_n, unit)}" and break the pull off there.',
        )
    if stop.stated and stop.load_n < check.rig.expected_high_n:
        yield Finding(
            "stop_below_expected",
            "note",
            f"The stop load, {show_force(stop.load_n, unit)}, may come before the specimen breaks "
            f"({show_range(check.rig.expected_low_n, check.rig.expected_high_n, unit)}): such a pull says 'at least'.",
        )


def _cell(part: ElementCheck, unit: str) -> Iterator[Finding]:
    if part.wll_use is None or part.wll_n is None or part.wll_use <= 1.0:
        return
    safe_n = part.wll_n * part.element.safe_overload
    if part.load_n > safe_n:
        yield Finding(
            "cell_overload",
            "no",
            f'"{part.element.name}": {show_force(part.load_n, unit)} passes its safe overload, '
            f"{show_force(safe_n, unit)}; it would be damaged.",
        )
    else:
        yield Finding(
            "cell_above_capacity",
            "caution",
            f'"{part.element.name}": {show_force(part.load_n, unit)} is above its capacity, '
            f"{show_force(part.wll_n, unit)}, though within its safe overload.",
        )


def _joints(check: "RigCheck") -> Iterator[Finding]:
    """An S-cell has threads: what is screwed into them is often the weakest part of the line."""
    kinds = {part.element.kind for part in check.elements}
    if kinds & {"eyebolt", "rod end"}:
        return
    for part in check.elements:
        if part.element.kind == "cell" and not part.element.is_link:
            yield Finding(
                "cell_joint",
                "caution",
                f'"{part.element.name}": nothing is said of what joins it to the shackles. Describe the eye bolts or '
                "rod ends in its threads with their ratings (an M12 eye bolt of DIN 580: 340 kgf); write link = true "
                "for a cell that takes the shackles' pins itself.",
            )


def _anchor(check: "AnchorCheck", unit: str) -> Iterator[Finding]:
    name = f'"{check.anchor.name}"'
    holds = show_range(check.holds_low_n, check.holds_high_n, unit)
    load = show_force(check.load_n, unit)
    if check.verdict == "may tip":
        tips = show_force(check.tips_n or 0.0, unit)
        yield Finding(
            "anchor_tips", "no", f"{name} may tip at {tips}, below {load}: attach lower, widen the base."
        )
    elif check.verdict != "holds":
        yield Finding(
            "anchor_slides",
            "no",
            f"{name} {check.verdict}: friction holds {holds} (ranges of friction are a rule of thumb), the pull is "
            f"{load}. Chock it, load it, or tie it back to something rated.",
        )
    elif check.use > 0.5:
        yield Finding(
            "anchor_use",
            "caution",
            f"{name}: {load} is {show_percent(check.use)} of the least that friction holds ({holds}, rule of thumb).",
        )
    if check.anchor.assumed:
        yield Finding(
            "anchor_assumed",
            "note",
            f"{name}: not stated and so taken from a rule of thumb: {', '.join(check.anchor.assumed)}.",
        )


def _loading(check: "RigCheck") -> Iterator[Finding]:
    low, high = check.rig.dynamic_factor
    loading = check.rig.loading
    if check.rig.dynamic is None:
        yield Finding(
            "dynamic",
            "note",
            f"Dynamic factor {show_span(low, high)} for {loading.words} (rule of thumb).",
        )
    if loading.name == "jerk":
        yield Finding(
            "jerk",
            "no",
            "A jerk has no upper limit: a load laid on at once doubles, a run-up adds speed x sqrt(stiffness x mass). "
            "It can break any part, and this converter cannot measure it. Pull slowly.",
        )
    if loading.name in ("slow vehicle", "jerk"):
        yield Finding(
            "driver",
            "caution",
            "Whoever drives sits in the line of fire: shield the cab and damp the line, or use a winch from the side.",
        )
    if loading.name == "hand winch":
        yield Finding(
            "operator",
            "caution",
            "Whoever works a hand winch stands beside the line: turn it through a block so that they stand clear.",
        )


def _line(check: "RigCheck") -> Iterator[Finding]:
    energy, distances = check.energy, check.distances
    if energy is None or distances is None:
        yield Finding(
            "no_line", "caution", "The line's length is not stated: no energy and no distances can be given."
        )
        return
    if any(line.is_guess for line in check.rig.lines):
        yield Finding(
            "stretch_unknown",
            "caution",
            "The line's material is not stated: its energy is given from steel's stretch to nylon's.",
        )
    stored = (
        f"{show_span(energy.low_j, energy.high_j)} J"
        if energy.high_j < 1000.0
        else f"{show_span(energy.low_j / 1000.0, energy.high_j / 1000.0)} kJ"
    )
    yield Finding(
        "energy",
        "caution" if energy.high_j > ENERGY_CAUTION_J else "note",
        f"The line stores {stored} at the peak, at most {as_fall(energy.high_j)}.",
    )
    yield Finding(
        "snap_back",
        "caution",
        "Snap-back: parting lines are said to fly at up to 800 km/h (fibre) and 500 km/h (wire); the ends pass the "
        f"point of attachment, here by up to {show_number(distances.overshoot_m)} m, and the zone widens with distance "
        "(P&I club safety alert SA 015).",
    )
    yield Finding(
        "fragments",
        "caution",
        "Fragments of a specimen, and fittings that a parting line takes along, fly as fast as the line and farther "
        "than any stand-off below, which is for the line alone: shield the specimen, stand to the side, and let nobody "
        "be in line with the pull at any distance.",
    )
    floor = "; 10 m at least, rule of thumb" if distances.by_floor else ""
    yield Finding(
        "stand_off",
        "note",
        f"Stand-off, to the side of every part of the line: {show_number(distances.minimum_m)} m for those who must be "
        f"there ({MINIMUM_LENGTHS:g} x the unstretched line, fleet safety guide on recovery straps{floor}), "
        f"{show_number(distances.bystanders_m)} m for everyone else ({BYSTANDER_LENGTHS:g} x the paid-out length, US "
        "Army FM 4-30.31).",
    )
