"""breakyard logger settings: read and changed, in counts or, through a calibration, in force."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from breakyard.cli.options import LinkOption
from breakyard.cli.output import JsonOption, Output, UnitOption
from breakyard.cli.running import run_async
from breakyard.device.reach import reach_way
from breakyard.device.settings import MEANINGS, newtons_per_count, parse_setting, value_words
from breakyard.errors import UsageError

if TYPE_CHECKING:
    from breakyard.device.settings import Wish
    from breakyard.wire.records import CalibrationCopy, Settings


def command(
    changes: Annotated[
        list[str] | None,
        typer.Argument(help='Each as NAME=VALUE: threshold="200 N", hang="3 s", input=A64; none: show them.'),
    ] = None,
    link: LinkOption = "ble",
    calibration: Annotated[
        Path | None,
        typer.Option(
            "--calibration", "-c", help="For values in force; default: the copy that the logger keeps."
        ),
    ] = None,
    unit: UnitOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show the logger's settings, and change them. Changes outlive restarts until settings.txt says something else.

    Not while it is armed or records. By radio, changes need the key.

    Example: breakyard logger settings threshold="200 N" hang="3 s" --link ble
    """
    from breakyard.units import force_unit

    shown = force_unit(unit) if unit else "N"
    wishes = [parse_setting(one) for one in changes or []]
    copy = _from_file(calibration)
    settings, copy = run_async(_carry_out(link, wishes, copy))
    out = Output(as_json)
    each_n = newtons_per_count(copy, settings.input)
    values = {name: getattr(settings, name) for name in MEANINGS}
    out.table(
        "Settings",
        ("name", "value", ""),
        [(name, value_words(name, value, each_n, shown), MEANINGS[name]) for name, value in values.items()],
    )
    if copy is None:
        out.say("no calibration to show counts as force; give one with --calibration")
    elif each_n is None:
        out.say(f'the calibration "{copy.name}" is for another input, so counts are not shown as force')
    out.document(
        {
            "schema": "breakyard.logger.settings/1",
            "changed": [wish.name for wish in wishes],
            "settings": values,
            "threshold_n": None if each_n is None else settings.threshold_counts * each_n,
            "capacity_n": None if each_n is None else settings.capacity_counts * each_n,
            "alarm_n": None if each_n is None else settings.alarm_counts * each_n,
            "calibration": copy.name if copy is not None else None,
        }
    )


def _from_file(path: Path | None) -> "CalibrationCopy | None":
    if path is None:
        return None
    from breakyard.calibration.device_copy import record_for_device
    from breakyard.session.in_force import load_calibration

    return record_for_device(load_calibration(path, None, path.name))


async def _carry_out(
    way: str, wishes: "list[Wish]", copy: "CalibrationCopy | None"
) -> "tuple[Settings, CalibrationCopy | None]":
    """Change what is wished; the settings then in force. Raises: UsageError before anything is changed, LinkError."""
    from breakyard.errors import Refused
    from breakyard.wire.layout import Error, Setting

    async with reach_way(way) as client:
        if copy is None:
            try:
                copy = await client.read_calibration()
            except Refused as refused:  # may not be read without the key, and is not needed for the rest
                if refused.error != Error.NOT_ALLOWED:
                    raise
        assert client.settings is not None
        later: Any = next((wish.value for wish in wishes if wish.name == "input"), client.settings.input)
        numbers = [(wish.name, wish.number(copy, later)) for wish in wishes]
        for name, number in numbers:
            await client.set(Setting[name.upper()], number)
        if wishes:
            await client.hello()
        settings = client.settings
    for name, number in numbers:
        if getattr(settings, name) != number:
            raise UsageError(f"{name}: the logger kept {getattr(settings, name)} instead of {number}")
    return settings, copy
