"""Run files: whatever happens to the bytes, the Run holds exactly the undamaged samples and tells what is missing."""

import dataclasses
import hashlib
from itertools import pairwise

import numpy as np
import pytest

from breakyard.errors import DataError
from breakyard.run import Converter, read_run, read_runs, run_from_columns
from breakyard.wire.damage import Damaged
from breakyard.wire.frame import frame
from breakyard.wire.layout import CLOCK_NEVER_SET, Damage, EndCause, Quality
from breakyard.wire.records import (
    Identity,
    Mark,
    PeakWindow,
    RunBegin,
    RunEnd,
    Samples,
    Settings,
    Unknown,
    build,
)

PERIOD_US = 12_500
FIRST_US = 100_250_000


class Writer:
    """Writes the records of a run as a logger would, and remembers which samples each one holds."""

    def __init__(self, samples=20, number=7, boot=99, late=(), clock=True, scale=1000):
        self.number, self.records, self.held = number, [], []
        steps = [0] + [PERIOD_US * (3 if n in late else 1) for n in range(1, samples)]
        self.time_us = np.cumsum(steps) if samples else np.zeros(0, int)
        self.counts = np.array([-31_000 + scale * n * n for n in range(samples)], dtype=np.int32)
        self.quality = np.zeros(samples, np.uint8)
        seconds, micro = divmod(FIRST_US, 1_000_000)
        self.begin = RunBegin(
            run=number, index=0, boot=boot, cause=1, first_s=seconds, first_us=micro, trigger_s=seconds, trigger_us=0,
            baseline_counts=-31_000, rate_mhz=80_000, input=1, clock_device_s=60, clock_device_us=250_000,
            clock_utc_s=1_777_809_600, clock_utc_us=0, clock_uncertainty_us=4_000 if clock else CLOCK_NEVER_SET,
        )  # fmt: skip
        self.add(self.begin)
        self.add(
            Identity(
                run=number,
                index=1,
                serial=b"invented",
                boot=boot,
                protocol=1,
                board="b",
                firmware="f",
                interpreter="i",
            )
        )
        self.add(
            Settings(
                run=number, index=2, threshold_counts=20_000, trigger_samples=2, pre_trigger_ms=0, hang_ms=5_000,
                input=1, status_ms=100, commit_ms=900,
            )
        )  # fmt: skip

    def add(self, record, held=()):
        self.records.append(build(dataclasses.replace(record, index=len(self.records))))
        self.held.append(list(held))

    def _block(self, numbers):
        part = slice(numbers[0], numbers[-1] + 1)
        seconds, micro = divmod(FIRST_US + int(self.time_us[numbers[0]]), 1_000_000)
        step = np.diff(self.time_us[part], prepend=self.time_us[numbers[0]])
        return {
            "run": self.number, "index": 0, "first_sample": numbers[0], "first_s": seconds, "first_us": micro,
            "counts": self.counts[part], "step_us": step.astype(np.int32), "quality": self.quality[part],
        }  # fmt: skip

    def samples(self, *numbers):
        self.add(Samples(**self._block(numbers)), numbers)

    def mark(self, text="tap"):
        self.add(Mark(run=self.number, index=0, mark_s=100, mark_us=5, code=0, text=text))

    def window(self, *numbers):
        peak = max(numbers, key=lambda n: self.counts[n])
        block = self._block(numbers)
        more = {"rank": 0, "of": 1, "peak_sample": peak, "peak_counts": int(self.counts[peak])}
        self.add(PeakWindow(**block, **more), numbers)

    def end(self, **changes):
        on_rail = (np.abs(self.counts.astype(float) + 0.5) == 8388607.5) | (self.quality == Quality.RAIL)
        totals = {
            "run": self.number, "index": 0, "cause": EndCause.COMMAND, "end_s": 101, "end_us": 0,
            "samples": len(self.counts), "samples_not_stored": 0, "missed": 0, "clipped": int(on_rail.sum()),
            "doubtful": int(np.count_nonzero(self.quality)), "lowest_counts": int(self.counts.min(initial=0)),
            "highest_counts": int(self.counts.max(initial=-(2**23))) if len(self.counts) else 0, "peak_windows": 1,
            "sha256": hashlib.sha256(b"".join(self.records)).digest(),
        }  # fmt: skip
        self.add(RunEnd(**totals | changes))
        return self

    @property
    def frames(self):
        return [frame(record) for record in self.records]

    @property
    def data(self):
        return b"".join(self.frames)

    def expected(self, kept):
        """Sample numbers that the records with these indices hold."""
        return sorted({number for index in kept for number in self.held[index]})


def small(**options):
    """Ten records: three, four SAMPLES of five, a MARK, a peak window, an end."""
    writer = Writer(**options)
    writer.samples(*range(5))
    writer.samples(*range(5, 10))
    writer.mark()
    writer.samples(*range(10, 15))
    writer.samples(*range(15, 20))
    writer.window(*range(16, 20))
    return writer.end()


def assert_holds(run, writer, kept):
    """The run has the samples of the kept records, no others, and says which records are missing."""
    numbers = writer.expected(kept)
    origin = 0 if 0 in kept or not numbers else writer.time_us[numbers[0]]
    gone = [index for index in range(max(kept)) if index not in kept]

    assert run.counts.tolist() == writer.counts[numbers].tolist()
    assert np.round(run.time_s * 1e6).tolist() == (writer.time_us[numbers] - origin).tolist()
    assert [i for first, last in run.loss.missing_records for i in range(first, last + 1)] == gone
    holes = [(i, b - a - 1) for i, (a, b) in enumerate(pairwise(numbers)) if b > a + 1]
    if numbers and numbers[0]:
        holes.insert(0, (-1, int(numbers[0])))
    last = int(numbers[-1]) + 1 if numbers else 0
    if run.end is not None and run.end.samples > last:
        holes.append((len(numbers) - 1, run.end.samples - last))
    assert [(gap.after_sample, gap.missing) for gap in run.gaps if gap.cause == "record"] == holes
    assert run.loss.complete == (not gone and len(writer.records) - 1 in kept)


def spans(frames):
    """First byte and byte after the last of each frame."""
    ends = np.cumsum([len(f) for f in frames]).tolist()
    return list(zip([0, *ends[:-1]], ends, strict=True))


def test_whole_run():
    """Counts, times, marks, windows, identity, converter and UTC of an undamaged run."""
    writer = small()
    run = read_run(writer.data, name="seven.run")

    assert_holds(run, writer, range(len(writer.records)))
    assert (run.name, run.number, run.begin, run.gaps) == ("seven.run", 7, writer.begin, ())
    assert run.identity is not None
    assert run.identity.serial == b"invented"
    assert run.settings is not None
    assert run.end is not None
    assert [mark.text for mark in run.marks] == ["tap"]
    assert [window.peak_sample for window in run.peak_windows] == [19]
    assert run.converter == Converter(gain=128, settling_conversions=4)
    assert run.period_s == pytest.approx(0.0125)
    assert run.usable.all()
    assert not run.clipped.any()
    assert run.loss.notes == ()


def test_arrays_are_read_only():
    """Raw counts are sacred."""
    run = read_run(small().data)
    for array in (run.counts, run.time_s, run.quality):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


def test_start_in_utc_with_its_uncertainty():
    """The anchor is 40 s old: its half-width of 4 ms grows by 40 s x 50 ppm = 2 ms."""
    run = read_run(small().data)

    assert run.start_utc_s == pytest.approx(1_777_809_640.0, abs=1e-6)
    assert run.start_utc_uncertainty_s == pytest.approx(0.006, abs=1e-9)
    never = read_run(small(clock=False).data)
    assert (never.start_utc_s, never.start_utc_uncertainty_s) == (None, None)


def test_a_file_cut_at_any_byte():
    """Every record whose bytes are all there is kept, and nothing else; a cut record is reported."""
    writer = small()
    data = writer.data
    places = spans(writer.frames)
    for cut in range(len(data)):
        kept = [i for i, (_, end) in enumerate(places) if end - 1 <= cut]
        if not kept:
            with pytest.raises(DataError, match="no record of a run"):
                read_run(data[:cut])
            continue
        run = read_run(data[:cut])
        assert_holds(run, writer, kept)
        begun = next((begin + 1 for begin, end in places if begin + 1 < cut < end - 1), None)
        assert [(bad.offset, bad.length) for bad in run.loss.damaged] == (
            [(begun, cut - begun)] if begun else []
        )
        if len(kept) < len(places):
            assert any("RUN_END is missing" in note for note in run.loss.notes)


@pytest.mark.parametrize(
    "how", ["to 0", "to 1", "to 255", "lowest bit", "highest bit", "plus 7", "removed", "doubled"]
)
def test_a_file_with_any_byte_changed(how):
    """Exactly the record whose frame holds the byte is lost, whatever becomes of the byte, and the loss is reported."""
    writer = small()
    data = writer.data
    for number, (begin, end) in enumerate(spans(writer.frames)):
        kept = [i for i in range(len(writer.records)) if i != number]
        for place in range(begin, end):
            old = data[place]
            new = {
                "to 0": b"\0", "to 1": b"\1", "to 255": b"\xff", "lowest bit": bytes([old ^ 1]),
                "highest bit": bytes([old ^ 128]), "plus 7": bytes([(old + 7) % 256]),
                "removed": b"", "doubled": bytes([old, old]),
            }[how]  # fmt: skip
            changed = data[:place] + new + data[place + 1 :]
            run = read_run(changed)
            if new.strip(b"\0") == bytes([old]).strip(b"\0"):
                # A delimiter more or less, or no change: nothing is lost.
                assert_holds(run, writer, range(len(writer.records)))
                continue
            assert_holds(run, writer, kept)
            assert run.loss.damaged
            assert all(begin <= bad.offset and bad.offset + bad.length <= end + 1 for bad in run.loss.damaged)


def test_records_in_any_order():
    """Order of arrival does not matter."""
    writer = small()
    frames = writer.frames
    for order in (frames[::-1], frames[5:] + frames[:5], frames[::2] + frames[1::2]):
        assert_holds(read_run(b"".join(order)), writer, range(len(frames)))


def test_duplicates_are_dropped_and_counted():
    """A repeated part changes nothing but a note."""
    writer = small()
    frames = writer.frames
    run = read_run(b"".join(frames[:6] + frames[3:]))

    assert_holds(run, writer, range(len(frames)))
    assert run.loss.notes == ("3 records came more than once",)


def test_runs_interleaved_record_by_record():
    """Two runs, a record of each in turn, come out apart, in order of first appearance."""
    one, two = small(), small(number=3, scale=-700)
    mixed = b"".join(a + b for a, b in zip(one.frames, two.frames, strict=True))
    first, second = read_runs(mixed)

    assert_holds(first, one, range(len(one.records)))
    assert_holds(second, two, range(len(two.records)))
    assert read_run(mixed).number == 7


def test_two_loggers_with_the_same_run_number():
    """Files put together with cat: a record that comes again with other bytes begins another run."""
    one, two = small(), small(boot=5, scale=300)
    runs = read_runs(one.data + two.data)

    assert len(runs) == 2
    for run, writer in zip(runs, (one, two), strict=True):
        assert_holds(run, writer, range(len(writer.records)))


def test_damage_is_told_by_the_run_it_lies_in():
    """Each damaged stretch of a file with several runs is in the loss of one run."""
    one, two = small(), small(number=8)
    frames = two.frames
    frames[4] = frames[4][:20] + bytes([frames[4][20] ^ 64]) + frames[4][21:]
    first, second = read_runs(one.data + b"".join(frames))

    assert first.loss.damaged == ()
    assert [bad.reason for bad in second.loss.damaged] == [Damage.BAD_CHECKSUM]


@pytest.mark.parametrize("lost", range(10))
def test_one_record_missing_without_a_trace(lost):
    """The index tells that it is missing, the sample numbers what was in it."""
    writer = small()
    frames = writer.frames
    del frames[lost]
    run = read_run(b"".join(frames))
    kept = [i for i in range(10) if i != lost]

    assert_holds(run, writer, kept)
    assert run.loss.damaged == ()
    assert run.loss.missing_samples == 20 - len(writer.expected(kept))


def test_missed_conversions_are_gaps_of_their_own_cause():
    """Longer steps without a jump in the sample numbers: conversions that the logger never read."""
    writer = small(late=(8, 15))
    run = read_run(writer.data)

    assert [(gap.after_sample, gap.missing, gap.cause) for gap in run.gaps] == [
        (7, 2, "conversion"),
        (14, 2, "conversion"),
    ]
    assert run.gaps[0].start_s == pytest.approx(7 * 0.0125)
    assert run.gaps[0].end_s == pytest.approx(10 * 0.0125)
    assert run.loss.complete


def test_lost_record_and_missed_conversions_are_not_confused():
    """In one run, each gap has its own cause."""
    writer = small(late=(3,))
    frames = writer.frames
    del frames[4]
    run = read_run(b"".join(frames))

    assert [(gap.after_sample, gap.missing, gap.cause) for gap in run.gaps] == [
        (2, 2, "conversion"),
        (4, 5, "record"),
    ]


def test_a_hash_of_something_else_makes_the_run_incomplete():
    """All records are there and sound, but they are not what the logger hashed."""
    writer = small()
    writer.records.pop()
    writer.held.pop()
    run = read_run(writer.end(sha256=bytes(32)).data)

    assert not run.loss.complete
    assert run.loss.notes == ("the SHA-256 in RUN_END does not agree with the records before it",)


@pytest.mark.parametrize(
    ("total", "value", "note"),
    [
        ("samples", 21, "RUN_END counts 21 stored samples, 20 are here"),
        ("clipped", 1, "RUN_END says clipped = 1, found 0"),
        ("doubtful", 2, "RUN_END says doubtful = 2, found 0"),
        ("lowest_counts", -5, "RUN_END says lowest_counts = -5, found -31000"),
        ("highest_counts", 5, "RUN_END says highest_counts = 5, found 330000"),
    ],
)
def test_totals_that_do_not_agree(total, value, note):
    """Each total of RUN_END is compared with the samples."""
    writer = small()
    writer.records.pop()
    writer.held.pop()
    run = read_run(writer.end(**{total: value}).data)

    assert not run.loss.complete
    assert run.loss.notes[0] == note


def test_store_full_and_the_peak_is_in_a_window():
    """Samples 10 to 19 were not stored; the window gives 16 to 19 after a gap."""
    writer = Writer()
    writer.samples(*range(5))
    writer.samples(*range(5, 10))
    writer.window(*range(16, 20))
    run = read_run(writer.end(samples_not_stored=10, cause=EndCause.STORE_FULL).data)

    assert run.counts.tolist() == writer.counts[[*range(10), *range(16, 20)]].tolist()
    assert [(gap.after_sample, gap.missing, gap.cause) for gap in run.gaps] == [(9, 6, "record")]
    assert run.loss.missing_samples == 6
    assert run.loss.complete
    assert run.loss.notes == (
        "the store was full: 10 samples were not stored",
        "4 samples were taken from peak windows",
        "6 samples of the run are missing",
    )


def test_windows_that_overlap_each_other_and_the_samples():
    """Each sample comes out once."""
    writer = Writer()
    writer.samples(*range(8))
    writer.window(*range(6, 12))
    writer.window(*range(10, 15))
    run = read_run(writer.end(samples_not_stored=12).data)

    assert run.counts.tolist() == writer.counts[:15].tolist()
    assert [(gap.after_sample, gap.missing, gap.cause) for gap in run.gaps] == [(14, 5, "record")]


def test_only_a_window_is_left():
    """Even without any SAMPLES record the peak is there; RUN_BEGIN still tells where time 0 was."""
    writer = small()
    frames = writer.frames
    run = read_run(frames[0] + frames[8])

    assert run.counts.tolist() == writer.counts[16:20].tolist()
    assert run.time_s[0] == pytest.approx(16 * 0.0125)
    alone = read_run(frames[8])
    assert alone.counts.tolist() == writer.counts[16:20].tolist()
    assert alone.time_s[0] == 0.0
    assert alone.converter is None


def test_rails_and_doubtful_samples_are_not_usable():
    """A rail, or a quality worse than LATE, excludes a sample; an unknown quality does too."""
    writer = Writer(samples=8)
    writer.counts[:] = [-8388608, -8388607, 0, 8388606, 8388607, 5, 6, 7]
    writer.quality[:] = [2, 0, 1, 0, 0, 3, 4, 7]
    writer.samples(*range(8))
    run = read_run(writer.end(peak_windows=0).data)

    assert run.clipped.tolist() == [True, False, False, False, True, False, False, False]
    assert run.usable.tolist() == [False, True, True, True, False, False, False, False]
    assert run.loss.complete


def test_unknown_records_within_a_run_are_counted_and_hashed():
    """A newer logger's records do not make the run incomplete."""
    writer = Writer()
    writer.samples(*range(20))
    writer.add(Unknown(run=7, index=0, kind=77, payload=b"new"))
    run = read_run(writer.end(peak_windows=0).data)

    assert run.loss.unknown_records == 1
    assert run.loss.complete


def test_a_run_of_ten_hours_keeps_its_time():
    """At 150 per second the sum of steps passes 2^31 us; sample times stay exact to the microsecond."""
    writer = Writer(samples=0)
    step = np.full(45, 6660, np.int32)
    step[0] = 0
    for first in range(0, 5_400_000, 135_000):
        seconds, micro = divmod(FIRST_US + first * 6660, 1_000_000)
        block = Samples(
            run=7, index=0, first_sample=first, first_s=seconds, first_us=micro,
            counts=np.arange(45, dtype=np.int32), step_us=step, quality=np.zeros(45, np.uint8),
        )  # fmt: skip
        writer.add(block)
    run = read_run(writer.data)

    assert len(run.counts) == 40 * 45
    starts = np.arange(0, 5_400_000, 135_000, dtype=np.int64) * 6660
    assert np.round(run.time_s[::45] * 1e6).astype(np.int64).tolist() == starts.tolist()
    assert {gap.missing for gap in run.gaps} == {135_000 - 45}


def test_time_that_goes_backwards_is_left_out_and_told():
    """Samples that claim to be earlier than those before them cannot be placed."""
    writer = Writer()
    writer.samples(*range(10))
    writer.time_us[10:15] -= 200_000
    writer.samples(*range(10, 15))
    writer.time_us[10:15] += 200_000
    writer.samples(*range(15, 20))
    run = read_run(writer.end(peak_windows=0).data)

    assert run.counts.tolist() == writer.counts[[*range(10), *range(15, 20)]].tolist()
    assert (np.diff(run.time_s) > 0).all()
    assert "5 samples whose time does not increase were left out" in run.loss.notes
    assert not run.loss.complete


def test_bytes_without_a_run():
    """One clear line: what was found and what it may mean."""
    with pytest.raises(
        DataError, match=r"^notes.txt: 5 bytes, 1 damaged stretches, no record of a run; is this"
    ):
        read_run(b"hello", name="notes.txt")
    with pytest.raises(DataError):
        read_run(b"")


def test_to_frame():
    """One row per sample, with what may be used."""
    frame_ = read_run(small().data).to_frame()

    assert list(frame_.columns) == ["time_s", "counts", "quality", "clipped", "usable"]
    assert len(frame_) == 20


def test_imported_columns():
    """Counts of another instrument: time begins with 0, uneven steps stay, a pause is a gap."""
    run = run_from_columns([5.0, 5.1, 5.2, 5.3, 5.6, 5.7], [1, 2, 3, 4, 5, 6], name="other.csv")

    assert run.time_s.tolist() == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.6, 0.7])
    assert [(gap.after_sample, gap.missing, gap.cause) for gap in run.gaps] == [(3, 2, "conversion")]
    assert run.loss.complete
    assert run.converter is None


def test_imported_columns_with_uneven_steps():
    """Steps that vary by a factor of three are no gaps."""
    steps = np.array([0.01, 0.03, 0.02, 0.015, 0.028] * 20)
    run = run_from_columns(np.cumsum(steps), np.arange(100), name="other.csv")

    assert run.gaps == ()


def test_imported_counts_have_rails_only_with_a_converter():
    """Another instrument may count beyond 24 bits."""
    wide = run_from_columns([0, 1], [9_000_000, 5], name="x")
    known = run_from_columns([0, 1], [8388607, 5], name="x", converter=Converter(64))

    assert not wide.clipped.any()
    assert known.clipped.tolist() == [True, False]


@pytest.mark.parametrize(
    ("time", "counts", "what"),
    [
        ([], [], "one length"),
        ([1, 2], [1], "one length"),
        ([[1, 2]], [[1, 2]], "one length"),
        ([0, float("nan")], [1, 2], "not a number"),
        ([0, 1], [1, float("inf")], "not a number"),
        ([0, 1], [1, 2.5], "are these forces"),
        ([0, 1], [1, 3e9], "32 bits"),
        ([0, 1, 1], [1, 2, 3], "after row 2"),
        ([0, 2, 1], [1, 2, 3], "after row 2"),
    ],
)
def test_columns_that_are_no_recording(time, counts, what):
    """One clear line for each slip."""
    with pytest.raises(DataError, match=what):
        run_from_columns(time, counts, name="other.csv")


def test_damaged_stretches_read_well():
    """For people: how many bytes, where, why."""
    text = str(Damaged(40, 12, Damage.BAD_CHECKSUM))

    assert text == "12 bytes at 40: its checksum does not agree"
