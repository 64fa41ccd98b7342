"""The path of a sample and the state of the logger."""

from struct import unpack_from

from firmware_support import Logger, end_of, run_samples

from logger.core import layout


def triggered(logger, hang_samples=500):
    logger.samples(100, 600)
    assert logger.recorder.arm() == 0
    logger.samples(100, 30)
    logger.samples(60000, 50)
    logger.samples(100, hang_samples)
    return logger.records(1)


def test_a_triggered_run_has_its_quiet_time_before():
    logger = Logger(step_us=10000)
    records = triggered(logger, 600)
    begin = records[0]
    first_s, first_us, trigger_s, trigger_us = unpack_from("<IIII", begin, 13)
    samples = run_samples(records)

    assert begin[12] == layout.BEGIN_TRIGGER
    assert (trigger_s - first_s) * 1000000 + trigger_us - first_us == 5000000
    assert (samples[0][1], samples[0][2]) == (first_s, first_us)
    assert samples[500][3] == 60000
    assert samples[499][3] == 100
    assert begin[29] == 100


def test_it_ends_after_the_hang_time_and_is_idle_again():
    logger = Logger(step_us=10000)
    records = triggered(logger, 600)
    samples = run_samples(records)

    assert logger.recorder.state == layout.STATE_IDLE
    assert end_of(records)["cause"] == layout.END_HANG
    assert len(samples) == 500 + 50 + 500
    assert end_of(records)["samples"] == len(samples)


def test_less_quiet_time_when_there_is_less():
    logger = Logger()
    logger.samples(0, 10)
    logger.sample(0, 3)
    logger.samples(0, 20)
    logger.recorder.arm()
    logger.samples(0, 20)
    logger.samples(60000, 5)
    logger.recorder.stop(logger.ticks)
    logger.finish()

    # 11 samples up to the settling one are left out
    assert len(run_samples(logger.records(1))) == 20 + 20 + 5


def test_two_runs_share_no_sample():
    logger = Logger()
    triggered(logger)
    logger.recorder.arm()
    logger.samples(100, 30)
    logger.samples(60000, 10)
    logger.recorder.stop(logger.ticks)
    logger.finish()
    one = run_samples(logger.records(1))
    two = run_samples(logger.records(2))

    assert (two[0][1], two[0][2]) > (one[-1][1], one[-1][2])


def test_arming_right_after_stopping_works():
    logger = Logger()
    logger.samples(0, 300)
    for run in range(1, 6):
        assert logger.recorder.start(logger.ticks) == 0
        assert logger.recorder.next_run() == run
        logger.samples(run, 30)
        assert logger.recorder.stop(logger.ticks) == run
    assert logger.recorder.arm() == 0
    assert logger.recorder.stop(logger.ticks) == 0
    logger.finish()

    for run in range(1, 6):
        assert [sample[3] for sample in run_samples(logger.records(run))] == [run] * 30


def test_state_is_recording_until_the_run_is_stored():
    logger = Logger()
    logger.samples(0, 300)
    logger.recorder.start(logger.ticks)
    logger.samples(0, 30)
    logger.recorder.stop(logger.ticks)
    assert logger.recorder.state == layout.STATE_RECORDING
    logger.finish()
    assert logger.recorder.state == layout.STATE_IDLE
    assert logger.store.complete(1)


def test_wrong_states_are_refused():
    recorder = Logger().recorder
    assert recorder.arm() == 0
    assert recorder.arm() == layout.ERROR_BAD_STATE
    assert recorder.start(0) == layout.ERROR_BAD_STATE
    assert recorder.stop(0) == 0
    assert recorder.start(0) == 0
    assert recorder.start(0) == layout.ERROR_BAD_STATE
    assert recorder.arm() == layout.ERROR_BAD_STATE
    assert recorder.stop(0) == 1


def test_no_run_after_the_last_number():
    logger = Logger()
    logger.store.last_run = layout.MAX_RUN
    assert logger.recorder.arm() == layout.ERROR_STORE_FULL
    assert logger.recorder.start(0) == layout.ERROR_STORE_FULL


def test_a_converter_that_stops_is_a_fault_and_then_is_not():
    logger = Logger()
    logger.samples(0, 100)
    logger.recorder.arm()
    logger.idle(900)
    assert logger.recorder.state == layout.STATE_ARMED
    logger.idle(200)
    assert logger.recorder.state == layout.STATE_FAULT
    assert logger.recorder.arm() == layout.ERROR_BAD_STATE
    logger.samples(0, 1)
    assert logger.recorder.state == layout.STATE_IDLE
    assert [line for _, line in logger.recorder.log] == [
        "converter does not deliver",
        "converter delivers again",
    ]


def test_a_converter_that_stops_in_a_run_ends_it_after_the_hang_time():
    logger = Logger()
    logger.samples(0, 100)
    logger.recorder.arm()
    logger.samples(0, 30)
    logger.samples(60000, 50)
    logger.idle(4900)
    assert logger.recorder.state == layout.STATE_RECORDING
    logger.idle(300)
    assert logger.recorder.state == layout.STATE_FAULT
    records = logger.records(1)
    assert end_of(records)["cause"] == layout.END_HANG
    assert run_samples(records)[-1][3] == 60000


def test_a_short_loss_of_the_converter_does_not_end_a_run():
    logger = Logger()
    logger.samples(0, 100)
    logger.recorder.arm()
    logger.samples(0, 30)
    logger.samples(60000, 50)
    logger.idle(2000)
    logger.samples(60000, 50)
    logger.recorder.stop(logger.ticks)
    logger.finish()

    assert len([sample for sample in run_samples(logger.records(1)) if sample[3] == 60000]) == 100


def test_times_run_through_the_wrap_of_the_counter():
    logger = Logger(start_ticks=0x3FFFFFFF - 3000000)
    records = triggered(logger)
    samples = run_samples(records)
    for i in range(1, len(samples)):
        step = (samples[i][1] - samples[i - 1][1]) * 1000000 + samples[i][2] - samples[i - 1][2]
        assert abs(step - 11000) <= 20


def test_baseline_of_a_run_begun_by_command_is_the_recent_mean():
    logger = Logger()
    logger.samples(-700, 100)
    logger.recorder.start(logger.ticks)
    logger.samples(50000, 30)
    logger.samples(-700, 30)
    logger.recorder.stop(logger.ticks)
    logger.finish()
    records = logger.records(1)

    assert records[0][12] == layout.BEGIN_COMMAND
    assert records[0][29:32] == b"\x44\xfd\xff"
    assert end_of(records)["peak_windows"] == 1


def test_extreme_since_arming():
    logger = Logger()
    logger.samples(0, 100)
    logger.recorder.arm()
    logger.samples(0, 16)
    logger.sample(300)
    logger.sample(-500)
    logger.sample(499)
    logger.sample(8388607, 4)

    assert logger.recorder.extreme == -500


def test_conversions_that_wait_to_be_read_are_no_converter_that_is_silent():
    """The loop was held up for seconds; the channel has what the converter delivered meanwhile."""
    logger = Logger(step_us=10000)
    logger.samples(0, 100)
    logger.recorder.unread = 200
    for _ in range(400):
        logger.ticks += 10000
        logger.recorder.service(logger.ticks)

    assert logger.recorder.faults.fault == 0
    assert not logger.recorder.faults.restart
    logger.recorder.unread = 0
    for _ in range(400):
        logger.ticks += 10000
        logger.recorder.service(logger.ticks)

    assert logger.recorder.faults.fault


def test_after_a_slow_write_the_store_rests_three_times_as_long():
    """400 ms for an erase: the next commit comes 1.6 s after the one before, not 0.5 s; samples go on."""
    logger = Logger(step_us=10000)
    logger.samples(0, 100)
    recorder = logger.recorder
    recorder.start(logger.ticks)
    commits = []
    commit = recorder.store.commit
    recorder.store.commit = lambda: (
        commits.append(recorder.timebase.second * 1000 + recorder.timebase.microsecond // 1000),
        commit(),
    )
    for _ in range(800):
        before = len(commits)
        logger.samples(0, 1)
        if len(commits) > before:
            recorder.took(400)
    steps = [commits[i + 1] - commits[i] for i in range(len(commits) - 1)]

    assert len(steps) >= 3
    assert min(steps) >= 1600
    assert max(steps) < 2300
