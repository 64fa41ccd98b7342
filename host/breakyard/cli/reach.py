"""The way to a logger from the command line: --link, the keys this computer knows, and connecting again."""

import json
import os
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated, Final

import typer

from breakyard.errors import DataError, LinkError, UsageError

if TYPE_CHECKING:
    from breakyard.device.client.client import Client
    from breakyard.device.link.base import Link

PAUSES_S: Final = (0.5, 1.0, 2.0, 4.0)
"""Between attempts to connect again; the last one is repeated."""

KEYS_VARIABLE: Final = "BREAKYARD_KEYS"

_ADVERTISED: Final = 8
"""Hex digits of a serial number that an advertised name ends with."""

LinkOption = Annotated[
    str,
    typer.Option(
        "--link",
        "-l",
        envvar="BREAKYARD_LINK",
        help="Way to the logger: ble, ble:SERIAL (or the end of it), usb, usb:PORT, or virtual.",
    ),
]


def keys_file() -> Path:
    """Where the keys of loggers are kept: $BREAKYARD_KEYS, or a file in the user's folder of settings."""
    named = os.environ.get(KEYS_VARIABLE)
    return Path(named) if named else Path.home() / ".config" / "breakyard" / "keys.json"


def read_keys() -> dict[str, bytes]:
    """The known keys by serial number in hex. Raises: DataError if the file is broken."""
    path = keys_file()
    if not path.exists():
        return {}
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        return {str(serial): bytes.fromhex(key) for serial, key in data.items()}
    except (OSError, ValueError, AttributeError, TypeError, RecursionError) as error:
        raise DataError(f"{path}: cannot be read as a file of keys ({error}); set the key again") from error


def keep_key(serial: str, key: bytes | None) -> Path:
    """Keep the key of a logger, or forget it; nobody else may read the file. Raises: DataError."""
    path = keys_file()
    keys = {name: known.hex() for name, known in read_keys().items() if name != serial}
    if key is not None:
        keys[serial] = key.hex()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        draft = path.with_suffix(".draft")
        draft.unlink(missing_ok=True)
        with open(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            json.dump(keys, file, indent=1)
        draft.replace(path)
    except OSError as error:
        raise DataError(f"{path}: cannot be written ({error.strerror or error})") from error
    return path


@asynccontextmanager
async def make_link(way: str, calm: bool = False) -> AsyncIterator["Link"]:
    """The link that --link names; it is not connected yet. Raises: UsageError, LinkError.

    The virtual logger's cell is pulled after ten seconds, or, if `calm`, after a minute without a stir.
    """
    kind, _, rest = way.partition(":")
    async with AsyncExitStack() as stack:
        if kind == "ble":
            from breakyard.device.link.ble import BleLink

            yield BleLink(rest)
        elif kind == "usb":
            from breakyard.device.link.usb import UsbLink

            yield UsbLink(rest or _only_port())
        elif kind == "virtual" and not rest:
            from breakyard.simulate.logger import VirtualLogger

            logger = await stack.enter_async_context(VirtualLogger())
            await logger.load(_simulated_pull(Path(stack.enter_context(TemporaryDirectory())), calm))
            await logger.realtime()
            yield logger.link()
        else:
            raise UsageError(f"--link {way}: say ble, ble:SERIAL, usb, usb:PORT or virtual")


def _simulated_pull(folder: Path, calm: bool) -> Path:
    """What the virtual logger's converter is to see: quiet seconds, then a pull to a break at 300 kgf."""
    from breakyard.simulate import recipes
    from breakyard.simulate.cell import Cell
    from breakyard.simulate.chain import measure
    from breakyard.simulate.converter import Converter
    from breakyard.simulate.feed import write_feed
    from breakyard.simulate.pull import pull

    kgf = 9.80665
    rig = recipes.Rig(quiet_s=60.0, bumps=0) if calm else recipes.Rig(quiet_s=10.0)
    truth = pull(recipes.brittle(rig, peak_n=300 * kgf, rate_n_per_s=60 * kgf), seed=3, clear=True)
    cell = Cell(capacity_n=1000 * kgf, rated_output_mv_v=2.0)
    feed = folder / "pull.feed"
    write_feed(feed, measure(truth, cell, Converter(rate_hz=88.0, filter_order=3), seed=3))
    return feed


def _only_port() -> str:
    from breakyard.device.link.usb import find

    ports = [port.name for port in find()]
    if len(ports) != 1:
        seen = ", ".join(ports) or "none"
        raise UsageError(
            f"which port? There is not exactly one that could be a logger's ({seen}); say usb:PORT"
        )
    return ports[0]


def known_key(serial: str, advertised_end: str = "") -> bytes | None:
    """The key kept for a logger that was met by radio, None if none is.

    Who wants to pass for a known logger must claim its whole number, and then prove that he has its key.

    Raises: LinkError for one that claims a part of it; DataError.
    """
    keys = read_keys()
    if advertised_end and not serial.endswith(advertised_end):
        raise LinkError(
            f"it advertises as {advertised_end} and says that it is {serial}; not one of ours: move on"
        )
    if serial not in keys and any(known.endswith(serial[-_ADVERTISED:]) for known in keys):
        raise LinkError(
            f"logger {serial} looks like one whose key is kept here, but is another; if it is yours, set its key"
        )
    return keys.get(serial)


@asynccontextmanager
async def reach(link: "Link") -> AsyncIterator["Client"]:
    """Connect, hear who is there, and unlock it if its key is known here and the link is no cable.

    Raises: LinkError, DataError.
    """
    from breakyard.device.client.client import Client
    from breakyard.device.link.ble import BleLink

    async with Client(link) as client:
        identity = await client.hello()
        if isinstance(link, BleLink):
            advertised = link.nearby.serial_end if link.nearby is not None else ""
            key = known_key(identity.serial.hex(), advertised)
            if key is not None:
                await client.unlock(key)
        yield client


@asynccontextmanager
async def reach_way(way: str, calm: bool = False) -> AsyncIterator["Client"]:
    """The same for what --link says; `calm` as for `make_link`."""
    async with make_link(way, calm) as link, reach(link) as client:
        yield client


def pause_s(attempt: int) -> float:
    """How long to wait before attempt 0, 1, 2, ... to connect again."""
    return PAUSES_S[min(attempt, len(PAUSES_S) - 1)]


def run_name(serial: bytes, run: int) -> str:
    """The name of a run's file as long as nobody has given it one."""
    return f"logger-{serial[-4:].hex()}-run-{run}"
