"""breakyard logger selftest: does the logger work, and what to check where it does not."""

import asyncio
import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from breakyard.cli.output import JsonOption, Output
from breakyard.cli.reach import LinkOption, keys_file, reach_way
from breakyard.errors import DataError

if TYPE_CHECKING:
    from breakyard.device.client.client import Client
    from breakyard.device.selftest import Report
    from breakyard.device.selftest.shunt import Shunt

OTHER: Final = {"fast": "slow", "slow": "fast"}
HOW: Final = {
    "slow": "power off, tie RATE low, then: breakyard logger selftest --slow",
    "fast": "power off, tie RATE high, then: breakyard logger selftest",
}
SHUNT_MOVE_SHARE: Final = 0.002
MOVED: Final = "shunt: {percent:+.2f} % from that of {time:.10}"
CALIBRATE: Final = "; converter, cable or bridge changed: look at them, calibrate again"


def command(
    link: LinkOption = "usb",
    press: Annotated[
        bool, typer.Option(help="Ask for a press on the cell; only on a terminal, else it is left out.")
    ] = True,
    slow: Annotated[
        bool, typer.Option("--slow", help="RATE is low on purpose, to test the slow rate.")
    ] = False,
    shunt: Annotated[
        str | None,
        typer.Option(help='Resistor that you will hold from A+ to E-, as "100k": a check without masses.'),
    ] = None,
    bridge: Annotated[float, typer.Option(help="Ohms of the cell from A+ to A-, for --shunt.")] = 350.0,
    as_json: JsonOption = False,
) -> None:
    """Test a logger: converter, wires, cell, link, flash, supply; with what to check where it fails.

    Leave the cell alone while it looks. Nothing is recorded, no run is touched. The latest result at each of the
    converter's two rates is kept on this computer. Status 1 if a check failed.

    Example: breakyard logger selftest --link usb
    """
    from breakyard.device.selftest.shunt import Shunt, parse_ohm

    out = Output(as_json)
    resistor = None if shunt is None else Shunt(parse_ohm(shunt), bridge)

    async def do() -> dict[str, Any]:
        async with reach_way(link, calm=True) as client:
            return await make_and_show(client, out, press=press, slow=slow, shunt=resistor)

    document = asyncio.run(do())
    out.document(document)
    if not document["passed"]:
        raise typer.Exit(1)


async def make_and_show(
    client: "Client",
    out: Output,
    *,
    press: bool = True,
    slow: bool = False,
    shunt: "Shunt | None" = None,
) -> dict[str, Any]:
    """Make the test over a client that has said hello, show it, keep it; returns the JSON document."""
    from breakyard.device.selftest import Plan, run

    somebody = sys.stdin.isatty() and sys.stderr.isatty()
    report = await run(
        client,
        Plan(
            press=_ask_for_press if press and somebody else None,
            why_not="nobody to ask: not on a terminal" if press else "--no-press",
            slow=slow,
            shunt=shunt,
            hold=_ask_to_hold if somebody else None,
            tell=out.say,
        ),
    )
    identity = client.identity
    assert identity is not None
    document = {
        "schema": "breakyard.selftest/1",
        "name": client.name or None,
        "board": identity.board,
        "firmware": identity.firmware,
        "interpreter": identity.interpreter,
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        **report.to_json(),
    }
    moved = shunt_moved(document)
    rates = keep(document)
    show(out, report, rates)
    if moved is not None:
        out.say(
            MOVED.format(**moved) + (CALIBRATE if abs(moved["percent"]) > 100.0 * SHUNT_MOVE_SHARE else "")
        )
    return {**document, "rates": rates}


def _ask_for_press() -> None:
    print(
        "press or pull on the cell by hand for a second or two, then let go ...", file=sys.stderr, flush=True
    )


async def _ask_to_hold(what: str) -> None:
    print(f"{what}, then press Enter ...", end=" ", file=sys.stderr, flush=True)
    await asyncio.to_thread(sys.stdin.readline)  # the link goes on meanwhile


def show(out: Output, report: "Report", rates: dict[str, Any]) -> None:
    """A table of the checks, what to look at, and what is known of the other rate."""
    out.table(
        f"Self-test of logger {report.serial}",
        ("check", "", "found"),
        [(check.name, str(check.verdict), check.found) for check in report.checks],
    )
    for check in report.checks:
        if check.look:
            out.say(f"{check.name}: {check.look}")
    failed = sum(bool(check.look) for check in report.checks)
    out.say(f"{failed} of {len(report.checks)} failed" if failed else "passed")
    other = OTHER.get(report.rate or "fast", "slow")
    known = rates.get(other)
    if known:
        out.say(f"{other} rate: {'passed' if known['passed'] else 'FAILED'} on {known['time'][:10]}")
    elif report.rate and not any("RATE low" in check.name for check in report.checks):
        out.say(f"{other} rate: not tested yet; {HOW[other]}")


def results_file() -> Path:
    """Where the latest results are kept, beside the keys."""
    return keys_file().with_name("selftests.json")


def keep(document: dict[str, Any]) -> dict[str, Any]:
    """Keep a test under its rate; the latest of both rates of this logger, None where there is none.

    Raises: DataError if the file cannot be read or written.
    """
    from breakyard.session.files.atomic import write_atomically

    kept = _kept()
    mine = kept.setdefault(document["serial"], {})
    shunt = _shunt_of(document)
    if shunt is not None:
        mine["shunt"] = shunt
    if document["rate"] is not None:
        mine[document["rate"]] = document
    if document["rate"] is not None or shunt is not None:
        write_atomically(results_file(), json.dumps(kept, indent=1).encode())
    return {rate: mine.get(rate) for rate in OTHER}


def shunt_moved(document: dict[str, Any]) -> dict[str, Any] | None:
    """How far this test's shunt is from the one kept, as `percent` and its `time`; None without two of a kind.

    Raises: DataError if the file cannot be read.
    """
    now, then = _shunt_of(document), _kept().get(document["serial"], {}).get("shunt")
    if now is None or then is None or now["expected_counts"] != then["expected_counts"]:
        return None
    return {
        "percent": 100.0 * (abs(now["shunt_counts"]) / abs(then["shunt_counts"]) - 1.0),
        "time": then["time"],
    }


def _shunt_of(document: dict[str, Any]) -> dict[str, Any] | None:
    """What is kept of a shunt that passed."""
    for check in document.get("checks", ()):
        if check["check"] == "shunt" and check["verdict"] == "passed":
            return {name: check[name] for name in ("shunt_counts", "expected_counts")} | {
                "time": document["time"]
            }
    return None


def _kept() -> dict[str, Any]:
    path = results_file()
    try:
        kept: dict[str, Any] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    except (OSError, ValueError, RecursionError) as error:
        raise DataError(
            f"{path}: cannot be read ({error}); remove it, only older self-tests are in it"
        ) from error
    return kept
