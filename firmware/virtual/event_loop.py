"""Puts the virtual clock under asyncio. The only file that knows the insides of either event loop.

MicroPython: `asyncio.core` asks `_io_queue.wait_io_event` to sleep and `ticks` for the time; both names are
replaced. New tasks are stamped by the C task queue with the real counter, which cannot be replaced; so the
virtual counter starts far ahead of the real one, and new tasks are always due at once. A test fails loudly
if the interpreter changes any of this.

CPython: a loop of its own with the few calls that the app uses, handed out under the name `asyncio`.
"""

import sys

_AHEAD_MS = 1 << 40


def install(clock, wait):
    """Make `import asyncio` mean virtual time: `wait(ms)` lets it pass, `clock.now_us` shows it."""
    if sys.implementation.name == "micropython":
        import asyncio.core

        base = asyncio.core.ticks() + _AHEAD_MS
        asyncio.core.ticks = lambda: base + clock.now_us // 1000
        asyncio.core._io_queue.wait_io_event = wait
    else:
        _install_own_loop(clock, wait)


def _install_own_loop(clock, wait):
    import heapq
    import types

    queue = []
    pushed = [0]

    def push(due_ms, coroutine):
        pushed[0] += 1
        heapq.heappush(queue, (due_ms, pushed[0], coroutine))

    class Sleep:
        def __init__(self, milliseconds):
            self._due_ms = clock.now_us // 1000 + max(0, milliseconds)

        def __await__(self):
            yield self._due_ms

    def create_task(coroutine):
        push(0, coroutine)

    def run(coroutine):
        create_task(coroutine)
        while queue:
            wait_ms = queue[0][0] - clock.now_us // 1000
            if wait_ms > 0:
                wait(wait_ms)
            task = heapq.heappop(queue)[2]
            try:
                due_ms = task.send(None)
            except StopIteration:
                if task is coroutine:
                    return
                continue
            push(due_ms, task)

    own = types.ModuleType("asyncio")
    own.sleep_ms = Sleep
    own.create_task = create_task
    own.run = run
    sys.modules["asyncio"] = own
