"""A self-test in the terminal: made over a client, shown, kept."""

import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from breakyard.cli.output import Output

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


async def make_and_show(
    client: "Client",
    out: Output,
    *,
    press: bool = True,
    slow: bool = False,
    shunt: "Shunt | None" = None,
) -> dict[str, Any]:
    """Make the test over a client that has said hello, show it, keep it; returns the JSON document."""
    from breakyard.device.selftest import Procedure, run
    from breakyard.device.selftest.kept import keep, shunt_moved
    from breakyard.document import to_plain

    somebody = sys.stdin.isatty() and sys.stderr.isatty()
    report = await run(
        client,
        Procedure(
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
        **to_plain(report),
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
    import asyncio

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
