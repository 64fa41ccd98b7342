"""The insides of asyncio that firmware/virtual/event_loop.py replaces are still as it expects."""

PROGRAM = """
import event_loop
from clock import clock

waits = []


def wait(milliseconds):
    waits.append(milliseconds)
    clock.advance_to(clock.now_us + milliseconds * 1000)


event_loop.install(clock, wait)
import asyncio

woken = []


async def tick(name, period, number):
    for _ in range(number):
        await asyncio.sleep_ms(period)
        woken.append((clock.now_us // 1000, name))


async def main():
    asyncio.create_task(tick("a", 7, 3))
    await asyncio.sleep_ms(1)
    asyncio.create_task(tick("b", 10, 2))
    await asyncio.sleep_ms(3600000)


asyncio.run(main())
print(woken)
print(clock.now_us, sum(waits))
"""

EXPECTED = "[(7, 'a'), (11, 'b'), (14, 'a'), (21, 'a'), (21, 'b')]\n3600001000 3600001\n"


def test_virtual_time_under_the_real_loop(interpret, tmp_path):
    """An hour passes at once, wake-ups come at their virtual moments, and no real time slips in."""
    program = tmp_path / "program.py"
    program.write_text(PROGRAM)
    done = interpret(program, folders=("firmware/virtual",))

    assert done.returncode == 0, done.stderr
    moments = done.stdout.replace("(21, 'b'), (21, 'a')", "(21, 'a'), (21, 'b')")  # a tie may fall either way
    assert moments == EXPECTED


def test_the_names_are_there(interpret, tmp_path):
    """Fails loudly when the interpreter's asyncio changes."""
    program = tmp_path / "names.py"
    program.write_text(
        "import asyncio.core as core\n"
        "assert callable(core.ticks) and callable(core._io_queue.wait_io_event)\n"
        "import time\n"
        "assert abs(core.ticks() - time.ticks_ms()) < 1000\n"
        "print('same')\n"
    )
    done = interpret(program)

    assert done.stdout == "same\n", done.stdout + done.stderr
