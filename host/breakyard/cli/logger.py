"""Commands that are said after "logger": what is near, how it is, and what lies in its store."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from breakyard.cli.options import LinkOption
from breakyard.cli.output import JsonOption, Output
from breakyard.cli.running import run_async
from breakyard.device.keys import keep_key
from breakyard.device.reach import reach_way
from breakyard.device.room import ask_room, time_words
from breakyard.errors import DataError, LinkError, UsageError

if TYPE_CHECKING:
    from breakyard.device.client.client import Client


def find(
    seconds: Annotated[float, typer.Option(help="How long to listen for radio.", min=0.2, max=60)] = 5.0,
    as_json: JsonOption = False,
) -> None:
    """Look for loggers by radio, and for ports that may be one.

    Example: breakyard logger find
    """
    from breakyard.device.link import ble, usb
    from breakyard.device.live import state_name

    out = Output(as_json)
    trouble = ""
    try:
        near = run_async(ble.find(seconds))
    except LinkError as error:
        near, trouble = (), str(error)
    ports = usb.find()
    out.table(
        "By radio",
        ("link", "state", "battery", "signal"),
        [
            (
                f"ble:{one.serial_end}" if one.serial_end else "ble",
                state_name(one.state),
                "" if one.battery_percent is None else f"{one.battery_percent} %",
                f"{one.signal_dbm} dBm",
            )
            for one in near
        ],
    )
    out.table("By cable", ("link", "maker"), [(f"usb:{port.name}", port.maker) for port in ports])
    if trouble:
        out.say(trouble)
    out.document(
        {
            "schema": "breakyard.logger.find/1",
            "radio": [
                {
                    "serial_end": one.serial_end,
                    "state": state_name(one.state) or None,
                    "battery_percent": one.battery_percent,
                    "signal_dbm": one.signal_dbm,
                }
                for one in near
            ],
            "ports": [{"port": port.name, "maker": port.maker} for port in ports],
            "trouble": trouble or None,
        }
    )
    if not near and not ports:
        raise typer.Exit(1)


def info(link: LinkOption = "ble", as_json: JsonOption = False) -> None:
    """Say which logger it is, what it is doing and how it is set.

    Example: breakyard logger info --link usb
    """
    out = Output(as_json)
    run_async(_info(link, out))


async def _info(link: str, out: Output) -> None:
    from breakyard.device.live import state_name
    from breakyard.wire.layout import FIELDS, Kind

    async with reach_way(link) as client:
        status = await ask_room(client)
        identity, settings, name = client.identity, client.settings, client.name
    assert identity is not None
    rows = [
        ("name", name or "none"),
        ("serial", identity.serial.hex()),
        ("board", identity.board),
        ("firmware", identity.firmware),
        ("interpreter", identity.interpreter),
        ("state", state_name(status.state)),
        ("conversions", f"{status.rate_mhz / 1000:.2f} per second, {status.missed} missed since the start"),
        ("store", f"{status.runs} runs, room for {time_words(status.seconds_left)} of samples"),
    ]
    values = {name: getattr(settings, name) for name, _ in FIELDS[Kind.SETTINGS]} if settings else {}
    out.table("Logger", ("", ""), rows)
    out.table("Settings", ("name", "value"), [(name, str(value)) for name, value in values.items()])
    out.document(
        {
            "schema": "breakyard.logger.info/1",
            "name": name or None,
            "serial": identity.serial.hex(),
            "boot": identity.boot,
            "board": identity.board,
            "firmware": identity.firmware,
            "interpreter": identity.interpreter,
            "protocol": identity.protocol,
            "state": state_name(status.state),
            "rate_hz": status.rate_mhz / 1000,
            "missed": status.missed,
            "runs": status.runs,
            "free_bytes": status.free_bytes,
            "seconds_left_s": status.seconds_left,
            "settings": values,
        }
    )


def runs(link: LinkOption = "ble", as_json: JsonOption = False) -> None:
    """List the runs in the logger's store.

    Example: breakyard logger runs --link usb
    """

    async def do() -> Any:
        async with reach_way(link) as client:
            return await client.runs()

    found = run_async(do())
    out = Output(as_json)
    out.table(
        "Runs in the logger",
        ("run", "records", "bytes", ""),
        [
            (str(r.run), str(r.records), str(r.size_bytes), "" if r.complete else "not complete")
            for r in found
        ],
    )
    out.document(
        {
            "schema": "breakyard.logger.runs/1",
            "runs": [
                {"run": r.run, "records": r.records, "size_bytes": r.size_bytes, "complete": r.complete}
                for r in found
            ],
        }
    )


def erase(
    files: Annotated[list[Path], typer.Argument(help="Complete run files; the logger erases these runs.")],
    link: LinkOption = "ble",
    as_json: JsonOption = False,
) -> None:
    """Erase runs that are complete on this computer.

    Nothing else is erased.

    Example: breakyard logger erase runs/*.run --link usb
    """
    from breakyard.run import read_runs

    ours = []
    for path in files:
        if not path.is_file():
            raise DataError(f"{path}: there is no such file")
        for run in read_runs(path.read_bytes(), name=path.stem):
            if not run.loss.complete or run.end is None or run.identity is None:
                raise DataError(f"{path}: run {run.number} is not complete here; fetch it again first")
            ours.append((run.identity.serial, run.number, run.end.sha256))

    async def do() -> list[int]:
        erased = []
        async with reach_way(link) as client:
            assert client.identity is not None
            held = {one.run for one in await client.runs()}
            for serial, number, sha256 in ours:
                if serial == client.identity.serial and number in held:
                    await client.erase(number, sha256)
                    erased.append(number)
        return erased

    erased = run_async(do())
    out = Output(as_json)
    out.say(f"erased from the logger: {', '.join(map(str, erased)) or 'nothing'}")
    out.document({"schema": "breakyard.logger.erase/1", "runs": erased})


def time(link: LinkOption = "ble", as_json: JsonOption = False) -> None:
    """Set the logger's clock, and say how accurately it is set.

    Example: breakyard logger time --link usb
    """

    async def do() -> Any:
        async with reach_way(link) as client:
            return await client.synchronise()

    offset = run_async(do())
    out = Output(as_json)
    out.say(f"set from this computer's clock, give or take {offset.uncertainty_s * 1000:.0f} ms")
    out.document(
        {
            "schema": "breakyard.logger.time/1",
            "offset_s": offset.offset_s,
            "uncertainty_s": offset.uncertainty_s,
            "exchanges": offset.exchanges,
        }
    )


def _show_key(link: str, out: Output) -> None:
    """The key that this computer knows, for a telephone's camera. Raises: UsageError when it knows none."""
    import sys

    import segno

    from breakyard.device.keys import read_keys

    known = read_keys()
    if len(known) == 1:
        ((serial, found),) = known.items()
    else:

        async def ask() -> str:
            async with reach_way(link) as client:
                assert client.identity is not None
                return client.identity.serial.hex()

        serial = run_async(ask()) if known else ""
        if serial not in known:
            raise UsageError(
                "this computer knows no key of that logger; give it one: breakyard logger key --link usb"
            )
        found = known[serial]
    out.say(f"logger {serial}: whoever has this key may command it; let nobody else film it")
    if not out.as_json:
        segno.make(found.hex(), error="m").terminal(sys.stdout, compact=True)
    out.document({"schema": "breakyard.logger.key/1", "serial": serial, "key": found.hex()})


def key(
    link: LinkOption = "usb",
    access: Annotated[
        str, typer.Option(help="Open by radio without the key: key_only, status, reading or everything.")
    ] = "status",
    remove: Annotated[bool, typer.Option("--remove", help="Remove the logger's key.")] = False,
    show: Annotated[
        bool, typer.Option("--show", help="Print the key, for another computer or a telephone.")
    ] = False,
    qr: Annotated[
        bool,
        typer.Option("--qr", help="Show the key kept here as a QR code for the field page; change nothing."),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Give the logger a new key, over the cable.

    It is kept on this computer.

    By radio, whoever has the key may arm, stop, set, store and erase; others only what --access says.

    Example: breakyard logger key --link usb --access status
    """
    from breakyard.device.client.auth import NO_KEY, new_key
    from breakyard.wire.layout import Access

    if qr:
        _show_key(link, Output(as_json))
        return
    if access.upper() not in Access.__members__:
        raise UsageError(f"--access {access}: say {', '.join(name.lower() for name in Access.__members__)}")
    drawn = NO_KEY if remove else new_key()

    async def do(client: "Client") -> str:
        identity = client.identity
        assert identity is not None
        await client.set_key(drawn, Access[access.upper()])
        return identity.serial.hex()

    async def run() -> str:
        async with reach_way(link) as client:
            return await do(client)

    serial = run_async(run())
    path = keep_key(serial, None if remove else drawn)
    out = Output(as_json)
    out.say(
        f"logger {serial} has {'no key' if remove else 'a new key, kept in ' + str(path)}; access: {access}"
    )
    if show and not remove:
        out.say(f"key: {drawn.hex()}")
    out.document(
        {
            "schema": "breakyard.logger.key/1",
            "serial": serial,
            "access": access.lower(),
            "key": drawn.hex() if show and not remove else None,
        }
    )
