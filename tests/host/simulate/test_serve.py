"""The virtual logger for anybody's client: the firmware itself answers over TCP, one client after another."""

import asyncio

import pytest

from breakyard.errors import UsageError
from breakyard.simulate.logger import VirtualLogger
from breakyard.simulate.serve import over_tcp
from breakyard.wire.commands import pack_arguments
from breakyard.wire.frame import NEED_DATA, FrameReader, frame
from breakyard.wire.layout import Command
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
        async with VirtualLogger() as logger, over_tcp(logger, 0) as where:
            for _ in range(2):
                assert any(isinstance(one, Identity) for one in await greet(where))
            port = int(where.rsplit(":", 1)[1])
            with pytest.raises(UsageError, match="choose another"):
                async with over_tcp(logger, port):
                    pass

    asyncio.run(story())
