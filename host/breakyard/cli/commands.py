"""The list of commands: one module each, with a function `command` whose docstring is its help."""

from collections.abc import Callable
from typing import Final

import typer

from breakyard.cli import (
    arming,
    calibrate,
    check,
    compare,
    demo,
    design,
    export,
    fetching,
    field,
    import_,
    install,
    logger,
    logger_calibration,
    logger_settings,
    plot,
    record,
    report,
    rig,
    selftest,
    step,
    summarize,
    virtual,
)
from breakyard.cli import range as range_

MODULES: Final = {
    "demo": demo,
    "range": range_,
    "rig": rig,
    "design": design,
    "calibrate": calibrate,
    "record": record,
    "field": field,
    "check": check,
    "step": step,
    "summarize": summarize,
    "plot": plot,
    "compare": compare,
    "report": report,
    "import": import_,
    "export": export,
}

LOGGER: Final[dict[str, Callable[..., None]]] = {
    "find": logger.find,
    "info": logger.info,
    "arm": arming.arm,
    "stop": arming.stop,
    "runs": logger.runs,
    "fetch": fetching.fetch,
    "erase": logger.erase,
    "time": logger.time,
    "key": logger.key,
    "settings": logger_settings.command,
    "calibration": logger_calibration.command,
    "install": install.command,
    "selftest": selftest.command,
    "virtual": virtual.command,
}
"""Commands that are said after "logger"."""


def register(app: typer.Typer) -> None:
    """Add every command to the application, in the order of the work."""
    for name, module in MODULES.items():
        app.command(name)(module.command)
    after_logger = typer.Typer(
        help="Find a logger, see what it holds, fetch its runs, install it.",
        no_args_is_help=True,
        rich_markup_mode=None,
    )
    for name, function in LOGGER.items():
        after_logger.command(name)(function)
    app.add_typer(after_logger, name="logger")
