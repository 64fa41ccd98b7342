"""Options that several commands have, and their texts as values. What is wrong is said with the option's name."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from breakyard.errors import UnitError, UsageError

T = TypeVar("T")

CalibrationOption = Annotated[
    Path | None,
    typer.Option(
        "--calibration",
        "-c",
        help="Calibration file, or its name in the session; default: the session's own.",
    ),
]
AccuracyOption = Annotated[
    float | None,
    typer.Option(
        help="Standard uncertainty of an imported instrument, in percent of the load; from its certificate."
    ),
]
MisalignmentOption = Annotated[
    float | None,
    typer.Option(
        "--misalignment",
        min=0.0,
        max=30.0,
        metavar="DEG",
        help="Largest angle between the line of pull and the cell's axis that you vouch for, in degrees; default: 3.",
    ),
]
TemperatureOption = Annotated[
    float | None,
    typer.Option(
        "--temperature",
        min=-60.0,
        max=80.0,
        metavar="C",
        help="Temperature of the cell during the pulls, in degrees C; compared with that of its calibration.",
    ),
]
ResponseOption = Annotated[
    str | None,
    typer.Option(
        "--response",
        metavar="FILE",
        help='Step response of the logger (breakyard step), or "assumed"; default: the one measured for it, if any.',
    ),
]


PullSpeedOption = Annotated[
    str | None,
    typer.Option(
        "--pull-speed",
        metavar="MM/S",
        help='Speed at which it was pulled, as 5 or "0.3 m/min": work and stiffness of rig and specimen together.',
    ),
]


OneSpecimenOption = Annotated[
    bool, typer.Option("--one-specimen", help="All pulls in a recording are of one specimen.")
]


def group_names(text: str) -> tuple[str, ...]:
    """Names of groups from "bonded, screwed". Raises: UsageError."""
    names = tuple(name.strip() for name in text.split(",") if name.strip())
    if len(set(names)) < len(names):
        raise UsageError(f'--groups: "{text}" names a group twice')
    return names


LinkOption = Annotated[
    str,
    typer.Option(
        "--link",
        "-l",
        envvar="BREAKYARD_LINK",
        help="Way to the logger: ble, ble:SERIAL (or the end of it), usb, usb:PORT, or virtual.",
    ),
]


def option(name: str, parse: Callable[[str], T], text: str) -> T:
    """Read an option; what is wrong with it is said with its name. Raises: UnitError, UsageError."""
    try:
        return parse(text)
    except (UnitError, UsageError) as error:
        raise type(error)(f"{name}: {error}") from None


def chosen_of(pulls: Sequence[T], number: int | None, path: Path) -> T:
    """The pull of a recording that --pull names; the first one without it. Raises: UsageError."""
    if number is not None and number > len(pulls):
        raise UsageError(f"{path}: --pull {number}, but there are {len(pulls)} pull(s) in it")
    return pulls[(number or 1) - 1]


def pull_speed(text: str | None) -> float | None:
    """A speed in metres per second from "5" (mm/s), "5 mm/s", "0.3 m/min". Raises: UsageError."""
    from breakyard.session.conditions import parse_speed

    if text is None:
        return None
    try:
        return parse_speed(text)
    except UsageError as error:
        raise UsageError(f"--pull-speed {error}") from None
