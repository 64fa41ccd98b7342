"""Faults named from samples and silence; samples that no force can have made."""

from logger.core import faults
from logger.core.layout import MAX_TEXT

GOOD, LATE, RAIL, SETTLING, OUT_OF_STEP = range(5)


class Watch:
    """Faults with a clock: `samples` come at a step, `silence` lets time pass."""

    def __init__(self, step_us=10870):
        self.faults = faults.Faults()
        self.now_us = 0
        self.step_us = step_us
        self.line = 1

    def time(self):
        return self.now_us // 1000000, self.now_us % 1000000

    def sample(self, counts, quality=GOOD, missed=0):
        self.now_us += self.step_us * (1 + missed)
        second, microsecond = self.time()
        told = self.faults.sample(counts, second, microsecond, quality, missed)
        self.faults.watch(second, microsecond, self.line)
        return told

    def samples(self, counts, seconds, quality=GOOD):
        """Noise of three counts about a value; the qualities told."""
        return [
            self.sample(counts + (self.now_us // self.step_us) % 3, quality)
            for _ in range(seconds * 1000000 // self.step_us)
        ]

    def silence(self, milliseconds):
        for _ in range(milliseconds // 10):
            self.now_us += 10000
            second, microsecond = self.time()
            self.faults.watch(second, microsecond, self.line)


def test_names_fit_a_log_line():
    for name in faults.NAMES:
        assert len((name + ": 1234.5/s").encode()) <= MAX_TEXT or len(name.encode()) <= MAX_TEXT
    assert len((faults.NAMES[faults.WRONG_RATE] + ": 1234.5/s").encode()) <= MAX_TEXT


def test_silence_is_named_by_the_line():
    for line, name in ((1, faults.SILENT_HIGH), (0, faults.SILENT_LOW), (-1, faults.SILENT)):
        watch = Watch()
        watch.samples(1000, 2)
        assert watch.faults.fault == faults.NONE
        watch.line = line
        watch.silence(990)
        assert watch.faults.fault == faults.NONE
        watch.silence(20)
        assert watch.faults.fault == name
        watch.sample(1000)
        assert watch.faults.fault == faults.NONE


def test_a_board_that_is_busy_for_long_is_no_silence():
    """Erasing flash may take seconds (littlefs with many files); only time that was watched counts."""
    watch = Watch()
    watch.samples(1000, 2)
    watch.now_us += 5000000
    watch.silence(990)
    assert watch.faults.fault == faults.NONE
    watch.silence(20)
    assert watch.faults.fault == faults.SILENT_HIGH


def test_what_comes_instead_names_the_fault():
    for counts, quality, name in (
        (0, OUT_OF_STEP, faults.NO_CLOCK),
        (77, OUT_OF_STEP, faults.OUT_OF_STEP),
        (-1, GOOD, faults.ALL_ONES),
        (-1, SETTLING, faults.ALL_ONES),
        (8388607, RAIL, faults.ON_HIGH_RAIL),
        (-8388608, RAIL, faults.ON_LOW_RAIL),
    ):
        for step_us in (10870, 100000):
            watch = Watch(step_us)
            watch.samples(50000, 3)
            for _ in range(1900000 // step_us):
                watch.sample(counts, quality)
            assert watch.faults.fault == name


def test_a_settling_converter_is_none():
    watch = Watch(100000)
    watch.samples(5, 3, SETTLING)
    assert watch.faults.fault == faults.NONE


def test_rates_of_both_modes_and_no_others():
    """Conversions per second: the issue is wiring, a jumper or another chip."""
    for rate, sound in (
        (3, False), (6, False), (7.2, True), (10, True), (12.8, True), (14, False), (18, False), (23, False),
        (40, False), (58, False), (61, True), (80, True), (92, True), (94, True), (144.68, True), (159, True),
        (165, False), (320, False), (1470, False),
    ):  # fmt: skip
        watch = Watch(int(1000000 / rate))
        qualities = watch.samples(1000, 2)
        assert watch.faults.fault == (faults.NONE if sound else faults.WRONG_RATE), rate
        assert abs(watch.faults.rate - 10 * rate) <= 0.02 * 10 * rate + 1
        assert sound == (OUT_OF_STEP not in qualities)


def test_missed_conversions_do_not_make_a_rate_wrong():
    watch = Watch()
    for i in range(400):
        watch.sample(1000 + i % 3, GOOD, 36 if i % 40 == 0 else 0)
        assert watch.faults.fault == faults.NONE


def test_all_ones_are_doubted_at_once_where_no_force_can_make_them():
    watch = Watch()
    watch.samples(60000, 1)
    assert watch.sample(-1) == OUT_OF_STEP
    assert [watch.sample(60002) for _ in range(5)] == [OUT_OF_STEP] * 5  # in its company
    assert watch.sample(60002) == GOOD


def test_minus_one_near_zero_is_a_count_like_others():
    watch = Watch()
    told = [watch.sample(value) for value in (3, -1, -4, 0, -1, -1, 2, 5, -1, -1, -1, 1) * 20]

    assert set(told) == {GOOD}


def test_a_sound_converter_at_zero_is_never_doubted():
    """Five minutes at 92/s with twice the data sheet's noise at 80/s, 39 counts, and with half of it."""
    for noise in (20, 78):
        watch = Watch()
        state = 7
        told = []
        for _ in range(27600):
            total = 0
            for _ in range(
                12
            ):  # the sum of twelve is nearly normal, its deviation that of one times the root of 12
                state = (state * 1103515245 + 12345) & 0x7FFFFFFF
                total += (state >> 16) % 1000
            told.append(watch.sample((total - 5994) * noise // 1000))

        assert set(told) == {GOOD}
        assert watch.faults.fault == faults.NONE


def test_a_load_that_goes_through_zero_may_read_minus_one():
    for step in (401, 2001, 3901):
        for sign in (1, -1):
            watch = Watch()
            told = [watch.sample(-1 + sign * step * i) for i in range(-40, 40)]

            assert set(told) == {GOOD}


def test_a_line_that_breaks_near_zero_is_named():
    """Three readings may be counts; then they are doubted, and the fault is named after a second."""
    for before in (-90, 0, 90):
        watch = Watch()
        watch.samples(before, 2)
        told = [watch.sample(-1) for _ in range(100)]

        assert told == [GOOD] * 3 + [OUT_OF_STEP] * 97
        assert watch.faults.fault == faults.ALL_ONES


def test_ones_out_of_a_load_are_doubted_while_it_grows():
    """A disturbance of the data line in a pull: the way to -1 is not the way that the load went."""
    watch = Watch()
    watch.samples(600, 1)
    assert watch.sample(-1) == OUT_OF_STEP
    watch = Watch()
    for i in range(40):
        watch.sample(3000 + 1500 * i)
    assert watch.sample(-1) == OUT_OF_STEP


def test_half_of_the_count_at_once_is_a_shift():
    for counts in (300000, -300000, 4000000, -8000000):
        watch = Watch()
        watch.samples(counts, 1)
        assert watch.sample((counts & 0xFFFFFF) >> 1) == OUT_OF_STEP


def test_half_of_a_load_may_come_when_time_has_passed():
    """After missed conversions, or slowly, a force may well have fallen by half."""
    watch = Watch()
    watch.samples(300000, 1)
    assert watch.sample(150000, GOOD, 1) == GOOD
    watch = Watch()
    watch.samples(300000, 1)
    assert [watch.sample(value) for value in (280000, 220000, 170000, 150000, 150000)] == [GOOD] * 5


def test_a_lasting_shift_lets_nothing_pass():
    """Half of the shifted samples look in step; those are doubted too until sixteen in a row are clean."""
    watch = Watch()
    watch.samples(300000, 1)
    state = 1
    told = []
    for _ in range(400):
        state = (state * 1103515245 + 12345) & 0x7FFFFFFF
        told.append(watch.sample(150000 + (state >> 16) % 40, OUT_OF_STEP if state >> 8 & 1 else GOOD))

    assert set(told) == {OUT_OF_STEP}
    assert watch.faults.fault == faults.OUT_OF_STEP
    assert watch.samples(300000, 1)[17:30] == [GOOD] * 13


def test_a_lone_sample_out_of_step_costs_six():
    """It may have chosen another input: one sample of that, four that settle."""
    watch = Watch()
    watch.samples(1000, 1)
    told = [watch.sample(77, OUT_OF_STEP)]
    told += watch.samples(1000, 1)

    assert told == [OUT_OF_STEP] * 6 + [GOOD] * (len(told) - 6)
    assert watch.faults.fault == faults.NONE


def test_doubt_ends_with_an_even_count():
    """Odd ones that follow a slip may come from a pulse taken for two; the first even one does not."""
    watch = Watch()
    watch.samples(1000, 1)
    told = [
        watch.sample(value, OUT_OF_STEP if i == 0 else GOOD)
        for i, value in enumerate([77] + [1001, 1003] * 6)
    ]
    assert set(told) == {OUT_OF_STEP}
    assert [watch.sample(value) for value in (1002, 1001, 1003)] == [OUT_OF_STEP, GOOD, GOOD]


def test_twice_the_count_at_once_is_a_double_pulse():
    for counts in (40000, -40000, 300000, -300000, 4000000, 6000000, -8000000):
        watch = Watch()
        watch.samples(counts, 1)
        doubled = ((((counts << 1) + 1) & 0xFFFFFF) ^ 0x800000) - 0x800000
        assert watch.sample(doubled) == OUT_OF_STEP, counts


def test_a_load_may_double_a_small_count_and_a_large_one_by_an_even_step():
    watch = Watch()
    watch.samples(20000, 1)
    assert watch.sample(40001) == GOOD
    watch = Watch()
    watch.samples(300000, 1)
    assert watch.sample(600000) == GOOD


def test_a_lasting_double_pulse_lets_little_pass_and_is_named():
    """Far from zero nothing passes; near it 23 readings do, then it is out of step."""
    for counts, most in ((300000, 0), (-2000000, 0), (9000, faults.ODD_COUNTS - 1)):
        watch = Watch()
        watch.samples(counts, 1)
        state = 1
        told = []
        for _ in range(300):
            state = (state * 1103515245 + 12345) & 0x7FFFFFFF
            told.append(watch.sample((counts + (state >> 16) % 80 - 40 << 1) + 1))
        assert told[:most] == [GOOD] * most
        assert told[most:].count(GOOD) <= 2  # where the same count came twice by chance
        assert watch.faults.fault == faults.OUT_OF_STEP


def test_random_counts_are_no_double_pulses():
    """Half an hour of noise at 92/s, odd and even as they come."""
    watch = Watch()
    watch.samples(1000, 1)
    state = 1
    for _ in range(160000):
        state = (state * 1103515245 + 12345) & 0x7FFFFFFF
        assert watch.sample(1000 + (state >> 12) % 160) == GOOD


def test_it_asks_for_a_new_start_where_that_may_help():
    """Once in two seconds while nothing sound comes; never for a rail or a rate."""
    watch = Watch()
    watch.samples(1000, 3)
    asked = 0
    for _ in range(100):
        watch.silence(100)
        if watch.faults.restart:
            watch.faults.restart = False
            asked += 1
    assert asked in (4, 5)
    for counts, quality, step_us in ((8388607, RAIL, 10870), (5, GOOD, 25000)):
        watch = Watch(step_us)
        watch.samples(counts - 2, 5, quality)
        assert watch.faults.fault
        assert not watch.faults.restart
