"""The list of commands: one module each, with a function `command` whose docstring is its help."""

from collections.abc import Callable
from types import ModuleType
from typing import Final

import typer

from breakyard.cli import (
    arming,
    attach,
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
    new,
    photo,
    plot,
    proof,
    record,
    report,
    rig,
    selftest,
    sheet,
    step,
    summarize,
    video,
    virtual,
    weigh,
)
from breakyard.cli import next as next_
from breakyard.cli import range as range_

STAGES: Final[dict[str, dict[str, ModuleType]]] = {
    "To begin with": {"demo": demo, "new": new, "next": next_},
    "Before the day": {"range": range_, "rig": rig, "design": design},
    "Cell and logger": {"calibrate": calibrate, "check": check, "step": step},
    "At the pull": {"record": record, "field": field, "photo": photo, "attach": attach},
    "What the pulls say": {
        "summarize": summarize,
        "plot": plot,
        "compare": compare,
        "proof": proof,
        "weigh": weigh,
        "report": report,
        "sheet": sheet,
        "video": video,
    },
    "Files in and out": {"import": import_, "export": export},
}
"""The commands by stage of the job, in its order; `--help` shows them so, each in one line of 80 columns."""

MODULES: Final = {name: module for stage in STAGES.values() for name, module in stage.items()}

LOGGER_STAGE: Final = "Cell and logger"

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
    for stage, modules in STAGES.items():
        for name, module in modules.items():
            app.command(name, rich_help_panel=stage)(module.command)
        if stage == LOGGER_STAGE:
            app.add_typer(_after_logger(), name="logger", rich_help_panel=stage)


def _after_logger() -> typer.Typer:
    after_logger = typer.Typer(
        help="Find a logger, read what it holds, set it, install it.",
        no_args_is_help=True,
        rich_markup_mode=None,
    )
    for name, function in LOGGER.items():
        after_logger.command(name)(function)
    return after_logger
