"""breakyard logger install: the firmware onto a board."""

from typing import Annotated

import typer

from breakyard.cli.output import JsonOption, Output


def command(
    port: Annotated[str, typer.Option(help="Serial port of the board, as /dev/ttyACM0 or COM5.")],
    setting: Annotated[
        list[str] | None,
        typer.Option("--set", help="A setting as NAME=VALUE; may be given more than once."),
    ] = None,
    sources: Annotated[
        bool, typer.Option("--sources", help="Copy sources instead of compiled files.")
    ] = False,
    restart: Annotated[bool, typer.Option(help="Start the board anew at the end.")] = True,
    as_json: JsonOption = False,
) -> None:
    """Put the firmware onto a board with MicroPython; its runs and settings stay.

    The board must show its prompt: connect the prompt pin to ground while powering up (GP22 on a Pico), and take
    the wire away afterwards. Each file is checked by its hash.

    breakyard logger install --port /dev/ttyACM0

    breakyard logger install --port COM5 --set capacity_counts=4294967 --set lamp_pin=15
    """
    from breakyard.errors import UsageError
    from breakyard.install import Board, install
    from breakyard.simulate.logger import firmware_dir

    output = Output(as_json)
    changes = {}
    for one in setting or ():
        name, equals, value = one.partition("=")
        if not equals:
            raise UsageError(f"--set {one}: give it as NAME=VALUE")
        changes[name.strip()] = value.strip()
    board = Board(port)
    done = install(board, firmware_dir(), changes, sources=sources, tell=output.say)
    if restart:
        board.restart()
    output.say(f"{len(done.files)} files are on the board and checked; {len(done.removed)} old ones removed")
    if restart:
        output.say(
            "Take the wire off the prompt pin and give power anew; then the lamp blinks every two seconds."
        )
    output.document(
        {
            "schema": "breakyard.install/1",
            "board": {
                "platform": done.board.platform,
                "machine": done.board.machine,
                "micropython": ".".join(map(str, done.board.version)),
            },
            "files": list(done.files),
            "removed": list(done.removed),
            "compiled": done.compiled,
        }
    )
