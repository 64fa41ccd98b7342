"""Options that several commands have, and their texts as values. What is wrong is said with the option's name."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, TypeVar

import typer

from breakyard.errors import UnitError, UsageError

if TYPE_CHECKING:
    pass

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
        help='Step response of the logger (breakyard step), or "assumed"; default: what was measured of it, if so.',
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

FASTEST_PULL_M_PER_S: Final = 20.0

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


def pull_speed(text: str | None) -> float | None:
    """A speed in metres per second from "5" (mm/s), "5 mm/s", "0.3 m/min". Raises: UsageError."""
    from breakyard.formats.recording import LENGTH_UNITS, TIME_UNITS, length_unit, time_unit

    if text is None:
        return None
    match = re.fullmatch(r"\s*([\d.,]+(?:[eE][+-]?\d+)?)\s*(?:([^\d\s/]+)\s*/\s*(\w+))?\s*", text)
    try:
        if match is None:
            raise ValueError
        value = float(match[1].replace(",", "."))
        if match[2]:
            speed = value * LENGTH_UNITS[length_unit(match[2])] / TIME_UNITS[time_unit(match[3])]
        else:
            speed = value * LENGTH_UNITS["mm"]
    except (ValueError, UnitError):
        raise UsageError(
            f'--pull-speed "{text}" is no speed; write 5 (mm/s), "5 mm/s" or "0.3 m/min"'
        ) from None
    if not 0.0 < speed <= FASTEST_PULL_M_PER_S:
        raise UsageError(
            f'--pull-speed "{text}" is not sensible: give a speed above 0, up to {FASTEST_PULL_M_PER_S:g} m/s'
        )
    return speed
