"""When a run starts and ends."""

from logger.core import layout, trigger
from logger.core.trigger import BEGAN, ENDED, NOTHING, Trigger


def armed(baseline=1000, samples=2, hang_ms=1000, threshold=500):
    it = Trigger()
    assert it.arm(threshold, samples, hang_ms)
    for i in range(16):
        assert it.sample(i, baseline, 0, 0, 0) == NOTHING
    assert it.has_baseline
    return it


def test_every_state_has_an_answer_for_every_event():
    assert len(trigger.NEXT) == 4 * trigger.EVENTS
    for answer in trigger.NEXT:
        assert answer in (0, 1, 2, 3, trigger.REFUSED)


def test_states_are_those_of_the_protocol():
    it = Trigger()
    assert it.state == layout.STATE_IDLE
    assert it.event(trigger.EVENT_ARM)
    assert it.state == layout.STATE_ARMED
    assert it.event(trigger.EVENT_OVER)
    assert it.state == layout.STATE_RECORDING
    assert it.event(trigger.EVENT_STOP)
    assert it.event(trigger.EVENT_LOST)
    assert it.state == layout.STATE_FAULT


def test_what_is_refused():
    refused = [
        (place // trigger.EVENTS, place % trigger.EVENTS)
        for place in range(len(trigger.NEXT))
        if trigger.NEXT[place] == trigger.REFUSED
    ]

    # ARM and START, in every state but IDLE
    assert refused == [(1, 0), (1, 1), (2, 0), (2, 1), (3, 0), (3, 1)]


def test_baseline_is_the_mean_of_16_good_samples():
    it = Trigger()
    it.arm(500, 2, 1000)
    for i in range(16):
        it.sample(100 + i, 5000000, 0, 0, 3)  # settling: not looked at
        it.sample(i, -1000 + i, 0, 0, 0)

    assert it.baseline == -992  # mean -992.5, rounded up
    assert it.has_baseline


def test_a_negative_load_triggers_too():
    it = armed()
    assert it.sample(20, 499, 1, 0, 0) == NOTHING
    assert it.sample(21, 498, 1, 0, 0) == BEGAN
    assert it.over_position == 20


def test_the_threshold_itself_is_not_beyond_it():
    it = armed()
    for i in range(10):
        assert it.sample(20 + i, 1500, 1, 0, 0) == NOTHING


def test_one_sample_alone_does_not_trigger():
    it = armed()
    for i in range(20):
        assert it.sample(20 + 2 * i, 8388607, 1, 0, 2) == NOTHING
        assert it.sample(21 + 2 * i, 1000, 1, 0, 0) == NOTHING


def test_a_clipped_sample_counts_but_doubtful_bits_do_not():
    it = armed(samples=3)
    assert it.sample(20, 8388607, 1, 0, 2) == NOTHING
    assert it.sample(21, 8388607, 1, 0, 4) == NOTHING
    assert it.sample(22, 8388607, 1, 0, 1) == NOTHING
    assert it.sample(23, 8388607, 1, 0, 2) == BEGAN


def recording(hang_ms=1000):
    it = armed(hang_ms=hang_ms)
    it.sample(20, 5000, 10, 0, 0)
    assert it.sample(21, 5000, 10, 11000, 0) == BEGAN
    return it


def test_a_run_ends_when_the_hang_time_is_over():
    it = recording()
    assert it.sample(22, 1000, 10, 500000, 0) == NOTHING
    assert it.sample(23, 1000, 11, 10999, 0) == NOTHING
    assert it.sample(24, 1000, 11, 11000, 0) == ENDED
    assert it.state == layout.STATE_IDLE


def test_load_restarts_the_hang_time_and_a_glitch_does_not():
    it = recording()
    it.sample(22, 1000, 10, 900000, 0)
    it.sample(23, 5000, 10, 910000, 0)
    it.sample(24, 5000, 10, 920000, 0)
    assert it.sample(25, 1000, 11, 500000, 0) == NOTHING
    it.sample(26, 8388607, 11, 510000, 2)
    assert it.sample(27, 1000, 11, 919999, 0) == NOTHING
    assert it.sample(28, 1000, 11, 920000, 0) == ENDED


def test_a_run_begun_by_command_does_not_end_by_itself():
    it = Trigger()
    it.start(500, 1000)
    for second in range(100):
        assert it.sample(second, 1000, second, 0, 0) == NOTHING
    assert it.state == layout.STATE_RECORDING


def test_the_hang_time_also_ends_without_samples():
    it = recording()
    assert it.quiet(10, 999999) == NOTHING
    assert it.quiet(11, 11000) == ENDED
    assert it.quiet(12, 0) == NOTHING
