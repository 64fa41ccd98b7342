"""Puts the commands together. Modules named here stay light: what is heavy is imported inside the commands."""

import gc
import sys
from collections.abc import Callable
from functools import cache
from typing import Annotated, Final

import typer

from breakyard.cli.by_stage import Staged
from breakyard.cli.output import run_told, steady_streams
from breakyard.version import VERSION

CAUTION: Final = (
    "Nobody in the line of fire: stand off, short low-stretch line, slack first, eye protection. Follow local codes "
    "and ask qualified people; no number from here makes a part safe to lift or hold people."
)

NEW_OBJECTS: Final = 50_000
"""Between two searches for cycles that nothing holds any more. Python searches after some hundreds, which suits a
program that lives long; a command loads modules, draws, ends, and spent a tenth of that on searches in vain."""

app = typer.Typer(
    name="breakyard",
    cls=Staged,
    help="Find out what load a part really carries: calibrate, read pulls, and give each peak its interval.",
    epilog=CAUTION,
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        print(f"breakyard {VERSION}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    pass


@cache
def _whole() -> Callable[..., object]:
    """The application with its commands; put together once, since a program may call `main` more often."""
    from breakyard.cli import commands

    commands.register(app)
    return typer.main.get_command(app)


def main() -> None:
    """Run the command line; the entry point of the package."""
    gc.set_threshold(NEW_OBJECTS, *gc.get_threshold()[1:])
    steady_streams()
    run_told(lambda: _whole()(prog_name="breakyard", standalone_mode=False), sys.argv[1:])


if __name__ == "__main__":
    main()
