"""The memory in which a run waits for the flash, in one piece.

On boards that write a run after its end it is large. Loading the program cuts the heap into pieces, so main.py
reserves it before that; what cannot be had is halved, and the run gets the shorter.
"""

_reserved: list[bytearray] = []


def reserve(size: int, least: int) -> None:
    """Put aside `size` bytes, or as much as there is."""
    _reserved.append(_piece(size, least))


def take(size: int, least: int) -> bytearray:
    """What was reserved; or else `size` bytes, halved until there are so many. MemoryError below `least`."""
    return _reserved.pop() if _reserved else _piece(size, least)


def _piece(size: int, least: int) -> bytearray:
    while True:
        try:
            return bytearray(size)
        except MemoryError:
            size >>= 1
            if size < least:
                raise
