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
