"""The PIO driver against a model of state machine, channel and chip (firmware/virtual/rp2.py).

The model is held against the program itself by tests/pio.
"""

from converter_rig import Rig

from logger.drivers import hx711_rp2
from logger.drivers.converter import GOOD, LATE, OUT_OF_STEP, RAIL, SETTLING

TICKS_MASK = 0x3FFFFFFF


def ticks_apart(one, other):
    """Signed microseconds between two readings of the counter."""
    return ((one - other + 0x20000000) & TICKS_MASK) - 0x20000000


def errors_us(rig, found):
    """Time told less true time, sample by sample."""
    return [ticks_apart(sample[0], rig.true_ticks(sample[1])) for sample in found]


def test_flash_stalls_lose_and_mistime_nothing():
    """A minute at 150/s with a stall of 45 or 400 ms about every second: all there, to the microsecond."""
    rig = Rig("pio", start_us=TICKS_MASK - 20000000)
    state = 12345
    found = []
    stalls = 0
    while rig.clock.now_us < 60000000:
        state = (state * 1103515245 + 12345) & 0x7FFFFFFF  # the same under both interpreters
        found += rig.run(300 + (state >> 8) % 1500)
        rig.stall(400 if state >> 20 & 1 else 45)
        stalls += 1
    found += rig.run(2000)
    errors = errors_us(rig, found)

    assert stalls > 30
    assert [sample[1] for sample in found] == list(range(len(found)))
    assert len(found) > 9000
    assert rig.chip.lost == 0
    assert {sample[2] for sample in found[4:]} == {GOOD}
    assert {sample[3] for sample in found} == {0}
    assert -1 <= min(errors) <= max(errors) <= 1
    assert rig.driver.corrections == 0


def test_the_same_stalls_are_gaps_for_the_bit_banged_driver():
    """What the fallbacks cannot read in time they count: samples and missed conversions are all that happened."""
    for kind in ("gpio", "spi"):
        rig = Rig(kind)
        found = rig.run(500)
        for milliseconds in (45, 400, 45, 45, 400):
            rig.stall(milliseconds)
            found += rig.run(700)
        counts = [sample[1] for sample in found]

        for i in range(1, len(found)):
            assert counts[i] - counts[i - 1] == 1 + found[i][3]
        assert sum([sample[3] for sample in found]) == rig.chip.lost > 130
        assert len([sample for sample in found if sample[3]]) == 5


def test_the_first_four_are_settling_and_rails_are_marked():
    rig = Rig("pio", counts=(0, 0, 0, 0, 8388607, 8388606, -8388608, -5))

    assert [(sample[1], sample[2]) for sample in rig.run(60)] == [
        (0, SETTLING),
        (0, SETTLING),
        (0, SETTLING),
        (0, SETTLING),
        (8388607, RAIL),
        (8388606, GOOD),
        (-8388608, RAIL),
        (-5, GOOD),
    ]


def test_beyond_the_ring_the_loss_is_exact():
    """A stall of 3 s: the driver goes on with half a ring; what is left out is counted, times are right to a period."""
    rig = Rig("pio")
    found = rig.run(500)
    before = len(found)
    rig.stall(3000)
    found += rig.run(2000)
    counts = [sample[1] for sample in found]

    assert counts[before] - counts[before - 1] == 1 + found[before][3]
    assert rig.driver.overruns == found[before][3] > 300
    assert found[before][2] == LATE
    assert {sample[3] for sample in found[before + 1 :]} == {0}
    assert [counts[i + 1] - counts[i] for i in range(before, len(counts) - 1)] == [1] * (
        len(counts) - before - 1
    )
    errors = errors_us(rig, found[before:])
    assert -2200 < min(errors) <= max(errors) < 6700


def test_the_channel_is_started_again_when_its_count_is_used_up():
    """No conversion is lost or moved where a count ends, in the middle of the ring's words or not."""
    whole = hx711_rp2.TRANSFERS
    try:
        hx711_rp2.TRANSFERS = 1024
        rig = Rig("pio")
        found = rig.run(14000)
    finally:
        hx711_rp2.TRANSFERS = whole

    assert [sample[1] for sample in found] == list(range(len(found)))
    assert len(found) > 2000
    assert {sample[3] for sample in found} == {0}
    assert rig.driver.corrections == 0
    assert whole % hx711_rp2.TRANSFERS == 0
    assert whole % 512 == 0


def test_a_clock_that_lies_is_kept_within_two_looks():
    """If the machine ran 1 % fast or slow (it does not), times stay within the slack and a look of the truth."""
    for ppm in (10000, -10000):
        rig = Rig("pio", ppm=ppm)
        found = rig.run(20000)
        errors = errors_us(rig, found)

        assert [sample[1] for sample in found] == list(range(len(found)))
        assert rig.driver.corrections > 10
        assert -2200 < min(errors) <= max(errors) < 2200
        assert LATE in {sample[2] for sample in found}


def test_a_machine_held_up_is_told_and_then_in_time_again():
    """The channel dies for a second: what the queue does not hold is a gap, and the times are right again."""
    rig = Rig("pio")
    found = rig.run(500)
    left = rig.channel._left
    rig.channel._left = 0
    rig.stall(1000)
    rig.channel._left = left
    rig.channel.move()
    before = len(found)
    found += rig.run(500)
    later = found[before + 2 :]  # two were in the queue

    assert later[0][3] > 100
    assert later[0][2] == LATE
    errors = errors_us(rig, later)
    assert -2200 < min(errors) <= max(errors) < 6700
    assert 6600 < rig.driver.period_us < 6700


def test_a_disturbance_just_before_a_conversion_moves_no_time():
    """The step after it is as short as after a machine held up, but the conversions add up to now."""
    for before_us in (200, 800, 1600):
        for poll_ms in (2, 10, 40):
            rig = Rig("pio")
            rig.run(502)
            rig.sleep_us(rig.clock.next_event_us - rig.clock.now_us - before_us)
            rig.chip.disturb()
            found = []
            for _ in range(500 // poll_ms):
                found += rig.run(poll_ms, poll_ms)
                while rig.driver.poll():
                    found.append((rig.driver.ticks, rig.driver.counts, rig.driver.quality, rig.driver.missed))
            converted = [sample for sample in found if sample[1] != -1]
            errors = errors_us(rig, converted)

            assert [sample[1] for sample in converted] == list(range(75, 75 + len(converted)))
            assert len(found) - len(converted) == 1
            assert -1 <= min(errors) <= max(errors) <= 1
            assert {sample[2] for sample in found} == {GOOD}
            assert {sample[3] for sample in found} == {0}
            assert rig.driver.corrections == 0
            assert 6600 < rig.driver.period_us < 6700


def test_another_input_takes_its_pulses_and_settles():
    rig = Rig("pio", counts=[7])
    rig.run(100)
    for chosen in (2, 3, 1):
        rig.driver.select(chosen)
        found = rig.run(100)
        # One is of the old input, read with the new number of pulses; four settle.
        assert [sample[2] for sample in found] == [SETTLING] * 5 + [GOOD] * (len(found) - 5)


def test_samples_that_waited_during_a_change_of_input_are_not_good():
    """Those in the ring were read before the machine knew: they are of the old input."""
    rig = Rig("pio", counts=[7])
    rig.run(100)
    rig.stall(100)
    rig.driver.select(3)
    found = rig.run(200)

    assert len(found) > 40
    assert [sample[2] for sample in found[:20]] == [SETTLING] * 20
    assert {sample[2] for sample in found[22:]} == {GOOD}


def test_a_dead_chip_does_not_hold_up_whoever_changes_the_input():
    rig = Rig("pio")
    rig.chip.break_down("stuck_high")
    for i in range(20):
        rig.driver.select(1 + i % 3)
    assert rig.driver.line() == 1
    rig.chip.break_down(None)
    rig.driver.select(2)
    rig.driver.power_up()
    assert [sample[2] for sample in rig.run(60)][:7] == [SETTLING] * 5 + [GOOD] * 2


def test_shifted_bits_are_out_of_step():
    rig = Rig("pio", counts=[4])
    rig.run(100)
    rig.chip.lost_pulse = 1
    assert {sample[2] for sample in rig.run(40)} == {OUT_OF_STEP}
    rig.chip.lost_pulse = 0
    assert {sample[2] for sample in rig.run(40)[1:]} == {GOOD}


def test_every_driver_sleeps_and_wakes():
    """No samples while the chip sleeps; after power_up the chip was off and the first are settling."""
    for kind in ("gpio", "pio", "spi"):
        rig = Rig(kind)
        rig.run(100)
        rig.driver.power_down()
        assert rig.run(100) == []
        sleeps = rig.chip.sleeps
        rig.driver.power_up()
        found = rig.run(80)

        assert rig.chip.sleeps > sleeps
        assert [sample[2] for sample in found[:6]] == [SETTLING] * 4 + [GOOD] * 2
        assert {sample[3] for sample in found} == {0}


def test_the_wait_of_a_long_pause_does_not_spoil_the_time():
    """Half an hour without a conversion: turns beyond 30 bits, and the counter twice around; then right again."""
    rig = Rig("pio")
    rig.run(100)
    rig.clock.next_event_us = rig.clock.now_us + 1800000000
    for _ in range(180):
        rig.stall(10000)
        rig.driver.poll()
    found = rig.run(100)

    assert len(found) > 10
    offset = ticks_apart(found[-1][0], rig.clock.ticks_us())
    assert -9000 < offset < 0
    steps = [ticks_apart(found[i + 1][0], found[i][0]) for i in range(1, len(found) - 1)]
    assert {6666, 6667, 6668} >= set(steps)
