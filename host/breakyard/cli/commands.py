"""The list of commands: one module each, with a function `command` whose docstring is its help."""

from typing import Final

import typer

from breakyard.cli import (
    calibrate,
    check,
    compare,
    demo,
    design,
    export,
    import_,
    install,
    plot,
    report,
    rig,
    summarize,
)
from breakyard.cli import range as range_

MODULES: Final = {
    "demo": demo,
    "range": range_,
    "rig": rig,
    "design": design,
    "calibrate": calibrate,
    "check": check,
    "summarize": summarize,
    "plot": plot,
    "compare": compare,
    "report": report,
    "import": import_,
    "export": export,
}

LOGGER: Final = {"install": install}
"""Commands that are said after "logger"."""


def register(app: typer.Typer) -> None:
    """Add every command to the application, in the order of the work."""
    for name, module in MODULES.items():
        app.command(name)(module.command)
    logger = typer.Typer(help="The logger itself.", no_args_is_help=True, rich_markup_mode=None)
    for name, module in LOGGER.items():
        logger.command(name)(module.command)
    app.add_typer(logger, name="logger")
