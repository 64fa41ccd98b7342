"""The serial link through a pseudo-terminal, with the real firmware or a torn cable at its other end."""

import asyncio
import os
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

pytest.importorskip("serial", reason="the package pyserial is the way to cables")
if sys.platform == "win32":
    pytest.skip("there are no pseudo-terminals on Windows", allow_module_level=True)

import tty

from breakyard.device.client.client import Client
from breakyard.device.link.usb import UsbLink
from breakyard.errors import LinkError, LinkLost
from breakyard.simulate.logger import VirtualLogger


@asynccontextmanager
async def cable() -> AsyncIterator[tuple[int, str]]:
    """A pair of ends: a file descriptor, and the name of a port."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    try:
        yield ours, os.ttyname(theirs)
    finally:
        os.close(theirs)
        os.close(ours)


def test_the_firmware_answers_through_a_serial_port() -> None:
    """Bytes go both ways unchanged, zeros included."""

    async def story() -> None:
        loop = asyncio.get_running_loop()
        async with cable() as (ours, port), VirtualLogger() as logger:
            board = logger.link()
            await board.connect()
            to_board: asyncio.Queue[bytes] = asyncio.Queue()
            loop.add_reader(ours, lambda: to_board.put_nowait(os.read(ours, 4096)))

            async def towards() -> None:
                while True:
                    await board.send(await to_board.get())

            async def back() -> None:
                while True:
                    os.write(ours, await board.receive())

            tasks = [asyncio.create_task(towards()), asyncio.create_task(back())]
            async with Client(UsbLink(port), answer_timeout_s=30) as client:
                identity = await client.hello()
                assert identity.board == "virtual"
                assert await client.start() == 1
                assert await client.stop() == 1
            loop.remove_reader(ours)
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    asyncio.run(story())


def test_a_port_that_is_not_there_is_one_clear_line() -> None:
    """What, where, what to do."""
    with pytest.raises(LinkError, match=r"cannot open /dev/no-such-port.*is the cable in"):
        asyncio.run(UsbLink("/dev/no-such-port").connect())


def test_a_pulled_cable_is_a_lost_link() -> None:
    """The other end goes away: whoever waits hears of it, and closing afterwards is no error."""

    async def story() -> None:
        ours, theirs = os.openpty()
        tty.setraw(theirs)
        link = UsbLink(os.ttyname(theirs))
        await link.connect()
        os.write(ours, b"\0last words\0")
        assert await link.receive() == b"\0last words\0"
        os.close(theirs)
        os.close(ours)
        with pytest.raises(LinkLost, match="cable was pulled"):
            await link.receive()
        await link.disconnect()
        with pytest.raises(LinkLost):
            await link.send(b"x")

    asyncio.run(story())


def test_a_port_is_opened_by_one_program_at_a_time() -> None:
    """A second one is told that the port is in use, instead of getting half of what comes."""

    async def story() -> None:
        async with cable() as (_, port):
            first, second = UsbLink(port), UsbLink(port)
            await first.connect()
            try:
                with pytest.raises(LinkError, match="in nobody else's use"):
                    await second.connect()
            finally:
                await first.disconnect()
            await second.connect()
            await second.disconnect()

    asyncio.run(story())
