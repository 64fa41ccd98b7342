"""The ring: what it keeps, what it loses, where a run may begin."""

from logger.core.ring import Ring


def filled(number, size=64, step_us=10000):
    ring = Ring(size)
    for i in range(number):
        time_us = i * step_us
        ring.push(i, time_us // 1000000, time_us % 1000000, 0, 0)
    return ring


def test_it_keeps_the_latest():
    ring = filled(100)

    assert ring.head == 100
    assert ring.oldest() == 36
    assert [ring.counts[i & ring.mask] for i in range(36, 100)] == list(range(36, 100))


def test_time_before_a_position():
    ring = filled(200, 128)

    assert ring.position_before(199, 0) == 199
    assert ring.position_before(199, 95) == 190
    assert ring.position_before(199, 100) == 189
    assert ring.position_before(199, 100000) == ring.oldest() + 32  # the oldest quarter is no place to begin


def test_time_before_a_position_is_what_a_plain_search_finds():
    ring = filled(300, 256, 10870)
    for milliseconds in range(0, 2600, 37):
        plain = 299
        while plain > ring.oldest() + 64 and (299 - (plain - 1)) * 10870 // 1000 <= milliseconds:
            plain -= 1
        found = ring.position_before(299, milliseconds)
        assert abs(found - plain) <= 1  # whole milliseconds
        assert (299 - found) * 10870 < (milliseconds + 1) * 1000


def test_no_run_begins_before_the_last_settling_sample():
    ring = Ring(64)
    for i in range(20):
        ring.push(i, 0, i * 10000, 3 if i < 7 else 0, 0)

    assert ring.oldest() == 7
    assert ring.position_before(19, 5000) == 7


def test_overruns_are_counted_only_while_a_reader_is_at_work():
    ring = filled(64)
    ring.push(1, 0, 0, 0, 0)
    assert ring.overruns == 0

    ring.tail = ring.head
    ring.holding = True
    for i in range(70):
        ring.push(i, 0, 0, 0, 0)

    assert ring.overruns == 6
    assert ring.tail == ring.head - 64


def test_rate_counts_missed_conversions():
    assert filled(9, 256).rate_mhz() == 100000
    assert filled(8, 256).rate_mhz() == 0
    ring = Ring(256)
    time_us = 0
    for i in range(100):
        missed = 1 if i % 10 == 5 else 0
        time_us += 10000 * (1 + missed)
        ring.push(i, time_us // 1000000, time_us % 1000000, 0, missed)
    assert ring.rate_mhz() == 100000


def test_positions_are_counted_anew_before_they_outgrow_30_bits():
    ring = filled(100)
    ring.rebase()
    assert ring.head == 100

    ring.head += 0x10000000
    ring.floor = 0x10000000 + 90
    before = [ring.counts[i & ring.mask] for i in range(ring.head - 64, ring.head)]
    ring.rebase()

    assert ring.head < 1000
    assert ring.head - ring.floor == 10
    assert ring.tail == ring.head
    assert [ring.counts[i & ring.mask] for i in range(ring.head - 64, ring.head)] == before


def test_more_missed_conversions_than_a_byte_holds_are_told_with_the_samples_that_follow():
    ring = Ring(16)
    for missed in (0, 600, 0, 3, 0):
        ring.push(1, 0, 0, 0, missed)

    assert list(ring.missed[:5]) == [0, 255, 255, 93, 0]
