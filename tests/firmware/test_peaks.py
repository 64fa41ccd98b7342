"""The peak buffer."""

from logger.core.peaks import AFTER, BEFORE, KEPT, Peaks
from logger.core.ring import Ring


def feed(counts, baseline=0, floor=100, first=0, qualities=None, size=2048):
    """All samples of a run; returns peaks and their (position, counts) from the largest on."""
    ring = Ring(size)
    peaks = Peaks()
    peaks.begin(first, baseline, floor)
    for i in range(len(counts)):
        quality = qualities[i] if qualities else 0
        ring.push(counts[i], i // 90, i % 90 * 11000, quality, 0)
        peaks.sample(i, counts[i], quality, ring)
    number = peaks.finish(len(counts) - 1, ring)
    found = []
    while True:
        slot = peaks.largest()
        if slot < 0:
            break
        at = slot * 43
        window = [peaks.counts[i] for i in range(at, at + peaks.length[slot])]
        found.append((peaks.peak[slot], peaks.first[slot], window))
        peaks.drop(slot)
    assert number == len(found)
    for peak, start, window in found:
        assert window == list(counts[start : start + len(window)])
        assert start <= peak < start + len(window)
    return found


def ramp_to(top, length=50):
    return [top * i // length for i in range(length + 1)]


def test_one_ramp_and_break_is_one_peak_with_its_window():
    counts = [0] * 60 + ramp_to(10000) + [0] * 60
    (found,) = feed(counts)

    assert found[0] == 110
    assert found[1] == 110 - BEFORE
    assert len(found[2]) == BEFORE + 1 + AFTER


def test_a_noisy_ramp_does_not_fill_the_slots():
    # Noise of 5 % of the load, less than 1/16.
    counts = [i * 20 + (i * 7919 % 101 - 50) * i * 20 // 2000 for i in range(600)] + [0] * 50

    assert len(feed(counts)) == 1


def test_a_slow_unloading_without_a_break_is_one_peak():
    assert len(feed(ramp_to(10000) + ramp_to(10000, 500)[::-1])) == 1


def test_noise_after_the_break_is_no_peak():
    noise = [(i * 7919 % 81) - 40 for i in range(300)]
    assert len(feed(noise + ramp_to(10000) + noise)) == 1


def test_separate_peaks_are_told_apart_by_a_sixteenth():
    def two(valley):
        return feed(ramp_to(16000) + [valley] * 20 + [15900] * 5 + [0] * 20)

    assert len(two(15001)) == 1  # fell by less than 1/16 of 16000
    assert len(two(14900)) == 2  # and rose again by more than 1/16 of 15900
    assert [found[0] for found in two(14900)] == [50, 71]


def test_the_largest_four_are_kept_in_order():
    counts = []
    tops = (3000, 9000, 5000, 7000, 2000, 8000, 1000)
    for top in tops:
        counts += [0] * 20 + ramp_to(top) + [0] * 20
    found = feed(counts)

    assert len(found) == KEPT
    assert [counts[peak] for peak, _, _ in found] == [9000, 8000, 7000, 5000]


def test_a_glitch_takes_one_place_and_hides_no_real_peak():
    counts = ramp_to(4000) + [8388607] + ramp_to(8000)[26:] + [0] * 40
    found = feed(counts)

    assert counts[found[0][0]] == 8388607
    assert 8000 in [counts[peak] for peak, _, _ in found]


def test_bits_out_of_step_are_no_peak():
    counts = ramp_to(4000) + [8388607] + [0] * 40
    qualities = [0] * 51 + [4] + [0] * 40
    found = feed(counts, qualities=qualities)

    assert [counts[peak] for peak, _, _ in found] == [4000]


def test_distance_from_the_baseline_counts_in_both_directions():
    counts = [-500] * 50 + [-500 - value for value in ramp_to(3000)] + [-500] * 50
    found = feed(counts, baseline=-500)

    assert [counts[peak] for peak, _, _ in found] == [-3500]


def test_windows_are_cut_at_the_ends_of_the_run():
    counts = [0, 0, 9000, 0, 0, 0]
    (found,) = feed(counts, first=1)

    assert found[1] == 1
    assert found[2] == counts[1:]


def test_a_load_held_to_the_end_is_a_peak():
    (found,) = feed(ramp_to(5000))

    assert found[0] == 50
    assert len(found[2]) == BEFORE + 1


def test_a_long_run_keeps_early_peaks_though_the_ring_forgot_them():
    counts = [0] * 40 + ramp_to(9000) + [0] * 500 + ramp_to(4000) + [0] * 500
    found = feed(counts, size=64)

    assert [counts[peak] for peak, _, _ in found] == [9000, 4000]
    assert len(found[0][2]) == 43


def test_many_quick_peaks_use_no_more_than_the_buffers():
    counts = []
    for i in range(300):
        counts += [1000 + i * 10, 0]
    found = feed(counts)

    assert [counts[peak] for peak, _, _ in found] == [3990, 3980, 3970, 3960]
