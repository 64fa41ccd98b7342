"""An event loop whose time is virtual: it never waits, and whatever asks for the time is told the loop's.

One process, one thread, one order of events: the same seed gives the same story.
"""

import asyncio
import os
import random
import secrets
import selectors
import time
from collections.abc import Callable, Coroutine, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any


class _NoWaiting(selectors.SelectSelector):
    """Waits by letting the loop's time pass; nothing outside this process is ever waited for."""

    loop: "VirtualLoop"

    def select(self, timeout: float | None = None) -> list[Any]:
        if timeout:
            self.loop.now += timeout
        elif timeout is None:
            raise RuntimeError("everybody waits for somebody else: nothing will ever happen again")
        return []


class VirtualLoop(asyncio.SelectorEventLoop):
    """`now` is its time in seconds; `utc_shift_s` what the computer's clock was set by."""

    def __init__(self) -> None:
        selector = _NoWaiting()
        super().__init__(selector)
        selector.loop = self
        self.now = 1000.0
        self.utc_shift_s = 0.0

    def time(self) -> float:
        return self.now

    def utc(self) -> float:
        """What the computer's clock shows."""
        return 1_790_000_000.0 + self.now + self.utc_shift_s


@contextmanager
def _instead(owner: Any, name: str, other: Any) -> Iterator[None]:
    before = getattr(owner, name)
    setattr(owner, name, other)
    try:
        yield
    finally:
        setattr(owner, name, before)


def run_virtual(story: Callable[[VirtualLoop], Coroutine[Any, Any, None]], seed: int) -> None:
    """Run a story to its end in virtual time, with every random number drawn from the seed."""
    draw = random.Random(f"noise {seed}")
    loop = VirtualLoop()
    swaps = (
        (time, "monotonic", loop.time),
        (time, "perf_counter", loop.time),
        (time, "time", loop.utc),
        (time, "time_ns", lambda: int(loop.utc() * 1e9)),
        (os, "urandom", draw.randbytes),
        (secrets, "token_bytes", lambda size=32: draw.randbytes(size)),
    )
    try:
        with ExitStack() as stack:
            for owner, name, other in swaps:
                stack.enter_context(_instead(owner, name, other))
            loop.run_until_complete(story(loop))
    finally:
        left = asyncio.all_tasks(loop)
        for task in left:
            task.cancel()
        loop.run_until_complete(asyncio.gather(*left, return_exceptions=True))
        loop.close()
