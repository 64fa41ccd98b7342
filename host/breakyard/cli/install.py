"""breakyard logger install: the firmware onto a board, its settings and key, and the proof that it works."""

import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from breakyard.cli.output import JsonOption, Output
from breakyard.cli.running import run_async
from breakyard.errors import LinkError, UsageError

if TYPE_CHECKING:
    from breakyard.device.install import Installed
    from breakyard.device.install.first_words import Met

HANDS_S: Final = 180.0
"""For hands that take a wire off and plug a cable in."""

OPEN_THE_SWITCH: Final = (
    "no logger answers: open the prompt switch (take the wire off), take the power away and give it again"
)


def command(
    port: Annotated[str, typer.Option(help="Serial port of the board, as /dev/ttyACM0 or COM5.")],
    name: Annotated[str | None, typer.Option(help="What you call this logger.")] = None,
    setting: Annotated[
        list[str] | None,
        typer.Option("--set", help="A setting as NAME=VALUE; may be given more than once."),
    ] = None,
    key: Annotated[
        str,
        typer.Option(help="auto: a new one unless there is one; new; none; or a file that holds one in hex."),
    ] = "auto",
    access: Annotated[
        str,
        typer.Option(help="With a new key: open by radio without it: key_only, status, reading, everything."),
    ] = "status",
    show_key: Annotated[
        bool, typer.Option("--show-key", help="Print the key, for another computer.")
    ] = False,
    sources: Annotated[
        bool, typer.Option("--sources", help="Copy sources instead of compiled files.")
    ] = False,
    restart: Annotated[bool, typer.Option(help="Restart the board, set the key, test.")] = True,
    selftest: Annotated[bool, typer.Option(help="Test the logger at the end.")] = True,
    press: Annotated[bool, typer.Option(help="Ask for a press on the cell in that test.")] = True,
    as_json: JsonOption = False,
) -> None:
    """Put the firmware onto a board; runs, settings and key stay.

    The board must show its prompt. A new one does; on one that runs a logger, connect the prompt pin to ground while
    powering up (GP22 on a Pico). Each file is checked by its hash, the board starts anew, the logger gets a key
    unless it has one, and is tested. Status 1 if it does not answer or a check failed.

    breakyard logger install --port /dev/ttyACM0 --name slipway

    breakyard logger install --port COM5 --set capacity_counts=4294967 --set lamp_pin=15
    """
    from breakyard.device.install import Board, install
    from breakyard.device.install.board import PROMPT
    from breakyard.device.install.first_words import answers
    from breakyard.device.install.key import wanted_key
    from breakyard.device.install.settings import check_names
    from breakyard.simulate.logger import firmware_dir
    from breakyard.wire.layout import Access

    output = Output(as_json)
    changes = _changes(name, setting or [])
    check_names(changes, (firmware_dir() / "settings.txt").read_text("utf-8"))
    if access.upper() not in Access.__members__:
        raise UsageError(f"--access {access}: say {', '.join(one.lower() for one in Access.__members__)}")
    wanted = wanted_key(key)
    board = Board(port)
    try:
        done = install(board, firmware_dir(), changes, sources=sources, tell=output.say)
    except LinkError as error:
        if run_async(answers(port, 0.0)) is None:
            raise
        raise LinkError(f"a logger runs at {port} and shows no prompt; {PROMPT}") from error
    output.say(f"{len(done.files)} files are on the board and checked; {len(done.removed)} old ones removed")
    document = _document(done)
    if restart:
        board.restart()
        said = run_async(_wait(port, output))
        if said is None:
            output.say(
                "installed, but not tested: once it runs, breakyard logger selftest --link usb:" + port
            )
            output.document(document)
            raise typer.Exit(1)
        document |= run_async(
            _meet_and_test(
                port, output, changes, wanted, Access[access.upper()], show_key, selftest, press, said
            )
        )
    output.document(document)
    if document["selftest"] is not None and not document["selftest"]["passed"]:
        raise typer.Exit(1)


def _changes(name: str | None, settings: list[str]) -> dict[str, str]:
    """What settings.txt is to say. Raises: UsageError."""
    changes = {}
    for one in settings:
        left, equals, value = one.partition("=")
        if not equals:
            raise UsageError(f"--set {one}: give it as NAME=VALUE")
        changes[left.strip()] = value.strip()
    if "key" in changes:
        raise UsageError("--set key: a key does not belong into a text file; see --key")
    if name is not None:
        if len(name.encode()) > 32:
            raise UsageError(f"--name {name}: at most 32 bytes")
        changes["name"] = name
    return changes


def _document(done: "Installed") -> dict[str, Any]:
    return {
        "schema": "breakyard.install/1",
        "board": {
            "platform": done.board.platform,
            "machine": done.board.machine,
            "micropython": ".".join(map(str, done.board.version)),
        },
        "files": list(done.files),
        "removed": list(done.removed),
        "compiled": done.compiled,
        "answered": False,
        "serial": None,
        "name": None,
        "key": None,
        "warnings": [],
        "selftest": None,
    }


async def _wait(port: str, output: Output) -> tuple[str, ...] | None:
    """What a logger has to say, once it answers; a person at a terminal is told what to do and given time."""
    from breakyard.device.install.first_words import RESTART_S, answers

    output.say("waiting for the logger to answer")
    said = await answers(port, RESTART_S)
    if said is not None:
        return said
    if not sys.stderr.isatty():
        print(OPEN_THE_SWITCH, file=sys.stderr)
        return None
    print(f"{OPEN_THE_SWITCH}; waiting ...", file=sys.stderr, flush=True)
    return await answers(port, HANDS_S)


async def _meet_and_test(
    port: str,
    output: Output,
    changes: dict[str, str],
    wanted: bytes | None,
    access: Any,
    show_key: bool,
    selftest: bool,
    press: bool,
    said: tuple[str, ...],
) -> dict[str, Any]:
    from breakyard.cli.selftest_words import make_and_show
    from breakyard.device.install.first_words import meet
    from breakyard.device.install.key import KeyState
    from breakyard.device.keys import keep_key, read_keys
    from breakyard.device.reach import reach_way

    async with reach_way(f"usb:{port}") as client:
        met = await meet(client, changes, wanted, read_keys(), access)
        met = replace(met, said=said + met.said)
        where = None
        if met.key.state in (KeyState.NEW, KeyState.NONE):
            where = str(keep_key(met.serial, met.key.key))
        _say_who(output, met, where)
        if show_key and met.key.key is not None:
            output.say(f"key: {met.key.key.hex()}")
        tested = await make_and_show(client, output, press=press) if selftest else None
    return {
        "answered": True,
        "serial": met.serial,
        "name": met.name or None,
        "key": {
            "state": str(met.key.state),
            "file": where,
            "key": met.key.key.hex() if show_key and met.key.key is not None else None,
        },
        "warnings": list(met.said),
        "selftest": tested,
    }


def _say_who(output: Output, met: "Met", where: str | None) -> None:
    from breakyard.device.install.key import KeyState

    called = f', called "{met.name}"' if met.name else ""
    output.say(f"logger {met.serial}{called} answers")
    words = {
        KeyState.NEW: f"it has a new key, kept in {where}; by radio others may only do what --access says",
        KeyState.KEPT: "it has its key still, which this computer knows",
        KeyState.UNKNOWN: "it has a key that this computer does not know; --key new replaces it",
        KeyState.NONE: "it has no key: by radio it obeys nobody",
    }
    output.say(words[met.key.state])
    for setting in met.set_again:
        output.say(f"{setting} had been changed by a command since; now it is what you asked for")
    for line in met.said:
        output.say(f"the logger says: {line}")
