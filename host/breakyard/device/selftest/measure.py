"""Measures what the checks judge, over a client; changes nothing but a block of flash and, for a while, the rate."""

import asyncio
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Final

from breakyard.device.client.client import Client, Refused
from breakyard.device.selftest import checks
from breakyard.device.selftest.press import watch_press
from breakyard.device.selftest.results import FAULTS, Check, Report, Verdict, left_out
from breakyard.device.selftest.seen import Clock, SelfTestResults, Store, Supply
from breakyard.device.selftest.shunt import Shunt
from breakyard.errors import DataError, LinkError, LinkLost, LinkTimeout, UsageError
from breakyard.wire.layout import MAX_FILLER, Command, Error, State
from breakyard.wire.records import Status

LOOK_S: Final = 10
SLOW_S: Final = 8
"""The slow rate is looked at for so long, after as much time as the converter needs to settle."""
SETTLE_S: Final = 2.0
LINK_ASKS: Final = 64
AT_ONCE: Final = 8
SHUNT_S: Final = 5
"""The shunt is looked at for so long, after the time that a hand needs to come to rest."""
HOLD_IT: Final = "hold the resistor from A+ to E- by its clips, fingers off"
TAKE_IT_OFF: Final = "take it off again"
RATE_IS_A_WIRE: Final = "RATE is a wire here, see below"
BUSY: Final = "the logger is armed or recording; end that first: breakyard logger stop"
CRASH: Final = "restarted after a crash"


@dataclass(frozen=True, slots=True)
class Procedure:
    """How to go about it.

    Attributes:
        press: asks the builder to press the cell; None leaves that check out, for the reason given in `why_not`.
        slow: RATE is low on purpose, to test the slow rate.
        shunt: a resistor to be held across one arm of the bridge; None: that check is not made.
        hold: is told what to do with it, and returns when it is done; None: nobody is there.
        tell: is given what happens, in words.
        pause: lets time pass at the logger.
        now: seconds of the clock that the logger's is compared with.
    """

    press: Callable[[], None] | None = None
    why_not: str = "not asked for"
    slow: bool = False
    shunt: Shunt | None = None
    hold: Callable[[str], Awaitable[None]] | None = None
    tell: Callable[[str], None] = lambda _: None
    pause: Callable[[float], Awaitable[None]] = asyncio.sleep
    now: Callable[[], float] = time.monotonic
    patience_s: float = field(default=30.0)


async def run(client: Client, procedure: Procedure) -> Report:
    """Make all checks. The client has said hello.

    Raises: UsageError while the logger is armed or recording, DataError when its firmware is too old, LinkError.
    """
    try:
        return await _run(client, procedure)
    except Refused as refused:
        if refused.error == Error.BAD_STATE:
            raise UsageError(BUSY) from refused
        raise
    except (LinkLost, LinkTimeout) as error:
        raise LinkLost(
            f"{error}; if the logger restarted by itself, look at its supply: {FAULTS} L"
        ) from error


async def _run(client: Client, procedure: Procedure) -> Report:
    assert client.identity is not None
    serial, boot = client.identity.serial, client.identity.boot
    await client.stream_status(True)
    first = await _status(client, procedure)
    if first.state in (State.ARMED, State.RECORDING):
        raise UsageError(BUSY)
    began = await _moment(client, procedure)
    procedure.tell(f"looking at the cell for {LOOK_S} s: leave it alone")
    await procedure.pause(LOOK_S)
    seen = await _samples(client, procedure, LOOK_S)
    ended = await _moment(client, procedure)
    made = [
        checks.conversions(seen),
        checks.rate(seen, slow_wanted=procedure.slow),
        checks.stuck(seen),
        checks.noise(seen),
        checks.zero(seen, client.settings.capacity_counts if client.settings else 0),
        checks.pulses(seen),
        checks.missed(seen),
    ]
    made += await _other_rate(client, procedure)
    if procedure.shunt is not None:
        made.append(await _shunt(client, procedure, procedure.shunt, seen))
    made.append(await _press(client, procedure, seen, made[0].verdict == Verdict.PASSED))
    await client.stream_status(False)
    procedure.tell("measuring the link, the store")
    made.append(checks.link(await _throughput(client, procedure)))
    made.append(checks.store(await _store(client)))
    await client.stream_status(True)
    last = await _status(client, procedure)
    await client.stream_status(False)
    again = await client.hello()
    restarted = again.boot != boot or last.now_s < first.now_s
    crash = tuple(line.text for line in client.log if line.text.startswith(CRASH))
    power = Supply(
        restarted,
        last.reset_cause,
        last.battery_mv,
        last.lowest_battery_mv,
        last.seconds_left,
        crash,
    )
    made += [
        checks.room(power),
        checks.supply(power),
        checks.memory(seen),
        checks.clock(_clock(began, ended)),
    ]
    return Report(serial.hex(), seen.rate_hz, checks.rate_name(seen.rate_hz), tuple(made))


async def _status(client: Client, procedure: Procedure) -> Status:
    """A status from now on."""
    client.conversation.status = None
    for _ in range(100):
        await procedure.pause(0.1)
        if client.status is not None:
            return client.status
    return await client.wait_for_status()


async def _samples(client: Client, procedure: Procedure, seconds: int) -> SelfTestResults:
    status = await _status(client, procedure)
    try:
        results = await client.ask(Command.SELF_TEST, seconds=seconds)
    except Refused as refused:
        if refused.error == Error.UNKNOWN_COMMAND:
            raise DataError(
                "the logger's firmware is too old for a self-test; update it: breakyard logger install"
            ) from refused
        raise
    numbers = {name: value for name, value in results.items() if isinstance(value, int)}
    return SelfTestResults(**numbers, fault=status.fault)


async def _other_rate(client: Client, procedure: Procedure) -> list[Check]:
    """The slow rate, where the RATE pin is wired to the board."""
    if procedure.slow:
        return []
    name = "noise, slow rate"
    try:
        has_pin = (await client.ask(Command.TEST_RATE, slow_s=round(SETTLE_S) + SLOW_S + 5))["has_pin"]
    except Refused as refused:
        if refused.error != Error.NOT_ALLOWED:
            raise
        return [left_out(name, "needs the key over this link (breakyard logger key), or a cable")]
    if not has_pin:
        return [left_out(name, RATE_IS_A_WIRE)]
    procedure.tell("the same at the slow rate")
    try:
        await procedure.pause(SETTLE_S + SLOW_S)
        seen = await _samples(client, procedure, SLOW_S)
    finally:
        await client.ask(Command.TEST_RATE, slow_s=0)
    await procedure.pause(SETTLE_S)
    slow = checks.rate(seen, slow_wanted=True)
    renamed = Check("rate, RATE low", slow.verdict, slow.found, slow.look, slow.numbers)
    return [renamed, checks.noise(seen, name)]


async def _shunt(client: Client, procedure: Procedure, shunt: Shunt, rest: SelfTestResults) -> Check:
    """The count with the resistor on, and at rest again."""
    if procedure.hold is None:
        return left_out("shunt", "nobody to ask: not on a terminal")
    looks = []
    for what in (HOLD_IT, TAKE_IT_OFF):
        await procedure.hold(what)
        await procedure.pause(SETTLE_S + SHUNT_S)
        looks.append(await _samples(client, procedure, SHUNT_S))
    return checks.shunt(shunt, rest, *looks)


async def _press(client: Client, procedure: Procedure, rest: SelfTestResults, converts: bool) -> Check:
    if procedure.press is None:
        return checks.press(None, procedure.why_not)
    if not converts:
        return checks.press(None, "no conversions to see it by")
    procedure.press()
    limit = checks.noise_limit_counts(rest.rate_hz, rest.gain)
    return checks.press(
        await watch_press(
            client, procedure.pause, rest.mean_counts, max(rest.noise_counts, limit), procedure.patience_s
        ),
        "",
    )


async def _throughput(client: Client, procedure: Procedure) -> float | None:
    """Bytes of filler a second, or None when some did not come or were wrong."""
    started = procedure.now()
    try:
        answers = await client.ask_many(Command.TEST_LINK, [{"size": MAX_FILLER}] * LINK_ASKS, AT_ONCE)
    except Refused:
        raise
    except LinkError:
        return None
    taken_s = max(procedure.now() - started, 1e-3)
    if any(answer["filler"] != bytes(range(MAX_FILLER)) for answer in answers):
        return None
    return MAX_FILLER * LINK_ASKS / taken_s


async def _store(client: Client) -> Store:
    try:
        results = await client.ask(Command.TEST_STORE)
    except Refused as refused:
        if refused.error != Error.NOT_ALLOWED:
            raise
        return Store(None)
    return Store(**{name: value for name, value in results.items() if isinstance(value, int)})


async def _moment(client: Client, procedure: Procedure) -> tuple[float, float, float]:
    """Device time, this computer's, and half the time there and back: of the quickest of five exchanges."""
    found = []
    for _ in range(5):
        sent = procedure.now()
        answer = await client.ask(Command.TIME)
        half_s = (procedure.now() - sent) / 2
        assert isinstance(answer["now_s"], int)
        assert isinstance(answer["now_us"], int)
        found.append((half_s, answer["now_s"] + answer["now_us"] * 1e-6, sent + half_s))
    half_s, device_s, here_s = min(found)
    return device_s, here_s, half_s


def _clock(began: tuple[float, float, float], ended: tuple[float, float, float]) -> Clock:
    here_s = ended[1] - began[1]
    if here_s <= 0:
        return Clock(0.0, 1.0, 0.0)
    return Clock((ended[0] - began[0]) / here_s - 1.0, (began[2] + ended[2]) / here_s, here_s)
