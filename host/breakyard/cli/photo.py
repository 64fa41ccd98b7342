"""breakyard photo: a picture of a specimen, kept without its position."""

from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.output import JsonOption, Output


def command(
    specimen: Annotated[str, typer.Argument(help="Id of the specimen.")],
    pictures: Annotated[list[Path], typer.Argument(help="Pictures (JPEG or PNG).")],
    session: Annotated[
        Path, typer.Option("--session", help="The session's folder; default: the one you are in.")
    ] = Path("."),
    as_json: JsonOption = False,
) -> None:
    """Keep a picture of a specimen, without its position.

    It is shown on the specimen's sheet, in the report and in the publication. The copy is turned upright and holds
    nothing but the pixels: no position, no time, no camera.

    Example: breakyard photo S1 IMG_2041.jpg --session slipway
    """
    from breakyard.session.photos import add_photo
    from breakyard.session.session import open_session

    opened = open_session(session)
    kept = [add_photo(opened, specimen, picture) for picture in pictures]
    out = Output(as_json)
    out.document({"schema": "breakyard.photo/1", "specimen": specimen, "files": [str(path) for path in kept]})
    for path in kept:
        out.say(f"kept, without its position: {path}")
