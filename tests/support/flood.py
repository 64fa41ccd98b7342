"""A stranger floods the radio of the whole firmware, in an interpreter with little memory, while it records.

The radio's stack queues notifications on the heap and reports success, as BTstack does on a Pico W. The stranger says
whatever is open, as fast as the air carries it, sends no receipt back, and comes again when he is put out.
"""

import random
import struct
import tempfile
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass

from breakyard.device.client.auth import NO_KEY
from breakyard.device.client.client import Client
from breakyard.errors import LinkError
from breakyard.run import read_run
from breakyard.simulate import logger as virtual
from breakyard.simulate.radio_link import RADIO_OPTIONS, RadioLink
from breakyard.wire.commands import pack_arguments
from breakyard.wire.frame import frame
from breakyard.wire.layout import Access, Command
from breakyard.wire.records import CommandRecord, build

KEY = bytes(range(7, 39))
SLICE_S = 0.5


@dataclass(frozen=True)
class Flood:
    """What came of it."""

    complete: bool
    samples: int
    missed: int
    lowest_free: int
    visits: int
    words: Counter[str]
    longest_queue: int


async def flood(
    seconds: float, access: Access, mtu: int, *, key: bool = True, heap: str = "600k", seed: int = 1
) -> Flood:
    """Record so long while a stranger floods the radio. Raises: LinkError if the firmware does not survive it."""
    draw = random.Random(seed)
    usual = virtual.interpreter_command

    def limited(name: str | None = None) -> list[str]:
        return [f"heapsize={heap}" if word.startswith("heapsize") else word for word in usual(name)]

    virtual.interpreter_command = limited
    try:
        with tempfile.TemporaryDirectory() as folder:
            options = ("--runs", folder, "--capacity", "8000000", "--memory", "1", *RADIO_OPTIONS)
            device = virtual.VirtualLogger("micropython", options)
            return await _flood(device, seconds, access, mtu, key, draw)
    finally:
        virtual.interpreter_command = usual


async def _flood(
    device: virtual.VirtualLogger, seconds: float, access: Access, mtu: int, key: bool, draw: random.Random
) -> Flood:
    air = RadioLink(device, mtu)
    take = device.on_radio
    assert take is not None
    queues = [0]

    def told(message: bytes) -> None:
        if message[:1] == b"Q":
            queues.append(struct.unpack_from("<I", message, 1)[0])
        take(message)

    device.on_radio = told
    words, visits, kept = Counter[str](), 0, bytearray()
    lowest = 1 << 30
    async with device:
        await device.send_radio(b'P{"overflow": "heap", "interval_us": 30000, "packets": 1}')
        async with Client(device.link(), first_index=1, answer_timeout_s=600) as cable:
            await cable.set_key(KEY if key else NO_KEY, access)
            await device.run(2)
            run = await cable.start()
            await cable.stream_status(True)
            until_ms = device.now_ms + seconds * 1000
            there = False
            while device.now_ms < until_ms:
                if not there:
                    await air.connect()
                    there = True
                    visits += 1
                for _ in range(20):
                    name, data = _word(draw, run)
                    words[name] += 1
                    try:
                        await air.send(data)
                    except LinkError:
                        there = False
                        break
                await device.run(SLICE_S)
                there = there and air._open
                if cable.status is not None and cable.status.free_memory:
                    lowest = min(lowest, cable.status.free_memory)
            await cable.stream_status(False)
            await device.send_radio(b"Q")
            await cable.stop()
            await device.run(3)
            with suppress(LinkError):
                await air.disconnect()
            await cable.read_run(run, lambda raw: kept.extend(frame(raw)))
    found = read_run(bytes(kept))
    end = found.end
    assert end is not None
    return Flood(found.loss.complete, end.samples, end.missed, lowest, visits, words, max(queues))


def _word(draw: random.Random, run: int) -> tuple[str, bytes]:
    command = draw.choice(
        (
            *(Command.TEST_LINK,) * 6,
            *(Command.HELLO, Command.CHALLENGE, Command.LIST, Command.TIME, Command.STREAM, Command.READ),
        )
    )
    arguments: dict[Command, dict[str, object]] = {
        Command.TEST_LINK: {"size": 240},
        Command.CHALLENGE: {"host_nonce": draw.randbytes(32)},
        Command.LIST: {"first": 1},
        Command.STREAM: {"on": 1},
        Command.READ: {"run": run, "first": 0, "count": 64, "follow": draw.randrange(2)},
    }
    packed = pack_arguments(command, **arguments.get(command, {}))  # type: ignore[arg-type]
    index = draw.randrange(1 << 32)
    return command.name, frame(build(CommandRecord(run=0, index=index, command=command, arguments=packed)))
