"""From samples to the records of a run."""

import hashlib
from struct import unpack_from

from firmware_support import Logger, end_of, run_samples, signed

from logger.core import layout, record

COMMIT_MS = 7  # protocol/records.json, settings
MEAN_MS = 9


def one_run(logger, counts, qualities=None):
    logger.samples(0, 400)
    assert logger.recorder.start(logger.ticks) == 0
    for i in range(len(counts)):
        logger.sample(counts[i], qualities[i] if qualities else 0)
    run = logger.recorder.stop(logger.ticks)
    logger.finish()
    return logger.records(run)


def kinds(records):
    return [record[0] for record in records]


def test_order_and_numbering():
    logger = Logger()
    records = one_run(logger, [i * 100 for i in range(400)])

    assert kinds(records)[:3] == [layout.KIND_RUN_BEGIN, layout.KIND_IDENTITY, layout.KIND_SETTINGS]
    assert kinds(records)[-2:] == [layout.KIND_PEAK_WINDOW, layout.KIND_RUN_END]
    assert set(kinds(records)[3:-2]) == {layout.KIND_SAMPLES}
    for index in range(len(records)):
        assert unpack_from("<BHI", records[index], 1) == (1, 1, index)
        assert record.damage(records[index], len(records[index])) == 0


def test_samples_and_times_come_back():
    logger = Logger(step_us=10873)
    counts = [(i * 7919) % 16777216 - 8388608 for i in range(500)]
    found = run_samples(one_run(logger, counts))

    assert [sample[3] for sample in found] == counts
    assert [sample[0] for sample in found] == list(range(500))
    for i in range(500):
        true_us = (400 + 1 + i) * 10873
        assert abs(found[i][1] * 1000000 + found[i][2] - true_us) <= layout.STEP_US // 2


def test_hash_and_totals():
    counts = [0] * 100 + [layout.RAIL_HIGH] * 3 + [-900000] * 10
    qualities = [0] * 100 + [2, 2, 0] + [1, 4, 3] + [0] * 7
    records = one_run(Logger(), counts, qualities)
    end = end_of(records)

    assert end["sha256"] == hashlib.sha256(b"".join(records[:-1])).digest()
    assert end["samples"] == 113
    assert end["samples_not_stored"] == 0
    assert end["clipped"] == 3
    assert end["doubtful"] == 9  # four more than given, as the company of the one out of step
    assert (end["lowest"], end["highest"]) == (-900000, layout.RAIL_HIGH)
    assert end["cause"] == layout.END_COMMAND


def test_missed_conversions_inside_the_run_are_counted():
    logger = Logger()
    logger.samples(0, 100)
    logger.recorder.start(logger.ticks)
    logger.sample(0, 0, 5)  # before the first sample: not inside
    logger.samples(0, 10)
    logger.sample(0, 0, 2)
    logger.sample(0, 0, 1)
    run = logger.recorder.stop(logger.ticks)
    logger.finish()

    assert end_of(logger.records(run))["missed"] == 3


def test_a_record_is_closed_when_its_first_sample_is_old():
    logger = Logger(step_us=100000)  # 10/s
    records = one_run(logger, [0] * 60)
    sizes = [record[19] for record in records if record[0] == layout.KIND_SAMPLES]

    # The sample of the moment at which the first is 500 ms old is the sixth.
    assert set(sizes[:-1]) == {6}


def test_a_record_holds_46_samples():
    records = one_run(Logger(), [0] * 100)
    sizes = [record[19] for record in records if record[0] == layout.KIND_SAMPLES]

    assert sizes == [46, 46, 8]
    assert max([len(record) for record in records]) == 254


def test_a_long_pause_starts_a_new_record_with_an_exact_time():
    logger = Logger()
    logger.settings.change(COMMIT_MS, 10000)
    logger.samples(0, 100)
    logger.recorder.start(logger.ticks)
    logger.samples(0, 5)
    logger.step_us = 163840  # 8192 steps of 20 us
    logger.samples(0, 1)
    logger.step_us = 163820
    logger.samples(0, 1)
    logger.step_us = 2500000
    logger.samples(0, 1)
    logger.recorder.stop(logger.ticks)
    logger.finish()
    records = logger.records(1)

    assert [record[19] for record in records if record[0] == layout.KIND_SAMPLES] == [5, 2, 1]
    last = run_samples(records)[-1]
    assert last[1] * 1000000 + last[2] == 105 * 11000 + 163840 + 163820 + 2500000


def test_a_mark_stands_where_its_time_is():
    logger = Logger()
    logger.samples(0, 100)
    logger.recorder.start(logger.ticks)
    logger.samples(0, 20)
    time = logger.recorder.timebase
    assert logger.recorder.writer.mark(time.second, time.microsecond, layout.MARK_VIDEO, b"flash")
    logger.samples(0, 20)
    logger.recorder.stop(logger.ticks)
    logger.finish()
    records = logger.records(1)
    at = kinds(records).index(layout.KIND_MARK)
    second, microsecond = unpack_from("<II", records[at], 8)

    assert records[at][16:-4] == b"\x01\x05flash"
    assert kinds(records)[at - 1] == layout.KIND_SAMPLES
    before = run_samples(records[:at])[-1]
    after = run_samples(records[at:])[0]
    assert (before[1], before[2]) <= (second, microsecond) <= (after[1], after[2])
    assert len(run_samples(records)) == 40


def test_a_mark_at_the_very_end_is_written():
    logger = Logger()
    logger.samples(0, 100)
    logger.recorder.start(logger.ticks)
    logger.samples(0, 3)
    time = logger.recorder.timebase
    logger.recorder.writer.mark(time.second, time.microsecond, 0, b"")
    logger.recorder.stop(logger.ticks)
    logger.finish()

    assert layout.KIND_MARK in kinds(logger.records(1))


def test_a_run_stopped_before_its_first_sample():
    logger = Logger()
    logger.samples(0, 100)
    logger.recorder.start(logger.ticks)
    assert logger.recorder.stop(logger.ticks) == 1
    logger.finish()
    records = logger.records(1)

    assert kinds(records) == [
        layout.KIND_RUN_BEGIN,
        layout.KIND_IDENTITY,
        layout.KIND_SETTINGS,
        layout.KIND_RUN_END,
    ]
    end = end_of(records)
    assert (end["samples"], end["lowest"], end["highest"], end["peak_windows"]) == (0, 0, 0, 0)


def test_peaks_and_totals_are_kept_when_the_store_is_full():
    logger = Logger(capacity=6000)
    logger.samples(0, 100)
    assert logger.recorder.arm() == 0
    logger.samples(0, 30)
    for i in range(3000):
        logger.sample(30000 + i * 100)
    top = 8000000
    logger.sample(top)
    logger.samples(0, 600)
    logger.finish()
    records = logger.records(1)
    end = end_of(records)
    stored = run_samples(records)
    window = next(record for record in records if record[0] == layout.KIND_PEAK_WINDOW)

    assert end["cause"] == layout.END_STORE_FULL
    assert end["samples"] - end["samples_not_stored"] == len(stored)
    assert end["samples_not_stored"] > 2000
    assert end["highest"] == top
    assert unpack_from("<I", window, 10)[0] > stored[-1][0]
    assert window[14:17] == bytes((top & 255, top >> 8 & 255, top >> 16))
    assert end["sha256"] == hashlib.sha256(b"".join(records[:-1])).digest()
    assert logger.store.room() >= 0


def test_a_run_begun_by_command_ends_when_the_store_is_full():
    logger = Logger(capacity=6000)
    logger.samples(0, 100)
    logger.recorder.start(logger.ticks)
    logger.samples(0, 3000)

    assert logger.recorder.state == layout.STATE_IDLE
    end = end_of(logger.records(1))
    assert end["cause"] == layout.END_STORE_FULL
    assert end["samples"] - end["samples_not_stored"] == len(run_samples(logger.records(1)))


def test_whatever_the_capacity_a_run_that_began_gets_its_end():
    for capacity in range(3000, 9000, 97):
        logger = Logger(capacity=capacity)
        logger.samples(0, 100)
        if logger.recorder.start(logger.ticks):
            assert logger.recorder.start(logger.ticks) == layout.ERROR_STORE_FULL
            continue
        counts = []
        for top in (90000, 50000, 70000, 40000, 60000):
            counts += [0] * 40 + [top] * 5
        for count in counts * 3:
            logger.sample(count)
        logger.recorder.stop(logger.ticks)
        logger.finish()
        records = logger.records(1)

        assert end_of(records)["peak_windows"] == 4
        assert kinds(records).count(layout.KIND_PEAK_WINDOW) == 4
        assert logger.store.complete(1)


def test_a_mark_that_was_promised_is_written_however_full_the_store_is():
    """Also when many samples from before it still wait for their records: room for it was put aside."""
    promised = refused = 0
    for capacity in range(3600, 6000, 50):
        logger = Logger(capacity=capacity)
        logger.samples(0, 100)
        if logger.recorder.start(logger.ticks):
            continue
        for _ in range(10):
            for _ in range(60):  # a loop that was held up: nothing is written meanwhile
                logger.ticks += logger.step_us
                logger.recorder.push(0, logger.ticks, 0, 0)
            time = logger.recorder.timebase
            done = logger.recorder.writer.mark(time.second, time.microsecond, 0, b"a" * 60)
            promised += done
            refused += not done
            logger.recorder.service(logger.ticks)
        logger.recorder.stop(logger.ticks)
        logger.finish()
        written = kinds(logger.records(1)).count(layout.KIND_MARK)
        assert end_of(logger.records(1))["cause"] in (layout.END_COMMAND, layout.END_STORE_FULL)
        promised -= written

    assert promised == 0
    assert refused


def test_peak_windows_hold_the_samples_of_the_run():
    logger = Logger()
    counts = [0] * 100
    for top in (90000, 50000, 70000):
        counts += [top * i // 20 for i in range(21)] + [0] * 30
    records = one_run(logger, counts)
    windows = [record for record in records if record[0] == layout.KIND_PEAK_WINDOW]
    samples = run_samples(records)

    assert [window[8] for window in windows] == [0, 1, 2]
    for window in windows:
        first, second, microsecond = unpack_from("<III", window, 17)
        assert window[29] == 43
        for i in range(43):
            at = 30 + 5 * i
            stamp = window[at + 3] | window[at + 4] << 8
            microsecond += (stamp & 8191) * 20
            second += microsecond // 1000000
            microsecond %= 1000000
            _number, true_second, true_us, true_counts, _ = samples[first + i]
            assert (window[at] | window[at + 1] << 8 | window[at + 2] << 16) == true_counts
            assert abs((second - true_second) * 1000000 + microsecond - true_us) <= 20


def test_a_window_ends_at_a_pause_that_fits_no_step():
    logger = Logger()
    logger.samples(0, 100)
    logger.recorder.start(logger.ticks)
    logger.samples(0, 50)
    logger.step_us = 400000
    logger.samples(50000, 1)
    logger.step_us = 11000
    logger.samples(60000, 5)
    logger.step_us = 400000
    logger.samples(0, 1)
    logger.step_us = 11000
    logger.samples(0, 50)
    logger.recorder.stop(logger.ticks)
    logger.finish()
    (window,) = [record for record in logger.records(1) if record[0] == layout.KIND_PEAK_WINDOW]

    assert unpack_from("<I", window, 10)[0] == 51
    assert unpack_from("<I", window, 17)[0] == 50
    assert window[29] == 6


def test_an_overrun_shows_as_missing_numbers_and_in_the_totals():
    for pushed in (1024 + 5, 3000):  # the five would fit into a step, and are told by their numbers alone
        logger = Logger()
        logger.samples(0, 100)
        recorder = logger.recorder
        recorder.start(logger.ticks)
        logger.samples(5, 10)
        for i in range(pushed):  # nobody drains
            logger.ticks = (logger.ticks + 11000) & 0x3FFFFFFF
            recorder.push(i, logger.ticks, 0, 0)
        recorder.stop(logger.ticks)
        logger.finish()
        records = logger.records(1)
        samples = run_samples(records)
        end = end_of(records)

        assert end["samples"] == pushed + 10
        assert end["samples"] - end["samples_not_stored"] == len(samples) == 1024 + 10
        numbers = list(range(10)) + list(range(pushed + 10 - 1024, pushed + 10))
        assert [sample[0] for sample in samples] == numbers
        assert [sample[3] for sample in samples[10:]] == list(range(pushed - 1024, pushed))


def test_a_slow_run_keeps_means_in_place_of_samples():
    """Every sample is behind one mean; the record closes by number and by age, and nothing is lost at the end."""
    logger = Logger(step_us=12500)
    logger.recorder.settings.change(MEAN_MS, 100)
    counts = [(i * 7919) % 16777216 - 8388608 for i in range(1000)]
    records = one_run(logger, counts)
    means = []
    for raw in records:
        if raw[0] == layout.KIND_MEANS:
            (first,) = unpack_from("<I", raw, 8)
            for i in range(raw[20]):
                stamp, step_ms = unpack_from("<HH", raw, 21 + 13 * i)
                values = [signed(raw[at : at + 3]) for at in range(25 + 13 * i, 34 + 13 * i, 3)]
                means.append((first, stamp & layout.MAX_STEP, step_ms, values))
                first += stamp & layout.MAX_STEP

    assert layout.KIND_SAMPLES not in kinds(records)
    assert [first for first, _, _, _ in means] == [sum([m[1] for m in means[:i]]) for i in range(len(means))]
    assert sum([number for _, number, _, _ in means]) == 1000
    for first, number, step_ms, (mean, lowest, highest) in means:
        part = counts[first : first + number]
        assert (lowest, highest) == (min(part), max(part))
        assert mean == (2 * sum(part) + number) // (2 * number)
        assert step_ms in (0, 100)
    end = end_of(records)
    assert (end["samples"], end["samples_not_stored"]) == (1000, 0)
    assert (
        max([raw[20] for raw in records if raw[0] == layout.KIND_MEANS]) == 11
    )  # the record is a second old
