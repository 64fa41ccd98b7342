"""breakyard rig: what is in the line, what holds, what is stored, who may stand where."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from breakyard.cli.output import JsonOption, Output, UnitOption
from breakyard.errors import DataError, UsageError

if TYPE_CHECKING:
    from breakyard.plan.rig import RigCheck
    from breakyard.plan.stop import StopLoad


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
    stop: Annotated[
        str | None,
        typer.Option(help='Load at which the pull is broken off, as "600 kgf"; a session keeps it.'),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", "-p", help="Draw the rig from above: a file ending in .png or .svg."),
    ] = None,
    dark: Annotated[bool, typer.Option("--dark", help="Draw on a dark ground.")] = False,
    template: Annotated[
        bool,
        typer.Option(
            "--template",
            help="Write an example of [rig] into session.toml; print it where there is none.",
        ),
    ] = False,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check that the specimen is the weakest part; where to stand.

    Reads the table [rig] of session.toml, and checks the anchors as well. Ends with status 1 if something speaks
    against the pull; status 0 does not say that it is safe: local codes and qualified people come first.

    Example: breakyard rig 2026-05-03-slipway --picture rig.svg
    """
    from breakyard.cli.options import option
    from breakyard.plan.describe import find_loading, rig_from_table
    from breakyard.plan.quantities import parse_force_range, unit_of
    from breakyard.plan.rig import check_rig
    from breakyard.plan.template import is_template
    from breakyard.session.files.pictures import save_picture
    from breakyard.units import force_unit, parse_force

    out = Output(as_json)
    if template:
        _template(path, out)
        return
    file, table, kept_unit = read_rig(path)
    rig = rig_from_table(
        table,
        where=file.name,
        expected_n=None if expected is None else option("--expected", parse_force_range, expected),
        loading=None if loading is None else find_loading(loading),
        margin=margin,
        stop_n=None if stop is None else option("--stop", parse_force, stop),
    )
    spoken = expected if expected is not None else table.get("expected")
    shown = force_unit(unit or kept_unit or unit_of(str(spoken)))
    check = check_rig(rig, unit=shown)
    if picture is not None:
        from breakyard.report.figures.plan_figures import rig_figure

        save_picture(rig_figure(check, mode="dark" if dark else "light"), picture)
    out.document(check.to_json() | {"file": str(file)} | ({"picture": str(picture)} if picture else {}))
    show(out, check, shown)
    if is_template(table):
        out.warn(
            f"{file}: [rig] is still the example, which is nobody's rig, and its stop load nobody's: make it your own"
        )
    if picture is not None:
        out.say(f"written: {picture}")
    if stop is not None:
        from breakyard.session.stopping import keep_stop

        keep_stop(file, stop)
        out.say(f"stop load kept: {file}")
    if not check.ok:
        raise typer.Exit(1)


def _template(path: Path, out: Output) -> None:
    """The example of a rig: into the session's own file, or on the screen where there is no session."""
    from breakyard.plan.template import RIG_TEMPLATE
    from breakyard.session.files.layout import SESSION_FILE, find_root
    from breakyard.session.files.toml_text import add_table

    root = None if path.suffix.lower() == ".toml" else find_root(path)
    if root is None:
        print(RIG_TEMPLATE, end="")
        return
    file = root / SESSION_FILE
    add_table(file, "rig", RIG_TEMPLATE)
    out.document({"schema": "breakyard.rig.template/1", "file": str(file)})
    out.say(
        f"{file}: an example of [rig] stands at its end now; make it your own, then: breakyard rig {path}"
    )


def read_rig(path: Path) -> tuple[Path, Mapping[str, Any], str | None]:
    """The file, its table [rig] and its unit, from a session or a TOML file. Raises: UsageError, DataError."""
    from breakyard.session.files.layout import SESSION_FILE, find_root
    from breakyard.session.files.toml_text import read_toml

    file = path
    if path.suffix.lower() != ".toml":
        root = find_root(path)
        if root is None:
            raise UsageError(
                f"{path}: no session here (no {SESSION_FILE}); make one with: breakyard new FOLDER, or describe a rig "
                "alone: breakyard rig --template > rig.toml"
            )
        file = root / SESSION_FILE
    document = read_toml(file)
    table = document.get("rig")
    if not isinstance(table, Mapping):
        raise DataError(f"{file}: no table [rig]; breakyard rig {path} --template writes one to start from")
    unit = document.get("unit")
    return file, table, unit if isinstance(unit, str) else None


def show_stop(out: Output, stop: "StopLoad", unit: str) -> None:
    """The stop load, large: the one number that whoever watches the reading must have in mind."""
    from breakyard.plan.quantities import show_force_down

    rule = "=" * 60
    by_rating = not stop.stated or stop.load_n == stop.limit_n
    why = f"the first rating in the line: {stop.by}" if by_rating else "as stated"
    out.say(
        f"\n{rule}\n   STOP LOAD   {show_force_down(stop.load_n, unit)}\n   Break the pull off there ({why}).\n{rule}\n"
    )


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
    if check.stop is not None:
        show_stop(out, check.stop, unit)
    for finding in check.findings:
        out.say(f"{finding.level}: {finding.text}")
    out.say("")
    for caution in CAUTIONS:
        out.say(caution)
