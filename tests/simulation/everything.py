"""Everything at once, from one seed: a logger, its owner by radio and by cable, a stranger, and all that breaks.

`simulate(seed, hours, folder)` goes through it in virtual time and returns what happened; it raises Broken as soon as a
promise is broken. The same seed goes through the same story, whatever the machine.
"""

import asyncio
import random
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from failing_flash import Flash
from simulated_device import Device
from virtual_time import VirtualLoop, run_virtual

import logger.app as app_module
from breakyard.device.client.auth import SealedSession
from breakyard.device.client.client import Client
from breakyard.device.client.download import fetch
from breakyard.errors import DataError, LinkError, LinkLost, Refused
from breakyard.run import read_run
from breakyard.simulate.radio_link import RadioLink
from breakyard.wire.commands import pack_arguments
from breakyard.wire.file_head import file_head
from breakyard.wire.frame import NEED_DATA, FrameReader, frame
from breakyard.wire.layout import ARGUMENTS, Command, EndCause, Error, Setting, State
from breakyard.wire.records import Answer, CommandRecord, RunEnd, build, parse
from logger.core import layout

KEY = bytes(range(7, 39))
FRESH_S = 0.5
"""Age of the newest number on any link that carries a packet in 0.4 s."""

FORBIDDEN = (
    Command.SET,
    Command.ARM,
    Command.START,
    Command.STOP,
    Command.MARK,
    Command.SET_CLOCK,
    Command.ERASE,
    Command.STORE_CALIBRATION,
    Command.SET_KEY,
    Command.TEST_STORE,
    Command.TEST_RATE,
    Command.READ,
)
"""With a key and the access STATUS nobody else may do these."""


class Broken(AssertionError):
    """A promise was broken."""


def ensure(good: object, what: str) -> None:
    if not good:
        raise Broken(what)


class Disk(type(Path())):  # type: ignore[misc]
    """A path on a disk that may be full."""

    full = False

    def open(self, mode: str = "r", *more: Any, **options: Any) -> IO[Any]:
        file = super().open(mode, *more, **options)
        if Disk.full and "a" in mode:
            file.close()
            raise OSError(28, "No space left on device")
        return file


@dataclass
class Story:
    """One run of the simulation; `counts` tells what happened how often."""

    seed: int
    hours: float
    folder: Path
    counts: Counter[str] = field(default_factory=Counter)
    oldest_s: float = 0.0

    def __post_init__(self) -> None:
        self.draw = random.Random(self.seed)
        self.pulls: list[tuple[float, float, int]] = []
        self.rotted: set[int] = set()
        self.holed: set[int] = set()
        self.erased: set[int] = set()
        self.stops = 0
        self.settings: dict[str, set[int]] = {}
        self.overheard: list[bytes] = []
        self.owner_is_there = False
        self.trouble: BaseException | None = None

    def load(self, at_s: float) -> int:
        """Counts at a time: quiet, or one of the pulls that were asked for."""
        for begin, until, top in self.pulls[-3:]:
            if begin <= at_s < until:
                return -31000 + int(top * (at_s - begin) / (until - begin))
        return -31000 + int(at_s * 1e6) * 7919 % 61

    async def go(self, loop: VirtualLoop) -> None:
        self.loop = loop
        self.flash = Flash(self.draw, self.draw.choice((12, 25, 200)))
        ram = self.draw.choice((0, 0, 0, 60000))
        self.device = Device(loop, self.flash, self.load, ram)
        self.ram = ram
        app_module.asyncio = self.device.shim()
        self.device.after_start = self.check_store_after_start
        self.radio = RadioLink(_Reached(self))  # type: ignore[arg-type]
        self.device.power_on()
        await asyncio.sleep(0.5)
        async with Client(_CableEnd(self), answer_timeout_s=5) as client:
            await client.set_key(KEY)
        tasks = [
            loop.create_task(work()) for work in (self.owner, self.on_the_cable, self.stranger, self.breakage)
        ]
        end = loop.now + self.hours * 3600
        while loop.now < end and self.trouble is None:
            await asyncio.sleep(1)
            for task in tasks:
                if task.done():
                    task.result()
            ensure(not self.device.crashes, f"the firmware crashed: {self.device.crashes}")
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        if self.trouble is not None:
            raise self.trouble
        await self.calm()

    # The owner

    async def owner(self) -> None:
        while True:
            await asyncio.sleep(self.draw.expovariate(1 / 20))
            while self.device.air.connection >= 0:  # somebody else holds the place
                await asyncio.sleep(1)
            self.owner_is_there = True
            self.radio._mtu = self.draw.choice((23, 65, 185, 247, 517))
            self.radio.max_packet = self.radio._mtu - 3
            try:
                async with Client(self.radio, answer_timeout_s=5) as client:
                    await client.hello()
                    await client.unlock(KEY)
                    self.counts["connections of the owner"] += 1
                    await self.deed(client)
            except (LinkError, DataError) as error:
                self.counts[f"owner: {type(error).__name__}"] += 1
            finally:
                self.owner_is_there = False

    async def deed(self, client: Client) -> None:
        """One of the things that owners do."""
        what = self.draw.choice(("pull", "pull", "record", "fetch", "fetch", "erase", "set", "clock"))
        self.counts[what] += 1
        if what in ("pull", "record"):
            await self.record(client, armed=what == "pull")
        elif what == "fetch":
            for one in await client.runs():
                await self.fetch(client, one.run)
        elif what == "erase":
            await self.erase(client)
        elif what == "set":
            setting, value = self.draw.choice(
                ((Setting.HANG_MS, 3000), (Setting.HANG_MS, 5000), (Setting.MEAN_MS, 0), (Setting.MEAN_MS, 100),
                 (Setting.ALARM_COUNTS, 300000), (Setting.COMMIT_MS, 200), (Setting.COMMIT_MS, 500))
            )  # fmt: skip
            self.settings.setdefault(setting.name.lower(), set()).add(value)
            await client.set(setting, value)
        else:
            await self.synchronise(client)

    async def record(self, client: Client, armed: bool) -> None:
        run = await (client.arm() if armed else client.start())
        await client.stream_status(True)
        self.watch(client)
        reading = asyncio.create_task(fetch(client, run, self.path(run), follow=True))
        try:
            now = self.loop.now
            if armed:
                self.pulls.append(
                    (now + 3, now + 3 + self.draw.uniform(1, 30), self.draw.randrange(50000, 900000))
                )
            ends_s = self.loop.now + self.draw.uniform(5, 120)
            while self.loop.now < ends_s:
                await asyncio.sleep(self.draw.uniform(1, 5))
                if self.draw.random() < 0.3:
                    with suppress(Refused):
                        await client.mark(0, f"mark {self.draw.randrange(99)}")
            self.stops += 1
            await client.stop()
            with suppress(Refused):
                await reading
        finally:
            reading.cancel()
            await asyncio.gather(reading, return_exceptions=True)

    def watch(self, client: Client) -> None:
        """From now on every STATUS must be new when it comes."""
        conversation = client.conversation
        receive = conversation.receive
        began_s = self.loop.now

        def looked_at(data: bytes) -> None:
            before = conversation.status
            receive(data)
            status = conversation.status
            if status is before or status is None or not self.device.on or self.loop.now < began_s + 5:
                return
            air = self.device.air
            even = (
                air.interval_us == self.interval_us
                and air.lose_every == 0
                and self.loop.now > self.changed_s + 10
            )
            if even and (self.radio._mtu >= 185 or air.interval_us <= 50000):
                age_s = self.device.now_s - status.now_s - status.now_us * 1e-6
                self.oldest_s = max(self.oldest_s, age_s)
                self.counts["newest numbers"] += 1
                self.counts["newest numbers, slow air"] += air.interval_us >= 400000
                if age_s > FRESH_S + air.interval_us * 1e-6:
                    self.trouble = Broken(
                        f"a STATUS was {age_s:.2f} s old at {air.interval_us} us, MTU {self.radio._mtu}"
                    )

        conversation.receive = looked_at  # type: ignore[method-assign]

    interval_us = 30000
    changed_s = 0.0
    reads_failed = 0

    def path(self, run: int) -> Path:
        return Disk(self.folder / f"{run}.part")

    async def fetch(self, client: Client, run: int) -> None:
        path = self.path(run)
        try:
            await fetch(client, run, path)
        except DataError as error:
            if "holds another run" in str(error):
                # What the host holds is not what the logger has: only where a run was lost with the memory, or rotted.
                sound = run not in self.rotted | self.holed and self.reads_failed == self.flash.reads_failed
                ensure(self.ram or not sound, f"run {run}: another run of that number")
            raise
        finally:
            if self.reads_failed != self.flash.reads_failed:  # somewhere meanwhile, perhaps here
                self.reads_failed = self.flash.reads_failed
                self.holed.add(run)
        self.counts["runs fetched"] += 1
        self.check_file(run, path)

    def check_file(self, run: int, path: Path) -> None:
        """What the host holds is what was written, and is called complete only if it is."""
        data = path.read_bytes()
        found = read_run(data)
        ended = found.end is not None
        written = self.device.written.get(run)
        if found.end is not None and found.end.cause == EndCause.MEMORY_LOST:
            ensure(self.ram, f"run {run}: nothing is kept in memory")
            return
        ensure(written is not None, f"run {run} was never written")
        assert written is not None
        reader = FrameReader()
        reader.receive_data(data.removeprefix(file_head()))
        indices = []
        while isinstance(raw := reader.next_bytes(), bytes):
            record = parse(raw)
            indices.append(record.index)
            if not isinstance(record, RunEnd) or record.cause != EndCause.POWER_LOST:
                ensure(raw == written[record.index], f"run {run}, record {record.index} was not written")
        if run not in self.rotted | self.holed:
            ensure(
                found.loss.complete == ended,
                f"run {run}: complete is {found.loss.complete}, ended is {ended}",
            )
        if found.loss.complete:
            ensure(indices == list(range(len(indices))), f"run {run}: complete, and records are missing")
            ensure(
                len(indices) > self.device.safe.get(run, 0) - 1,
                f"run {run}: complete, and safe records are missing",
            )
            self.counts["runs complete"] += 1
            assert found.end is not None
            if found.end.cause == EndCause.COMMAND:
                ensure(self.stops, f"run {run}: ended by a command that nobody gave")

    async def erase(self, client: Client) -> None:
        for one in await client.runs():
            path = self.path(one.run)
            if one.complete and path.exists():
                end = read_run(path.read_bytes()).end
                if end is not None:
                    await client.erase(one.run, end.sha256)
                    self.erased.add(one.run)
                    self.counts["runs erased"] += 1

    async def synchronise(self, client: Client) -> None:
        shift = self.loop.utc_shift_s
        offset = await client.synchronise()
        truth = self.loop.utc() - self.device.now_s
        before = truth - self.loop.utc_shift_s + shift
        wrong = min(abs(offset.offset_s - truth), abs(offset.offset_s - before))
        ensure(
            wrong <= offset.uncertainty_s + 1e-3,
            f"the clock is wrong by {wrong} s, said {offset.uncertainty_s}",
        )

    async def on_the_cable(self) -> None:
        """A second client, now and then: looks, reads, and is as good as the owner."""
        while True:
            await asyncio.sleep(self.draw.expovariate(1 / 120))
            with suppress(LinkError, DataError):
                async with Client(_CableEnd(self), answer_timeout_s=5) as client:
                    await client.hello()
                    for one in await client.runs():
                        if one.complete:
                            await self.fetch(client, one.run)
                    self.counts["visits over the cable"] += 1

    # The stranger

    async def stranger(self) -> None:
        while True:
            await asyncio.sleep(self.draw.expovariate(1 / 60))
            if self.owner_is_there or self.device.air.connection >= 0 or not self.device.on:
                continue
            self.counts["visits of the stranger"] += 1
            link = RadioLink(_Reached(self))  # type: ignore[arg-type]
            link._command = self.radio._command
            link._mtu = self.draw.choice((23, 247))
            link.max_packet = link._mtu - 3
            heard = asyncio.create_task(self.listen(link))
            try:
                await link.connect()
                for _ in range(self.draw.randrange(20, 400)):
                    await link.send(self.babble())
                    await asyncio.sleep(self.draw.choice((0.01, 0.05, 0.5)))
            except LinkLost:
                self.counts["stranger was put out"] += 1
            finally:
                heard.cancel()
                await asyncio.gather(heard, return_exceptions=True)
                with suppress(LinkError):
                    await link.disconnect()
                self.device.air.told = self.radio._take

    async def listen(self, link: RadioLink) -> None:
        reader = FrameReader()
        while True:
            reader.receive_data(await link.receive())
            while (record := reader.next_record()) is not NEED_DATA:
                if isinstance(record, Answer) and record.error == Error.OK and record.command in FORBIDDEN:
                    self.trouble = Broken(f"a stranger was obeyed: {Command(record.command).name}")

    def babble(self) -> bytes:
        draw = self.draw
        kind = draw.randrange(10)
        if kind == 0:
            return draw.randbytes(draw.randrange(1, 200))
        if kind == 1 and self.overheard:
            return draw.choice(self.overheard)
        if kind <= 4:
            return _command(draw, Command.TEST_LINK, size=240)
        if kind == 5:
            session = SealedSession(draw.randbytes(32))
            session.session_key = draw.randbytes(32)
            sealed = session.seal(Command.STOP, b"")
            assert sealed is not None
            return frame(
                build(CommandRecord(run=0, index=draw.randrange(1 << 32), command=17, arguments=sealed))
            )
        command = draw.choice((*FORBIDDEN, Command.HELLO, Command.CHALLENGE, Command.LIST, Command.STREAM))
        size = sum(
            {"u8": 1, "u16": 2, "u32": 4, "bytes32": 32}.get(kind, 1) for _, kind in ARGUMENTS[command]
        )
        raw = bytes(size) if draw.random() < 0.5 else draw.randbytes(size)
        return frame(
            build(CommandRecord(run=0, index=draw.randrange(1 << 32), command=command, arguments=raw))
        )

    # What breaks

    async def breakage(self) -> None:
        draw = self.draw
        while True:
            await asyncio.sleep(draw.expovariate(1 / 20))
            what = draw.choice(("link", "air", "power", "flash cut", "flash", "clock", "disk", "rot"))
            self.counts[f"broke: {what}"] += 1
            device, air = self.device, self.device.air
            if what == "link" and air.connection >= 0:
                air.told(b"D")
                air._lost()
            elif what == "air":
                air.interval_us, air.packets = draw.choice(
                    ((30000, 6), (50000, 4), (7500, 2), (400000, 1), (100000, 1))
                )
                air.lose_every = draw.choice((0, 0, 3, 7))
                air.overflow = draw.choice(("enomem", "heap"))
                self.interval_us, self.changed_s = air.interval_us, self.loop.now
            elif what == "power" and device.on:
                device.power_off()
                await asyncio.sleep(draw.uniform(0.1, 5))
                device.power_on()
            elif what == "flash cut":
                self.flash.cut_at = self.flash.operations + draw.randrange(1, 40)
            elif what == "flash":
                self.flash.faults = dict.fromkeys(self.flash.faults, 0.0)
                self.flash.faults[draw.choice(list(self.flash.faults))] = draw.choice((0.02, 0.3))
                await asyncio.sleep(draw.uniform(1, 10))
                self.flash.faults = dict.fromkeys(self.flash.faults, 0.0)
            elif what == "clock":
                self.loop.utc_shift_s += draw.choice((-3600, -1, 0.3, 7200))
            elif what == "disk":
                Disk.full = True
                await asyncio.sleep(draw.uniform(1, 20))
                Disk.full = False
            elif what == "rot" and draw.random() < 0.1:
                writing = self.device.store._writing if device.on else 0
                runs = [name for name, data in self.flash.safe.items() if name.endswith(".run") and data]
                runs = [name for name in runs if int(name[:5]) != writing]
                if runs:
                    name = draw.choice(runs)
                    self.flash.rot(name)
                    self.rotted.add(int(name[:5]))

    # Promises

    def check_store_after_start(self) -> None:
        """No committed record lost, none invented; numbers never come again; the owner's settings, and no other."""
        device, store = self.device, self.device.store
        buffer = bytearray(layout.MAX_RECORD)
        for run, written in device.written.items():
            if run in self.erased:
                continue
            number = store.records(run)
            safe = device.safe.get(run, 0)
            sound = run not in self.rotted and not self.flash.faults["read"]
            ensure(not sound or number >= safe, f"run {run}: {safe} records were safe, {number} are left")
            for index in range(number):
                length = store.read(run, index, buffer)
                record = bytes(buffer[:length])
                if not length and not sound:
                    continue
                lost = record[:1] == b"\x07" and record[8] == EndCause.MEMORY_LOST
                repaired = record[:1] == b"\x07" and record[8] == EndCause.POWER_LOST
                ensure(
                    lost or repaired or (index < len(written) and record == written[index]),
                    f"run {run}, record {index} was not written",
                )
        if device.written:
            ensure(store.last_run >= max(device.written), "a number of a run would come again")
        run = store.find(1)
        while run:
            ensure(run in device.written or self.ram, f"run {run} was invented")
            run = store.find(run + 1)
        if self.flash.faults["read"]:
            return
        for name, allowed in self.settings.items():
            value = getattr(device.app.settings, name)
            index = Setting[name.upper()] - 1
            ensure(
                value in allowed | {layout.SETTING_LIMITS[index][0]}, f"{name} is {value}: nobody set that"
            )
        ensure(device.app._keys.key == KEY or device.starts == 1, "the key is another")
        self.counts["starts looked at"] += 1

    async def calm(self) -> None:
        """In the end, with nothing breaking any more: every run has its end and comes whole, or says it does not."""
        self.flash.faults = dict.fromkeys(self.flash.faults, 0.0)
        self.flash.cut_at = -1
        Disk.full = False
        device = self.device
        if not device.on:
            device.power_on()
        device.power_off()
        device.power_on()
        await asyncio.sleep(400)
        async with Client(_CableEnd(self), answer_timeout_s=5) as client:
            await client.stop()
            await asyncio.sleep(30)
            for one in await client.runs():
                if one.run not in self.rotted:
                    ensure(one.complete, f"run {one.run} has no end")
                with suppress(DataError):
                    await self.fetch(client, one.run)
            status_began = client.status
            await client.stream_status(True)
            status = await client.wait_for_status()
            ensure(
                status is not status_began and status.state in (State.IDLE, State.FAULT),
                "it does not come to rest",
            )
        ensure(not device.crashes, f"the firmware crashed: {device.crashes}")
        self.counts["starts"] = device.starts
        self.counts["records written"] = sum(map(len, device.written.values()))


class _Reached:
    """What a radio link of the host needs of a logger: the air, and what it tells."""

    def __init__(self, story: Story) -> None:
        object.__setattr__(self, "story", story)

    def __setattr__(self, name: str, value: Any) -> None:
        assert name == "on_radio"
        air = self.story.device.air
        air.told = value
        if air.services:
            value(air.services)

    async def send_radio(self, message: bytes) -> None:
        story = self.story
        await asyncio.sleep(0.001)
        if not story.device.on:
            raise LinkLost("nobody is there")
        if message[:1] == b"W" and story.owner_is_there:
            story.overheard = [*story.overheard[-50:], message[3:]]
        if message[:1] != b"D" or story.device.air.connection >= 0:
            story.device.air.take(message)


class _CableEnd:
    """The host's end of the cable."""

    max_packet = 256
    read_records = 64
    knock = b""

    def __init__(self, story: Story) -> None:
        self._story = story
        self._cable: Any = None
        self._incoming: asyncio.Queue[bytes] = asyncio.Queue()

    async def connect(self) -> None:
        if not self._story.device.on:
            raise LinkLost("it is off")
        self._cable = self._story.device.cable
        self._cable.deliver = self._incoming.put_nowait

    async def disconnect(self) -> None:
        if self._cable is not None:
            self._cable.deliver = None

    async def send(self, data: bytes) -> None:
        await asyncio.sleep(0.001)
        if self._cable is not self._story.device.cable or not self._story.device.on:
            raise LinkLost("it is off")
        self._cable.from_host += data

    async def receive(self) -> bytes:
        data = await self._incoming.get()
        if not data:
            raise LinkLost("it went off")
        return data


def _command(draw: random.Random, command: Command, **arguments: Any) -> bytes:
    packed = pack_arguments(command, **arguments)
    return frame(
        build(CommandRecord(run=0, index=draw.randrange(1 << 32), command=command, arguments=packed))
    )


def simulate(seed: int, hours: float, folder: Path) -> Story:
    """Go through the story of a seed. Raises: Broken."""
    story = Story(seed, hours, folder)
    before = app_module.asyncio
    try:
        run_virtual(story.go, seed)
    finally:
        app_module.asyncio = before
        Disk.full = False
    return story
