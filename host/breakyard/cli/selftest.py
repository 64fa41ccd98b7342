"""breakyard logger selftest: does the logger work, and what to check where it does not."""

from typing import Annotated, Any

import typer

from breakyard.cli.options import LinkOption
from breakyard.cli.output import JsonOption, Output
from breakyard.cli.running import run_async
from breakyard.device.reach import reach_way


def command(
    link: LinkOption = "usb",
    press: Annotated[
        bool, typer.Option(help="Ask for a press on the cell; only on a terminal, else it is left out.")
    ] = True,
    slow: Annotated[
        bool, typer.Option("--slow", help="RATE is low on purpose, to test the slow rate.")
    ] = False,
    shunt: Annotated[
        str | None,
        typer.Option(help='Resistor that you will hold from A+ to E-, as "100k": a check without masses.'),
    ] = None,
    bridge: Annotated[float, typer.Option(help="Ohms of the cell from A+ to A-, for --shunt.")] = 350.0,
    as_json: JsonOption = False,
) -> None:
    """Test converter, wires, cell, link, flash and supply.

    What fails comes with what to check. Leave the cell alone while it looks. Nothing is recorded, no run is touched.
    The latest result at each of the converter's two rates is kept on this computer. Status 1 if a check failed.

    Example: breakyard logger selftest --link usb
    """
    from breakyard.cli.selftest_words import make_and_show
    from breakyard.device.selftest.shunt import Shunt, parse_ohm

    out = Output(as_json)
    resistor = None if shunt is None else Shunt(parse_ohm(shunt), bridge)

    async def do() -> dict[str, Any]:
        async with reach_way(link, calm=True) as client:
            return await make_and_show(client, out, press=press, slow=slow, shunt=resistor)

    document = run_async(do())
    out.document(document)
    if not document["passed"]:
        raise typer.Exit(1)
