"""The virtual logger for anybody's client: the firmware itself answers over TCP, one client after another."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

import pytest

from breakyard.device.client.auth import new_key
from breakyard.device.client.client import Client, Refused
from breakyard.errors import LinkLost, UsageError
from breakyard.simulate.logger import VirtualLogger
from breakyard.simulate.radio_link import RADIO_OPTIONS, RadioLink
from breakyard.simulate.serve import over_tcp
from breakyard.wire.commands import pack_arguments
from breakyard.wire.frame import NEED_DATA, FrameReader, frame
from breakyard.wire.layout import LINK_SILENCE, LINK_UNSEALED, Access, Command
from breakyard.wire.records import Answer, CommandRecord, Identity, build


async def greet(where: str) -> list[object]:
    """Send HELLO over a plain socket; the records up to its answer."""
    host, port = where.split(":")
    reader, writer = await asyncio.open_connection(host, int(port))
    arguments = pack_arguments(Command.HELLO)
    writer.write(frame(build(CommandRecord(run=0, index=1, command=Command.HELLO, arguments=arguments))))
    frames, records = FrameReader(), list[object]()
    while not any(isinstance(one, Answer) for one in records):
        frames.receive_data(await reader.read(4096))
        while (record := frames.next_record()) is not NEED_DATA:
            records.append(record)
    writer.close()
    await writer.wait_closed()
    return records


def test_any_client_over_tcp_hears_the_firmware() -> None:
    """A plain socket sends HELLO and gets IDENTITY and an answer; the next client too."""

    async def story() -> None:
        async with VirtualLogger() as logger, over_tcp(logger.link, 0) as where:
            for _ in range(2):
                assert any(isinstance(one, Identity) for one in await greet(where))
            port = int(where.rsplit(":", 1)[1])
            with pytest.raises(UsageError, match="choose another"):
                async with over_tcp(logger.link, port):
                    pass

    asyncio.run(story())


async def _pass_time(logger: VirtualLogger) -> None:
    while True:
        await logger.run(0.03)
        await asyncio.sleep(0)


async def _or_lost(air: RadioLink) -> bytes | None:
    try:
        return await air.receive()
    except LinkLost:
        return None


@asynccontextmanager
async def passing(logger: VirtualLogger) -> AsyncIterator[None]:
    """Device time passes meanwhile."""
    running = asyncio.create_task(_pass_time(logger))
    try:
        yield
    finally:
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running
        await logger.settle()


def test_by_radio_the_rules_of_the_air_hold() -> None:
    """Without the key only what the access opens; with it everything; and who says nothing is put out."""

    async def story() -> None:
        logger = VirtualLogger(options=RADIO_OPTIONS)
        air = RadioLink(logger)
        key = new_key()
        async with logger:
            async with Client(logger.link()) as cable:
                await cable.set_key(key)
            async with passing(logger), Client(air) as client:
                await client.hello()
                with pytest.raises(Refused):
                    await client.arm()
                await client.unlock(key)
                assert await client.arm() == 1
                assert await client.stop() == 0
            await air.connect()
            await air.send(b"\0")
            await logger.run(LINK_SILENCE / 1000 + 1)
            while (told := await _or_lost(air)) is not None:
                assert told

    asyncio.run(story())


@pytest.mark.parametrize(
    ("access", "seals", "put_out"),
    [
        (Access.STATUS, False, True),
        (Access.KEY_ONLY, False, True),
        (Access.STATUS, True, False),
        (Access.EVERYTHING, False, False),
    ],
)
def test_who_shows_no_seal_does_not_hold_the_only_place(access: Access, seals: bool, put_out: bool) -> None:
    """However much he says; who has shown the key once, or needs none, stays."""

    async def story() -> None:
        logger = VirtualLogger(options=RADIO_OPTIONS)
        air = RadioLink(logger)
        key = new_key()
        async with logger:
            async with Client(logger.link()) as cable:
                await cable.set_key(key, access)
            began_ms = logger.now_ms
            async with Client(air) as client:
                async with passing(logger):
                    await client.hello()
                    if seals:
                        await client.unlock(key)
                        await client.stop()
                with suppress(LinkLost):
                    while logger.now_ms < began_ms + 2 * LINK_UNSEALED:
                        await air.send(b"\0")
                        await logger.run(1)
            stayed_ms = logger.now_ms - began_ms
            assert put_out == (stayed_ms < 2 * LINK_UNSEALED)
            if put_out:
                assert LINK_UNSEALED <= stayed_ms <= LINK_UNSEALED + 3000

    asyncio.run(story())
