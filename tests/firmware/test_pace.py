"""How fast the converter converts, and what was missed, from the steps alone; runs under both interpreters."""

from logger.drivers.pace import Pace


def steps(pace, *microseconds):
    """How many conversions each step leaves out."""
    return [pace.missed(one) for one in microseconds]


def steady(period_us):
    """A converter that has run for a while."""
    pace = Pace()
    steps(pace, *([period_us] * 20))
    return pace


def test_a_disturbance_between_two_conversions_is_no_new_rate():
    """At whatever moment the data line is disturbed, nothing seems to be missing after it."""
    for period in (6667, 10870, 12500, 100000):
        for part in range(1, 20):
            pace = steady(period)
            first = period * part // 20
            found = steps(pace, first, period - first, *([period] * 30))

            assert sum(found) == 0
            assert abs(pace.period_us - period) < period // 50


def test_two_disturbances_in_one_period_are_none_either():
    """Unless they cut it into three like parts."""
    pace = steady(10870)

    assert sum(steps(pace, 2000, 5000, 3870, *([10870] * 30))) == 0


def test_every_rate_of_the_chip_is_learnt_from_every_other():
    """10 and 80 a second, 92 as most boards do, 150 with a fast crystal: in 16 steps, and then nothing is missing."""
    for before in (6667, 10870, 12500, 100000):
        for after in (6667, 10870, 12500, 100000):
            pace = steady(before)
            steps(pace, *([after] * 16))

            assert steps(pace, *([after] * 30)) == [0] * 30
            assert abs(pace.period_us - after) < after // 50


def test_a_rate_that_creeps_is_followed():
    """From 92 down to 80 a second and up to 150, an eighth of a percent a conversion: nothing is missed."""
    pace = steady(10870)
    step = 10870
    while step < 12500:
        step += step // 800
        assert pace.missed(step) == 0
    while step > 6667:
        step -= step // 800
        assert pace.missed(step) == 0


def test_what_is_missing_is_counted_at_every_rate():
    """One to five conversions in a row, each time."""
    for period in (6667, 10870, 12500, 100000):
        for gone in (1, 2, 3, 5):
            assert steps(steady(period), period * (gone + 1), period) == [gone, 0]
