"""breakyard rig: what is in the line, what holds, what is stored, who may stand where."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from breakyard.cli.output import JsonOption, Output, UnitOption
from breakyard.errors import DataError, UsageError

if TYPE_CHECKING:
    from breakyard.plan.rig import RigCheck

TEMPLATE: Final = """\
# The rig, for session.toml. Forces with their unit: a part stamped "2 t" is "2 tf". All numbers here are invented.
[rig]
specimen = "cleat, bonded"
expected = "300..500 kgf"       # load at which the specimen should break
loading = "winch"               # hand winch, winch, hoist, slow vehicle, jerk
# dynamic_factor = 1.2          # instead of the rule of thumb of the loading
# margin = 2                    # every other part must bear this many times the pull
# paid_out_m = 6                # of a winch, if longer than the line

[[rig.element]]
name = "bow shackle"
kind = "shackle"                # also hook, ring, eyebolt, rod end, swivel, turnbuckle, block, chain, wire rope,
wll = "2 tf"                    # webbing sling, round sling, rope, cell, winch, anchor, other; wll or breaking, or both
# side_load_deg = 0

[[rig.element]]
name = "S cell"
kind = "cell"
capacity = "1 tf"
# link = true                   # a cell that takes the shackles' pins itself; else what is in its threads, as below

[[rig.element]]
name = "eye bolt of the cell"
kind = "eyebolt"
wll = "1 tf"                    # straight along its thread

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


def command(
    path: Annotated[
        Path, typer.Argument(help="Session folder, or a .toml file with a table [rig].")
    ] = Path(),
    expected: Annotated[
        str | None, typer.Option(help='Expected peak instead of the one described, as "300..500 kgf".')
    ] = None,
    loading: Annotated[
        str | None,
        typer.Option(help="Instead of the one described: hand winch, winch, hoist, slow vehicle, jerk."),
    ] = None,
    margin: Annotated[
        float | None,
        typer.Option(help="How many times the pull every other part must bear; 2 by common practice."),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", "-p", help="Draw the rig from above: a file ending in .png or .svg."),
    ] = None,
    dark: Annotated[bool, typer.Option("--dark", help="Draw on a dark ground.")] = False,
    template: Annotated[
        bool, typer.Option("--template", help="Print an example of [rig] to start from, and stop.")
    ] = False,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check that the specimen is the weakest part, that what holds holds, and where people may stand.

    Reads the table [rig] of session.toml. Ends with status 1 if something speaks against the pull; status 0 does not
    say that it is safe: local codes and qualified people come first.

    Example: breakyard rig 2026-05-03-slipway --picture rig.svg
    """
    from breakyard.cli.planning import option, save_picture
    from breakyard.plan.describe import find_loading, rig_from_table
    from breakyard.plan.quantities import parse_force_range, unit_of
    from breakyard.plan.rig import check_rig
    from breakyard.units import force_unit

    if template:
        print(TEMPLATE, end="")
        return
    file, table, kept_unit = read_rig(path)
    rig = rig_from_table(
        table,
        where=file.name,
        expected_n=None if expected is None else option("--expected", parse_force_range, expected),
        loading=None if loading is None else find_loading(loading),
        margin=margin,
    )
    spoken = expected if expected is not None else table.get("expected")
    shown = force_unit(unit or kept_unit or unit_of(str(spoken)))
    check = check_rig(rig, unit=shown)
    out = Output(as_json)
    if picture is not None:
        from breakyard.report.figures.plan_figures import rig_figure

        save_picture(rig_figure(check, mode="dark" if dark else "light"), picture)
    out.document(check.to_json() | {"file": str(file)} | ({"picture": str(picture)} if picture else {}))
    show(out, check, shown)
    if picture is not None:
        out.say(f"written: {picture}")
    if not check.ok:
        raise typer.Exit(1)


def read_rig(path: Path) -> tuple[Path, Mapping[str, Any], str | None]:
    """The file, its table [rig] and its unit, from a session or a TOML file. Raises: UsageError, DataError."""
    from breakyard.session.files.layout import SESSION_FILE, find_root
    from breakyard.session.files.toml_text import read_toml

    file = path
    if path.suffix.lower() != ".toml":
        root = find_root(path)
        if root is None:
            raise UsageError(
                f"{path}: no session here (no {SESSION_FILE}); start one from: breakyard rig --template > rig.toml"
            )
        file = root / SESSION_FILE
    document = read_toml(file)
    table = document.get("rig")
    if not isinstance(table, Mapping):
        raise DataError(f"{file}: no table [rig]; breakyard rig --template prints one to start from")
    unit = document.get("unit")
    return file, table, unit if isinstance(unit, str) else None


def show(out: Output, check: "RigCheck", unit: str) -> None:
    """Print a rig check for people: parts, anchors, findings, and always the cautions."""
    from breakyard.plan.quantities import show_force, show_number, show_percent, show_range, show_span
    from breakyard.plan.rig import CAUTIONS
    from breakyard.units import from_newtons

    def number(force_n: float | None) -> str:
        return "?" if force_n is None else show_number(from_newtons(force_n, unit))

    def share(value: float | None) -> str:
        return "?" if value is None else show_percent(value)

    rig = check.rig
    out.say(
        f"{rig.specimen}: expected {show_range(rig.expected_low_n, rig.expected_high_n, unit)}; with the dynamic "
        f"factor {show_span(*rig.dynamic_factor)} up to {show_force(rig.peak_n, unit)}"
    )
    out.table(
        "Parts of the line",
        [
            "part",
            "kind",
            f"load, {unit}",
            f"WLL, {unit}",
            "of WLL",
            f"may part at, {unit}",
            "of that",
            "margin",
        ],
        [
            [
                part.element.name,
                part.element.kind,
                number(part.load_n),
                number(part.wll_n),
                share(part.wll_use),
                number(part.breaking_low_n),
                share(part.breaking_use),
                "?" if part.margin is None else show_number(part.margin),
            ]
            for part in check.elements
        ],
    )
    if check.anchors:
        out.table(
            "Held by friction (rule of thumb)",
            ["anchor", "kind", f"load, {unit}", f"holds, {unit}", "verdict"],
            [
                [
                    held.anchor.name,
                    held.anchor.kind,
                    number(held.load_n),
                    f"{number(held.holds_low_n)} to {number(held.holds_high_n)}",
                    held.verdict,
                ]
                for held in check.anchors
            ],
        )
    for finding in check.findings:
        out.say(f"{finding.level}: {finding.text}")
    out.say("")
    for caution in CAUTIONS:
        out.say(caution)
