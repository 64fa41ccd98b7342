"""Large pieces of memory, put aside by main.py while the heap is whole: loading the program cuts it up.

What a run waits in on a board that writes it after its end; there, what cannot be had is halved, and the run gets the
shorter. And the words that the DMA channel of a Pico fills.
"""

from array import array

_run: list[bytearray] = []
_words: list[array] = []  # type: ignore[type-arg]


def reserve_run(size: int, least: int) -> None:
    """Put aside `size` bytes for a run, or as much as there is."""
    _run.append(_halved(size, least))


def take_run(size: int, least: int) -> bytearray:
    """What was reserved; or else `size` bytes, halved until there are so many. MemoryError below `least`."""
    return _run.pop() if _run else _halved(size, least)


def reserve_words(number: int) -> None:
    """Put aside so many words of 32 bits."""
    _words.append(_array(number))


def take_words(number: int) -> array:  # type: ignore[type-arg]
    """`number` words, zeros: those that were reserved, or else new ones."""
    return _words.pop() if _words and len(_words[-1]) == number else _array(number)


def _halved(size: int, least: int) -> bytearray:
    while True:
        try:
            return bytearray(size)
        except MemoryError:
            size >>= 1
            if size < least:
                raise


def _array(number: int) -> array:  # type: ignore[type-arg]
    return array("I", bytearray(4 * number))
