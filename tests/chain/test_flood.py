"""A stranger who floods the radio ends no recording, on a stack that queues on a small heap."""

import asyncio

import pytest
from flood import flood

from breakyard.wire.layout import LINK_UNSEALED, Access, Command


@pytest.mark.parametrize(
    ("access", "mtu"),
    [(Access.KEY_ONLY, 23), (Access.STATUS, 247), (Access.READING, 23), (Access.EVERYTHING, 247)],
)
def test_a_flood_ends_no_recording(micropython: str, access: Access, mtu: int) -> None:
    """Without credit that counts what arrived, 600 kB were full after two seconds."""
    seconds = 36
    seen = asyncio.run(flood(seconds, access, mtu))

    assert seen.complete
    assert seen.missed == 0
    assert seen.samples > 91 * seconds
    assert seen.lowest_free > 250_000
    assert seen.words[Command.TEST_LINK.name] > 500
    put_out = access != Access.EVERYTHING and seconds * 1000 > LINK_UNSEALED
    assert (seen.visits > 1) is put_out
    # What waits in the stack never needs more than the credit.
    assert seen.longest_queue <= (4096 // (mtu - 3 + 60) + 1)
