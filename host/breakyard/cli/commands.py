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


def register(app: typer.Typer) -> None:
    """Add every command to the application, in the order of the work."""
    for name, module in MODULES.items():
        app.command(name)(module.command)
