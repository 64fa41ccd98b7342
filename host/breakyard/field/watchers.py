"""Who hears the news: every page has a queue of its own, and one that does not keep up is let go, never waited for."""

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

BACKLOG: Final = 100
"""Messages that may wait for one page: ten seconds of numbers. A page that is further behind shows nothing of use."""


class PageWatcher:
    """One page: what it has not been sent yet. `behind` is set once it did not keep up."""

    def __init__(self) -> None:
        self.waiting: asyncio.Queue[str | bytes] = asyncio.Queue(BACKLOG)
        self.behind = asyncio.Event()

    def put(self, message: str | bytes) -> None:
        """Hand over a message; a full queue means that the page is let go."""
        try:
            self.waiting.put_nowait(message)
        except asyncio.QueueFull:
            self.behind.set()


class Watchers:
    """All pages that watch now."""

    def __init__(self) -> None:
        self._all: set[PageWatcher] = set()

    def __len__(self) -> int:
        return len(self._all)

    @contextmanager
    def joined(self, first: str) -> Iterator[PageWatcher]:
        """A new watcher, which gets `first` and then all news until it leaves."""
        watcher = PageWatcher()
        watcher.put(first)
        self._all.add(watcher)
        try:
            yield watcher
        finally:
            self._all.discard(watcher)

    def tell(self, message: str | bytes) -> None:
        """Tell every page."""
        for watcher in self._all:
            watcher.put(message)
