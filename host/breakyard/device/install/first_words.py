"""The first words with a logger that was just installed: is it there, has it taken its settings, its key."""

import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from breakyard.device.client.client import Client
from breakyard.device.install.key import KeyOutcome, settle_key
from breakyard.device.link.usb import UsbLink
from breakyard.errors import LinkError
from breakyard.wire.layout import SETTING_LIMITS, Access, Level, Setting

RESTART_S: Final = 20.0
"""A board restarts within some seconds, and a computer takes some more to see its port again."""
_PAUSE_S: Final = 0.5
_ANSWER_S: Final = 1.0


@dataclass(frozen=True, slots=True)
class Met:
    """Who answered. `said` are its warnings; `set_again` the settings that a command had overruled."""

    serial: str
    name: str
    key: KeyOutcome
    said: tuple[str, ...]
    set_again: tuple[str, ...]


async def answers(port: str, patience_s: float) -> tuple[str, ...] | None:
    """The warnings that a logger at the port has to tell, as soon as it answers; None if none does.

    The port may come and go meanwhile, as when a board restarts.
    """
    import asyncio

    until = time.monotonic() + patience_s
    while True:
        try:
            async with Client(UsbLink(port), answer_timeout_s=_ANSWER_S) as client:
                await client.hello()
                return warnings(client)
        except LinkError:
            if time.monotonic() > until:
                return None
            await asyncio.sleep(_PAUSE_S)


async def meet(
    client: Client,
    changes: Mapping[str, str],
    wanted: bytes | None,
    known: Mapping[str, bytes],
    access: Access,
) -> Met:
    """Settle key and settings over the cable. What was asked for now overrules what a command set before.

    Raises: LinkError.
    """
    identity = await client.hello()
    serial = identity.serial.hex()
    key = await settle_key(client, wanted, known.get(serial), access)
    again = []
    for setting in Setting:
        name = setting.name.lower()
        lowest, _, highest = SETTING_LIMITS[setting]
        asked = int(changes[name]) if changes.get(name, "").isdigit() else -1
        if lowest <= asked <= highest and getattr(client.settings, name, None) != asked:
            await client.set(setting, asked)
            again.append(name)
    return Met(serial, client.name, key, warnings(client), tuple(again))


def warnings(client: Client) -> tuple[str, ...]:
    """What the logger said that was no mere information; it says each line once."""
    return tuple(line.text for line in client.log if line.level >= Level.WARNING)
