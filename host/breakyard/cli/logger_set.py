"""breakyard logger set: settings changed by a command, which the logger keeps."""

import asyncio
from typing import Annotated

import typer

from breakyard.cli.output import JsonOption, Output
from breakyard.cli.reach import LinkOption, reach_way
from breakyard.errors import UsageError


def command(
    settings: Annotated[list[str], typer.Argument(help="Each as NAME=VALUE, as logger info shows them.")],
    link: LinkOption = "ble",
    as_json: JsonOption = False,
) -> None:
    """Change settings of the logger. They outlive restarts until settings.txt is given another value.

    Not while it is armed or records. By radio it needs the key.

    Example: breakyard logger set hang_ms=3000 --link ble
    """
    from breakyard.wire.layout import Setting

    wanted = [_parse(one) for one in settings]

    async def do() -> dict[str, int]:
        async with reach_way(link) as client:
            return {name: await client.set(Setting[name.upper()], value) for name, value in wanted}

    now = asyncio.run(do())
    out = Output(as_json)
    for name, value in now.items():
        out.say(f"{name} is {value} now")
    out.document({"schema": "breakyard.logger.set/1", "settings": now})


def _parse(text: str) -> tuple[str, int]:
    """Name and value, within the table's limits. Raises: UsageError."""
    from breakyard.wire.layout import SETTING_LIMITS, Setting

    name, equals, value = (part.strip() for part in text.partition("="))
    if not equals or name.upper() not in Setting.__members__:
        known = ", ".join(one.name.lower() for one in Setting)
        raise UsageError(f"{text}: say NAME=VALUE, with one of {known}; others stand in settings.txt only")
    lowest, _, highest = SETTING_LIMITS[Setting[name.upper()]]
    if not value.isdigit() or not lowest <= int(value) <= highest:
        raise UsageError(f"{text}: {name} is a whole number from {lowest} to {highest}")
    return name, int(value)
