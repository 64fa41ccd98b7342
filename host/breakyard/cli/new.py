"""breakyard new: the folder of a new session, its texts explained, and what to do next."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.options import group_names
from breakyard.cli.output import JsonOption, Output
from breakyard.errors import UsageError


def command(
    folder: Annotated[Path, typer.Argument(help="Folder to make, as 2026-05-03-slipway.")],
    unit: Annotated[
        str | None,
        typer.Option(
            "--unit", "-u", help="Unit of force shown: N, daN, kN, kgf, tf, lbf or kip; default: N."
        ),
    ] = None,
    place: Annotated[str | None, typer.Option(help="Where it is; the report's title.")] = None,
    day: Annotated[
        str | None,
        typer.Option("--date", metavar="DAY", help="Day of the pulls, as 2026-05-03; default: today."),
    ] = None,
    latitude: Annotated[
        float | None, typer.Option(min=-90.0, max=90.0, help="Of the place, in degrees; for known masses.")
    ] = None,
    height: Annotated[float | None, typer.Option(help="Of the place above the sea, in metres.")] = None,
    capacity: Annotated[
        str | None, typer.Option(help='Capacity on the cell\'s plate, as "1000 kgf".')
    ] = None,
    rated_output: Annotated[float | None, typer.Option(help="Rated output on the plate, in mV/V.")] = None,
    groups: Annotated[
        str | None, typer.Option(help='What will be compared, as "bonded, screwed"; each gets its specimens.')
    ] = None,
    each: Annotated[int, typer.Option(min=1, help="Specimens per group; with --groups.")] = 3,
    as_json: JsonOption = False,
) -> None:
    """Begin: make the folder of a session, with its files explained.

    In a terminal you are asked for what no option says; Enter takes the answer in brackets. Everything can be changed
    later, with any editor: each file explains its own keys.

    Example: breakyard new 2026-05-03-slipway --unit kgf --groups "bonded, screwed" --each 4
    """
    from breakyard.cli import asking
    from breakyard.session.beginning import Wanted, begin

    out = Output(as_json)
    wanted = Wanted(
        unit=unit or "N",
        place=place or "",
        day=_day(day),
        latitude_deg=latitude,
        height_m=height,
        capacity=capacity,
        rated_output_mv_v=rated_output,
        groups=() if groups is None else group_names(groups),
        each=each,
    )
    if asking.somebody(as_json):
        said = {"unit": unit, "place": place, "capacity": capacity, "groups": groups}
        wanted = asking.ask_session(wanted, {name for name, value in said.items() if value is not None})
    session = begin(folder, wanted)
    out.document(
        {
            "schema": "breakyard.new/1",
            "session": str(folder),
            "unit": session.info.unit,
            "specimens": [{"id": one.id, "group": one.group} for one in session.specimens()],
        }
    )
    for line in asking.begun(session):
        out.say(line)


def _day(text: str | None) -> date:
    if text is None:
        return date.today()
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(f'--date "{text}": write the day as 2026-05-03') from None
