"""The way to a logger: a link by its name, unlocking with a key that this computer knows, and connecting again."""

from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Final

from breakyard.device.keys import known_key, read_keys
from breakyard.errors import UsageError, WrongLogger

if TYPE_CHECKING:
    from breakyard.device.client.client import Client
    from breakyard.device.link.base import Link
    from breakyard.simulate.cell import Cell
    from breakyard.wire.records import Identity

KGF_N: Final = 9.80665

PAUSES_S: Final = (0.5, 1.0, 2.0, 4.0)
"""Between attempts to connect again; the last one is repeated."""


@asynccontextmanager
async def make_link(way: str, calm: bool = False, masses: bool = False) -> AsyncIterator["Link"]:
    """The link of that name (ble, ble:SERIAL, usb, usb:PORT, virtual); it is not connected yet.

    The virtual logger's cell is pulled after ten seconds, or, if `calm`, after a minute without a stir.
    With `masses` known masses are hung on it instead, one after another: `SIMULATED_MASSES`.
    Raises: UsageError, LinkError.
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

            # The folder first, so that it goes last: Windows removes none in which a process has a file open.
            folder = Path(stack.enter_context(TemporaryDirectory()))
            logger = await stack.enter_async_context(VirtualLogger())
            await logger.load(simulated_masses(folder) if masses else simulated_pull(folder, calm))
            await logger.realtime()
            yield logger.link()
        else:
            raise UsageError(f"link {way}: say ble, ble:SERIAL, usb, usb:PORT or virtual")


SIMULATED_MASSES: Final = "0, 20 kg, 40 kg, 20 kg, 0"
"""What hangs on the virtual cell, in its order."""
HUNG_S: Final = 8.0
SIMULATED_MASSES_S: Final = 52.0
"""How long that takes."""


def simulated_masses(folder: Path) -> Path:
    """What the virtual logger's converter is to see when it is calibrated: the same cell as in a pull, known masses."""
    from breakyard.simulate import recipes
    from breakyard.simulate.chain import measure
    from breakyard.simulate.converter import Converter
    from breakyard.simulate.feed import write_feed
    from breakyard.simulate.pull import pull
    from breakyard.simulate.weights import stack

    weights = stack(
        (20.0, 20.0), (0.004, -0.006), standard_kg=0.01, latitude_deg=54.3, height_m=3.0, anomaly=0.0
    )
    truth = pull(recipes.hanging(weights, hold_s=HUNG_S, swing_rad=0.03), seed=4, clear=True)
    feed = folder / "masses.feed"
    write_feed(feed, measure(truth, _cell(), Converter(rate_hz=88.0, filter_order=3), seed=4))
    return feed


def _cell() -> "Cell":
    from breakyard.simulate.cell import Cell

    return Cell(capacity_n=1000 * KGF_N, rated_output_mv_v=2.0)


def simulated_pull(folder: Path, calm: bool) -> Path:
    """What the virtual logger's converter is to see: quiet seconds, then a pull to a break at 300 kgf."""
    from breakyard.simulate import recipes
    from breakyard.simulate.chain import measure
    from breakyard.simulate.converter import Converter
    from breakyard.simulate.feed import write_feed
    from breakyard.simulate.pull import pull

    rig = recipes.Rig(quiet_s=60.0, bumps=0) if calm else recipes.Rig(quiet_s=10.0)
    truth = pull(recipes.brittle(rig, peak_n=300 * KGF_N, rate_n_per_s=60 * KGF_N), seed=3, clear=True)
    feed = folder / "pull.feed"
    write_feed(feed, measure(truth, _cell(), Converter(rate_hz=88.0, filter_order=3), seed=3))
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
            if any(identity.serial):
                key = known_key(identity.serial.hex(), advertised)
                if key is not None:
                    await client.unlock(key)
            else:
                identity = await _ask_under_seal(client)
            if not link.wants(identity.serial.hex()):
                raise WrongLogger(f"logger {identity.serial.hex()} answered, which is not the one you named")
        yield client


async def _ask_under_seal(client: "Client") -> "Identity":
    """Who a logger is that tells strangers nothing: it has one of the keys kept here, or is none of ours.

    Raises: WrongLogger, LinkError, DataError.
    """
    known = read_keys()
    if not known:
        raise WrongLogger(
            "this logger tells strangers nothing (its setting privacy), and no key is kept here; set one over the cable"
        )
    try:
        await client.unlock(*known.values())
    except WrongLogger as problem:
        raise WrongLogger(
            "this logger tells strangers nothing, and has none of the keys kept here; is it yours?"
        ) from problem
    return await client.hello()


@asynccontextmanager
async def reach_way(way: str, calm: bool = False) -> AsyncIterator["Client"]:
    """The same for a link by its name; `calm` as for `make_link`."""
    async with make_link(way, calm) as link, reach(link) as client:
        yield client


def pause_s(attempt: int) -> float:
    """How long to wait before attempt 0, 1, 2, ... to connect again."""
    return PAUSES_S[min(attempt, len(PAUSES_S) - 1)]
