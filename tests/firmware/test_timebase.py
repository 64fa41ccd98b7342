"""Device time from a counter that wraps at 2**30 microseconds."""

from logger.core.timebase import Timebase, elapsed_ms, ticks_between

MASK = 0x3FFFFFFF


def microseconds(timebase):
    assert 0 <= timebase.microsecond < 1000000
    return timebase.second * 1000000 + timebase.microsecond


def test_ticks_between_knows_both_directions_across_the_wrap():
    assert ticks_between(5, MASK) == 6
    assert ticks_between(MASK, 5) == -6
    assert ticks_between(0x1FFFFFFF, 0) == 0x1FFFFFFF
    assert ticks_between(0x20000000, 0) == -0x20000000


def test_every_step_near_the_wrap_adds_up():
    start = MASK - 50
    timebase = Timebase(start)
    for step in range(120):
        timebase.read((start + step) & MASK)
        assert microseconds(timebase) == step


def test_ten_hours_of_conversions():
    # 92/s for ten hours are 3.3 million steps; every 37th is enough to see each wrap and every second.
    step = 37 * 10870
    total = 0
    start = 123456789
    timebase = Timebase(start)
    while total < 36000 * 1000000:
        total += step
        timebase.read((start + total) & MASK)
        assert microseconds(timebase) == total
    assert timebase.second >= 36000


def test_longest_allowed_pause():
    timebase = Timebase(0)
    timebase.read(0x1FFFFFFF)
    assert microseconds(timebase) == 0x1FFFFFFF
    timebase.read(0x3FFFFFFE)
    assert microseconds(timebase) == 0x3FFFFFFE


def test_a_moment_before_the_latest_one_does_not_move_time_back():
    timebase = Timebase(0)
    timebase.read(2000010)
    timebase.read(1999990)
    assert (timebase.second, timebase.microsecond) == (1, 999990)
    timebase.read(2000011)
    assert (timebase.second, timebase.microsecond) == (2, 11)


def test_elapsed_ms():
    assert elapsed_ms(10, 0, 9, 999000) == 1
    assert elapsed_ms(36000, 500, 0, 0) == 36000000
    assert elapsed_ms(5, 0, 5, 0) == 0
