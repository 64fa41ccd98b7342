"""What waits between a link and its reader has a largest size, however it is cut."""

import asyncio
import tracemalloc

import pytest

from breakyard.device.link.inflow import MAX_WAITING, Inflow
from breakyard.errors import LinkLost


def test_what_comes_goes_out_in_order_and_then_the_end() -> None:
    """Empty packets are nothing; the reason of the end is told each time."""

    async def go() -> list[bytes]:
        inflow = Inflow()
        for data in (b"a", b"", b"bc"):
            inflow.put(data)
        inflow.close("the cable was pulled")
        taken = [await inflow.take(), await inflow.take()]
        for _ in range(2):
            with pytest.raises(LinkLost, match="the cable was pulled"):
                await inflow.take()
        return taken

    assert asyncio.run(go()) == [b"a", b"bc"]


@pytest.mark.parametrize("size", [0, 2, 20, 500])
def test_a_logger_that_never_stops_ends_the_link_and_fills_no_memory(size: int) -> None:
    """Also with packets of two bytes, each of which costs more than what is in it."""
    inflow = Inflow()
    tracemalloc.start()
    try:
        for _ in range(400_000 if size < 20 else 80_000):
            inflow.put(bytes([7] * size))
        held, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert held < 2 * MAX_WAITING
    if size:
        with pytest.raises(LinkLost, match="more than it was asked for"):
            inflow.check()


def test_what_was_taken_makes_room_again() -> None:
    """A reader that keeps up is never cut off."""

    async def go() -> None:
        inflow = Inflow()
        for _ in range(3):
            for _ in range(MAX_WAITING // 1000):
                inflow.put(bytes(500))
            for _ in range(MAX_WAITING // 1000):
                await inflow.take()
        inflow.check()

    asyncio.run(go())
