"""The piece of memory that a run waits in: reserved early, halved where the heap is small."""

from firmware_support import raises
from test_flash_store import Files

from logger.core import pieces
from logger.core.flash_store import TAIL_BYTES, FlashStore


def small_heap(size):
    """No piece of more than 20000 bytes."""
    if size > 20000:
        raise MemoryError
    return bytearray(size)


def test_what_cannot_be_had_is_halved_and_told():
    pieces.bytearray = small_heap
    try:
        store = FlashStore(Files(), while_recording=False, ram_bytes=60000)
        assert raises(MemoryError, pieces.take_run, 60000, 30000)
    finally:
        del pieces.bytearray

    assert store.notes == ["little memory: a run may have 15000 bytes"]
    assert 14000 < store.room() <= 15000


def test_what_was_reserved_is_taken_once():
    pieces.reserve_run(60000, TAIL_BYTES)
    first = FlashStore(Files(), while_recording=False, ram_bytes=60000)
    second = FlashStore(Files(), while_recording=False, ram_bytes=8000)

    assert first.notes == second.notes == []
    assert (first.room(), second.room()) == (60000, 8000)
