"""breakyard attach: a second series beside a pull, as lengths over time or over load."""

from pathlib import Path
from typing import Annotated

import typer

from breakyard.cli.output import JsonOption, Output


def command(
    pull: Annotated[str, typer.Argument(help="Specimen or recording that it belongs to.")],
    file: Annotated[
        Path, typer.Argument(help="CSV: time_s,mm or load_kgf,mm (mm or in), remarks if you like.")
    ],
    session: Annotated[
        Path, typer.Option("--session", help="The session's folder; default: the one you are in.")
    ] = Path("."),
    offset: Annotated[
        float | None, typer.Option("--offset", help="Seconds of the recording at the series' own zero.")
    ] = None,
    by_shape: Annotated[
        bool, typer.Option("--by-shape", help="Find the offset at which the lengths follow the load best.")
    ] = False,
    accuracy: Annotated[
        float | None,
        typer.Option(
            help="Standard uncertainty of the lengths' scale in percent; default: 1.", min=0.0, max=50.0
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Attach lengths or remarks that were taken during a pull.

    The file is kept beside the recording and read with it: load over extension, extension at 10, 50 and 100 % of the
    peak, stiffness with its interval, first movement, what was left, creep. The units stand in its headers. Lengths
    may be absolute, as read from a tape. A series of loads and lengths needs no time.

    Example: breakyard attach S1 marks.csv --session slipway
    """
    from breakyard.cli.output import fail
    from breakyard.session.attaching import attach
    from breakyard.session.session import open_session

    if offset is not None and by_shape:
        fail("--offset and --by-shape are two ways to say the same; leave one out")
    opened = open_session(session)
    found = attach(opened.pull(pull), file, offset_s=offset, by_shape=by_shape, accuracy_percent=accuracy)
    out = Output(as_json)
    out.document(
        {
            "schema": "breakyard.attach/1",
            "file": str(found.path),
            "offset_s": found.offset_s,
            "offset_low_s": found.offset_low_s,
            "offset_high_s": found.offset_high_s,
            "by": found.by,
            "fit": found.fit,
            "lengths": found.lengths,
            "remarks": found.remarks,
        }
    )
    out.say(f"kept: {found.path} ({found.lengths} lengths, {found.remarks} remarks)")
    if found.fit is not None:
        out.say(
            f"its clock: {found.offset_s:+.2f} s ({found.offset_low_s:+.2f} to {found.offset_high_s:+.2f} s, 95 %); "
            f"the load explains {100 * found.fit:.1f} % of the lengths there"
        )
        if found.longest_shift_m is not None:
            out.say(f"  where the lengths change fastest that is up to {1000 * found.longest_shift_m:.2g} mm")
    out.say(f"next: breakyard summarize {opened.root / 'runs' / opened.pull(pull).path.name}")
