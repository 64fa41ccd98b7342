"""The path of a sample allocates nothing."""

import pytest


@pytest.mark.parametrize("heap", ["200wK", "8m"])
def test_no_allocation_per_sample(interpret, heap):
    """With the heap locked, from the pins to the record being filled; also with little memory."""
    done = interpret("tests/on_micropython/no_alloc_sample_path.py", folders=("firmware",), heap=heap)

    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("ok  ") == 8


def test_no_allocation_in_the_drivers_of_the_boards(interpret):
    """With the heap locked: PIO with its ring, also after it was overwritten, and SPI."""
    done = interpret("tests/on_micropython/no_alloc_drivers.py", folders=("firmware", "firmware/virtual"))

    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("ok  ") == 4


def test_a_notification_allocates_no_more_than_a_little(interpret):
    """From the store to the radio: less than half a kilobyte each, and nothing that stays."""
    done = interpret("tests/on_micropython/cost_of_notification.py", folders=("firmware",))

    print(done.stdout)
    assert done.returncode == 0, done.stdout + done.stderr
    costs = dict(line.rsplit(": ", 1) for line in done.stdout.splitlines())
    assert 0 < int(costs["bytes of heap per notification"]) < 512
