"""Streams and files, sound and damaged: which records a reader keeps, what it reports, which samples come out."""

import hashlib

from . import pack
from .small_run import PERIOD, SmallRun, add_window, begin, example, whole
from .valid import LOG, SAMPLES, STATUS, TYPICAL

FLAGS = {
    "Whole": "Nothing is missing.",
    "Framing": "Delimiters in unusual numbers or places.",
    "Cut": "The stream begins or ends within a record.",
    "Damaged": "Bytes were changed.",
    "Noise": "Bytes that never were a record.",
    "Limit": "At, or just beyond, a limit.",
    "Repeated": "Records come more than once.",
    "Reordered": "Records come in another order.",
    "Interleaved": "Records of several runs, or records that belong to no run, in between.",
    "Missing": "Records are missing without a trace.",
    "MissedConversions": "The logger did not read some conversions.",
    "Incomplete": "The run is not complete.",
    "StoreFull": "Samples were not stored; the peak window has some of them.",
    "Contradiction": "Records that are sound and cannot all be true.",
    "Means": "A slow run: means in place of samples.",
    "Newer": "Records of a newer version or of an unknown kind.",
}


def cases():
    """Yield every case, in a fixed order."""
    yield from _framing()
    yield from _cuts()
    yield from _damage()
    yield from _order()
    yield from _several()
    yield from _gaps()
    yield from _steps()
    yield from _contradictions()
    yield from _ends()
    yield from _totals()
    yield from _means()
    yield from _newer()


def _framing():
    short = example()
    yield _case("example", "The short run that SPEC.md shows.", ["Whole"], short.frames(), [_run(short)])
    run = whole()
    frames = run.frames()
    yield _case("whole", "A complete run.", ["Whole"], frames, [_run(run)])
    head = pack.record("FILE", 0, 0, TYPICAL["FILE"][2])
    yield _case(
        "file-names-itself",
        "A file that says first what it is; that record belongs to no run.",
        ["Framing", "Whole"],
        [pack.frame(head), *frames],
        [_run(run)],
        [head, *run.records],
    )
    yield _case("empty", "No bytes: no records, no damage, no run.", ["Framing"], [], [])
    yield _case("only-delimiters", "Empty stretches are nothing.", ["Framing"], [b"\0" * 40], [])
    single = [b"\0"] + [frame[1:] for frame in frames]
    yield _case(
        "single-delimiters",
        "One delimiter between records is enough to read them.",
        ["Framing", "Whole"],
        single,
        [_run(run)],
        run.records,
    )
    many = [b"\0\0\0" + frame + b"\0\0" for frame in frames]
    yield _case(
        "many-delimiters",
        "More delimiters than needed.",
        ["Framing", "Whole"],
        many,
        [_run(run)],
        run.records,
    )


def _cuts():
    run = whole()
    frames = run.frames()
    short = frames[-1][:-1]
    yield _case(
        "last-delimiter-missing",
        "The end of a file ends the last record; its checksum decides.",
        ["Cut", "Whole"],
        [*frames[:-1], short],
        [_run(run)],
        run.records,
    )
    body = frames[-1][1:46]
    yield _case(
        "cut-in-last-record",
        "RUN_END is cut.",
        ["Cut", "Incomplete"],
        [*frames[:-1], b"\0", Bad(body, "BAD_STUFFING")],
        [_run(run, lost=[9], end=False)],
    )
    tail = frames[0][20:-1]
    yield _case(
        "joined-late",
        "The first record lacks its beginning.",
        ["Cut", "Incomplete"],
        [Bad(tail, "BAD_CHECKSUM"), b"\0", *frames[1:]],
        [_run(run, lost=[0], missing_records=[[0, 0]])],
    )


def _damage():
    run = whole()
    frames = run.frames()

    def hurt(number, change, errors):
        body = bytearray(frames[number][1:-1])
        change(body)
        pieces = bytes(body).split(b"\0")
        assert len(pieces) == len(errors)
        parts = [b"\0"]
        for piece, error in zip(pieces, errors, strict=True):
            parts += [Bad(piece, error), b"\0"]
        return [*frames[:number], *parts, *frames[number + 1 :]]

    def flip(body):
        body[30] ^= 1

    def zero(body):
        body[30] = 0

    lost_samples = {"lost": [4], "missing_records": [[4, 4]], "gaps": [(5, 6, "record")]}
    yield _case(
        "byte-changed",
        "One byte of a SAMPLES record: that record goes, its neighbours stay.",
        ["Damaged", "Incomplete"],
        hurt(4, flip, ["BAD_CHECKSUM"]),
        [_run(run, **lost_samples)],
    )
    yield _case(
        "byte-changed-to-zero",
        "A byte becomes a delimiter: one record, two damaged stretches.",
        ["Damaged", "Incomplete"],
        hurt(4, zero, ["BAD_STUFFING", "BAD_STUFFING"]),
        [_run(run, **lost_samples)],
    )
    joined = Bad(frames[4][1:-1] + b"\x55", "BAD_STUFFING")
    yield _case(
        "delimiter-changed",
        "A closing delimiter is changed: its record goes, the next one stays.",
        ["Damaged", "Incomplete"],
        [*frames[:4], b"\0", joined, *frames[5:]],
        [_run(run, **lost_samples)],
    )
    both = Bad(frames[4][1:-1] + frames[5][1:-1], "BAD_CHECKSUM")
    yield _case(
        "delimiters-lost",
        "Both delimiters between two records are lost: so are both records.",
        ["Damaged", "Incomplete"],
        [*frames[:4], b"\0", both, b"\0", *frames[6:]],
        [_run(run, lost=[4, 5], missing_records=[[4, 5]], gaps=[(5, 6, "record")])],
    )
    noise = bytes(i % 255 + 1 for i in range(600))
    yield _case(
        "noise-between",
        "600 bytes of noise between two records.",
        ["Noise"],
        [*frames[:3], Bad(noise, "TOO_LONG"), *frames[3:]],
        [_run(run)],
        run.records,
    )
    yield _case(
        "only-noise",
        "Noise alone: damage, but no run.",
        ["Noise"],
        [Bad(noise, "TOO_LONG"), b"\0", Bad(b"\x07" * 21, "BAD_CHECKSUM")],
        [],
    )
    odd = pack.record("SAMPLES", 4, 4, SAMPLES | {"first_us": 1000000})
    yield _case(
        "impossible-value",
        "A checksum that agrees does not make an impossible value true.",
        ["Damaged", "Incomplete"],
        [*frames[:4], b"\0", Bad(pack.stuff(odd), "BAD_VALUE"), b"\0", *frames[5:]],
        [_run(run, **lost_samples)],
    )
    window_helps = {"lost": [6], "missing_records": [[6, 6]], "gaps": []}
    yield _case(
        "peak-window-fills",
        "SAMPLES 12 to 17 are damaged, but the peak window has 12 to 18.",
        ["Damaged", "Incomplete"],
        hurt(6, flip, ["BAD_CHECKSUM"]),
        [_run(run, **window_helps)],
    )


def _order():
    run = whole()
    frames = run.frames()
    yield _case(
        "tail-repeated",
        "A READ was resumed a little too early: the same records twice.",
        ["Repeated", "Whole"],
        frames[:7] + frames[5:],
        [_run(run, duplicates=2)],
        run.records[:7] + run.records[5:],
    )
    yield _case(
        "file-twice",
        "The same file put together with itself.",
        ["Repeated", "Whole"],
        frames + frames,
        [_run(run, duplicates=len(frames))],
    )
    yield _case(
        "reversed",
        "All records in reverse order.",
        ["Reordered", "Whole"],
        frames[::-1],
        [_run(run)],
        run.records[::-1],
    )


def _several():
    run, other = whole(), whole(5, scale=-900)
    mixed, records = [], []
    for a, b in zip(run.records, other.records, strict=True):
        mixed += [pack.frame(a), pack.frame(b)]
        records += [a, b]
    yield _case(
        "two-runs-interleaved",
        "Records of two runs in turn.",
        ["Interleaved", "Whole"],
        mixed,
        [_run(run), _run(other)],
        records,
    )
    twin = whole(4, scale=-700, boot=0x0DDB0A75)
    yield _case(
        "same-number-twice",
        "Files of two loggers whose runs have the same number.",
        ["Interleaved", "Whole"],
        run.frames() + twin.frames(),
        [_run(run), _run(twin)],
    )
    frames = run.frames()
    between = [
        pack.record("STATUS", 0, 6, STATUS),
        pack.record("ANSWER", 0, 3, TYPICAL["ANSWER"][2]),
        pack.record("LOG", 0, 7, LOG),
        pack.record("IDENTITY", 0, 8, TYPICAL["IDENTITY"][2]),
    ]
    parts = frames[:5] + [pack.frame(data) for data in between] + frames[5:]
    yield _case(
        "link-capture",
        "What a link carried: records of no run in between.",
        ["Interleaved", "Whole"],
        parts,
        [_run(run)],
        run.records[:5] + between + run.records[5:],
    )


def _gaps():
    run = whole()
    frames = run.frames()
    yield _case(
        "record-missing",
        "A SAMPLES record is not there at all.",
        ["Missing", "Incomplete"],
        frames[:4] + frames[5:],
        [_run(run, lost=[4], missing_records=[[4, 4]], gaps=[(5, 6, "record")])],
    )
    yield _case(
        "begin-missing",
        "The first four records are not there: the time of the first sample left is 0.",
        ["Missing", "Incomplete"],
        frames[4:],
        [_run(run, lost=[0, 1, 2, 3], missing_records=[[0, 3]], gaps=[(-1, 6, "record")])],
    )
    yield _case(
        "first-samples-missing",
        "The first SAMPLES record is not there: a gap before the first sample; RUN_BEGIN tells when the run began.",
        ["Missing", "Incomplete"],
        frames[:3] + frames[4:],
        [_run(run, lost=[3], missing_records=[[3, 3]], gaps=[(-1, 6, "record")])],
    )
    yield _case(
        "last-samples-missing",
        "The last SAMPLES record is not there: a gap after the last sample, up to the end that RUN_END tells.",
        ["Missing", "Incomplete"],
        frames[:7] + frames[8:],
        [_run(run, lost=[7], missing_records=[[7, 7]], gaps=[(18, 5, "record")])],
    )
    yield _case(
        "only-window-left",
        "RUN_BEGIN and all SAMPLES are lost: times count from the first sample of the peak window.",
        ["Missing", "Incomplete"],
        [frames[8]],
        [
            _run(
                run,
                lost=[*range(8), 9],
                end=False,
                missing_records=[[0, 7]],
                missing_samples=12,
                gaps=[(-1, 12, "record")],
            )
        ],
    )
    missed = whole(missed_before=(9, 15))
    gaps = [(8, 1, "conversion"), (14, 1, "conversion")]
    yield _case(
        "conversions-missed",
        "Two conversions were not read: a longer step, and no sample number is skipped.",
        ["MissedConversions", "Whole"],
        missed.frames(),
        [_run(missed, gaps=gaps)],
    )


def _steps():
    just = begin()
    just.set_times(3 * PERIOD // 2, (9,))
    just.fill()
    yield _case(
        "step-one-and-a-half",
        "A step of one and a half times the usual one is no gap.",
        ["Limit", "Whole"],
        just.frames(),
        [_run(just)],
    )
    exact = begin(rate_mhz=62500)
    exact.set_times(1200, (9,))
    exact.fill()
    yield _case(
        "step-exactly-one-and-a-half",
        "62.5 conversions a second, and a step of 24 ms: one and a half times the usual one to the microsecond.",
        ["Limit", "Whole"],
        exact.frames(),
        [_run(exact)],
    )
    over = begin()
    over.set_times(3 * PERIOD // 2 + 1, (9,))
    over.fill(missed=1)
    yield _case(
        "step-over-one-and-a-half",
        "A longer one is a gap of one conversion.",
        ["Limit", "MissedConversions", "Whole"],
        over.frames(),
        [_run(over, gaps=[(8, 1, "conversion")])],
    )
    two = begin()
    two.set_times(7 * PERIOD // 2 + 1, (9,))
    two.fill(missed=3)
    yield _case(
        "step-three-and-a-half",
        "A little over three and a half times the usual step: rounded to four, so three conversions are missing.",
        ["Limit", "MissedConversions", "Whole"],
        two.frames(),
        [_run(two, gaps=[(8, 3, "conversion")])],
    )
    fifth = begin()
    fifth.set_times(11 * PERIOD // 5, (9,))
    fifth.fill(missed=1)
    yield _case(
        "step-two-and-a-fifth",
        "2.2 times the usual step: rounded to two, so one conversion is missing.",
        ["MissedConversions", "Whole"],
        fifth.frames(),
        [_run(fifth, gaps=[(8, 1, "conversion")])],
    )
    half = begin(rate_mhz=62500)
    half.set_times(2000, (9,))
    half.fill(missed=2)
    yield _case(
        "step-exactly-two-and-a-half",
        "62.5 conversions a second, and a step of 40 ms: halves are rounded up, so two conversions are missing.",
        ["Limit", "MissedConversions", "Whole"],
        half.frames(),
        [_run(half, gaps=[(8, 2, "conversion")])],
    )
    every = begin()
    every.set_times(2 * PERIOD, range(24))
    every.fill(missed=23)
    gaps = [(n, 1, "conversion") for n in range(23)]
    yield _case(
        "every-other-missed",
        "Every other conversion was not read: the usual step is that of RUN_BEGIN's rate, not the median.",
        ["MissedConversions", "Whole"],
        every.frames(),
        [_run(every, gaps=gaps)],
    )
    unknown = begin(rate_mhz=0)
    unknown.set_times(2 * PERIOD, range(24))
    unknown.fill()
    yield _case(
        "rate-unknown",
        "The rate is not known: then the usual step is the median.",
        ["Whole"],
        unknown.frames(),
        [_run(unknown)],
    )
    once = begin(rate_mhz=0)
    once.set_times(2 * PERIOD, (9,))
    once.shift(range(18, 24), 7 * PERIOD * 20)
    once.fill()
    yield _case(
        "rate-unknown-median",
        "The same; one pause as long as eight steps does not make the usual step longer.",
        ["MissedConversions", "Whole"],
        once.frames(),
        [_run(once, gaps=[(8, 1, "conversion"), (17, 7, "conversion")])],
    )
    even = begin(rate_mhz=0)
    del even.counts[23]
    even.set_times(1000, range(12, 23))
    for first in range(0, 23, 6):
        even.add_samples(range(first, min(first + 6, 23)))
    even.finish()
    yield _case(
        "rate-unknown-upper-median",
        "Eleven steps of 12.5 ms and eleven of 20 ms: the usual one is the upper of the two in the middle.",
        ["Limit", "Whole"],
        even.frames(),
        [_run(even)],
    )


def _contradictions():
    back = begin()
    back.add_samples(range(6))
    back.shift(range(6, 12), -4 * PERIOD * 20 - 10000)
    back.fill(6)
    yield _case(
        "time-goes-back",
        "Samples 6 to 9 are not later than sample 5: they are left out, and the run is not complete.",
        ["Contradiction", "Incomplete"],
        back.frames(),
        [_run(back, without=range(6, 10), complete=False, gaps=[(5, 4, "record"), (7, 5, "conversion")])],
    )
    still = begin()
    still.add_samples(range(6))
    still.shift(range(6, 24), -PERIOD * 20)
    still.fill(6)
    yield _case(
        "time-stands-still",
        "Sample 6 has the time of sample 5: it is left out, and the run is not complete.",
        ["Contradiction", "Limit", "Incomplete"],
        still.frames(),
        [_run(still, without=(6,), complete=False, gaps=[(5, 1, "record")])],
    )
    ahead = begin()
    ahead.add_samples(range(6))
    ahead.shift(range(6, 12), 3600 * 1000000)
    ahead.fill(6)
    yield _case(
        "time-far-ahead",
        "Samples 6 to 11 claim to be an hour later: those after them are not later, and are left out.",
        ["Contradiction", "Incomplete"],
        ahead.frames(),
        [
            _run(
                ahead,
                without=range(12, 24),
                complete=False,
                gaps=[(5, 288000, "conversion"), (11, 12, "record")],
            )
        ],
    )
    late = begin(first_us=5000)
    late.fill()
    yield _case(
        "begin-after-first-sample",
        "RUN_BEGIN tells of a later beginning than sample 0 has: the sample's own time counts.",
        ["Contradiction", "Whole"],
        late.frames(),
        [_run(late)],
    )
    lost = begin(first_us=200000)
    lost.fill()
    yield _case(
        "begin-after-all-that-is-left",
        "RUN_BEGIN tells of a later beginning than the first sample left has: times are never negative.",
        ["Contradiction", "Missing", "Incomplete"],
        lost.frames()[:3] + lost.frames()[4:],
        [
            _run(
                lost,
                lost=[3],
                missing_records=[[3, 3]],
                gaps=[(-1, 6, "record")],
                zero=75000,
            )
        ],
    )
    loses = begin()
    loses.add_samples(range(24))
    loses.add_window_of(range(9, 15), scale=3)
    loses.finish()
    yield _case(
        "window-against-samples",
        "A peak window has other counts for samples that SAMPLES has: those of SAMPLES count.",
        ["Contradiction", "Whole"],
        loses.frames(),
        [_run(loses)],
    )
    windows = begin()
    windows.add_samples(range(6))
    windows.add_window_of(range(8, 12), of=2)
    windows.add_window_of(range(10, 15), scale=3, rank=1, of=2)
    windows.finish(cause=2, samples_not_stored=18, peak_windows=2)
    given = [windows.counts[n] * (3 if n >= 12 else 1) for n in (*range(6), *range(8, 15))]
    yield _case(
        "window-against-window",
        "Two peak windows have other counts for samples 10 and 11: those of the earlier record count.",
        ["Contradiction", "StoreFull"],
        windows.frames(),
        [_run(windows, gaps=[(5, 2, "record"), (12, 9, "record")], missing_samples=11) | {"counts": given}],
    )
    odd = begin()
    odd.add_samples(range(6))
    odd.add_window_of(range(6, 12), shift_us=3600 * 1000000, of=1)
    odd.add_samples(range(12, 24))
    odd.finish(cause=2, samples_not_stored=6)
    yield _case(
        "window-out-of-time",
        "A peak window fills a hole with samples of another time: they are left out.",
        ["Contradiction", "Incomplete"],
        odd.frames(),
        [_run(odd, without=range(6, 12), complete=False, missing_samples=6, gaps=[(5, 6, "record")])],
    )
    for early, left_out, causes in ((-1, 6, ("record", "conversion")), (1, 8, ("conversion", "record"))):
        close = begin()
        close.add_samples(range(6))
        close.add_window_of(range(6, 9), shift_us=early * PERIOD * 20)
        close.shift(range(6, 9), early * PERIOD * 20)
        close.add_samples(range(9, 24))
        close.finish(cause=2, samples_not_stored=3)
        neighbour = left_out + early
        yield _case(
            f"window-at-the-time-of-sample-{neighbour}",
            f"Sample {left_out}, of a peak window, has the time of sample {neighbour}, its neighbour: it is left out.",
            ["Contradiction", "Limit", "StoreFull", "Incomplete"],
            close.frames(),
            [
                _run(
                    close,
                    without=(left_out,),
                    complete=False,
                    missing_samples=1,
                    gaps=[(5, 1, causes[0]), (7, 1, causes[1])],
                )
            ],
        )
    run = whole()
    frames = run.frames()
    other = pack.frame(pack.record("MARK", 4, 5, {"mark_s": 1, "mark_us": 0, "code": 0, "text": "other"}))
    stray = {
        "number": 4,
        "records": [5],
        "missing_records": [[0, 4]],
        "duplicates": 0,
        "unknown_records": 0,
        "complete": False,
        "missing_samples": 0,
        "samples": [],
        "counts": [],
        "time_us": [],
        "gaps": [],
    }
    yield _case(
        "index-again-with-other-bytes",
        "A record comes with run and index of an earlier one and other bytes: it begins another run.",
        ["Contradiction", "Interleaved"],
        [*frames, other],
        [_run(run), stray],
    )
    after = whole()
    after.records.append(pack.record("MARK", 4, 10, {"mark_s": 101, "mark_us": 0, "code": 0, "text": "late"}))
    after.held.append([])
    yield _case(
        "record-after-end",
        "A record after RUN_END: the run is not complete, as the hash does not cover it.",
        ["Contradiction", "Incomplete"],
        after.frames(),
        [_run(after, complete=False)],
    )
    hashed = whole()
    late = pack.record("MARK", 4, 10, {"mark_s": 101, "mark_us": 0, "code": 0, "text": "late"})
    hashed.records.pop()
    hashed.held.pop()
    hashed.finish(sha256=hashlib.sha256(b"".join([*hashed.records, late])).digest())
    hashed.records.append(late)
    hashed.held.append([])
    yield _case(
        "record-after-end-in-its-hash",
        "A record after RUN_END, whose hash covers it all the same: the run is not complete.",
        ["Contradiction", "Incomplete"],
        hashed.frames(),
        [_run(hashed, complete=False)],
    )
    holed = whole()
    kept = [index for index in range(9) if index != 5]
    holed.records.pop()
    holed.held.pop()
    holed.finish(sha256=hashlib.sha256(b"".join(holed.records[index] for index in kept)).digest())
    yield _case(
        "record-missing-and-not-in-the-hash",
        "A record is missing, and the hash of RUN_END leaves it out: the run is not complete.",
        ["Contradiction", "Missing", "Incomplete"],
        [holed.frames()[index] for index in (*kept, 9)],
        [_run(holed, lost=[5], missing_records=[[5, 5]])],
    )
    held = [
        pack.record("RECEIPT", 4, 5, TYPICAL["RECEIPT"][2]),
        pack.record("FILE", 4, 6, TYPICAL["FILE"][2]),
    ]
    yield _case(
        "receipt-and-file-in-a-run",
        "The same with RECEIPT and FILE.",
        ["Contradiction", "Interleaved", "Whole"],
        frames[:4] + [pack.frame(data) for data in held] + frames[4:],
        [_run(run)],
    )
    unsent = [
        pack.record("STATUS", 4, 5, STATUS),
        pack.record("COMMAND", 4, 6, TYPICAL["COMMAND"][2]),
        pack.record("ANSWER", 4, 7, TYPICAL["ANSWER"][2]),
        pack.record("LOG", 4, 8, LOG),
        pack.record("CALIBRATION", 4, 9, TYPICAL["CALIBRATION"][2]),
    ]
    yield _case(
        "unsent-kinds-in-a-run",
        "Records of kinds that are never stored have a run number: they belong to no run all the same.",
        ["Contradiction", "Interleaved", "Whole"],
        frames[:4] + [pack.frame(data) for data in unsent] + frames[4:],
        [_run(run)],
    )


def _on_rails():
    """A run, three samples of which are on a rail, and three of another quality than GOOD."""
    run = begin()
    run.counts[5], run.counts[8] = 8388607, -8388608
    run.quality |= {6: 2, 7: 1, 9: 7}
    return run


def _totals():
    def full(**changes):
        run = begin()
        run.add_samples(range(12))
        add_window(run)
        return run.finish(cause=2, samples_not_stored=12, **changes)

    gaps = [(18, 5, "record")]
    more = full(clipped=3, doubtful=4, lowest_counts=-8388608, highest_counts=8388607)
    yield _case(
        "totals-of-more-than-stored",
        "Totals count samples that were not stored too, so they may tell of more than is here.",
        ["StoreFull"],
        more.frames(),
        [_run(more, missing_samples=5, gaps=gaps)],
    )
    less = full(highest_counts=0)
    yield _case(
        "totals-of-less-than-stored",
        "They cannot tell of less: a stored sample is higher than the highest.",
        ["Contradiction", "StoreFull", "Incomplete"],
        less.frames(),
        [_run(less, missing_samples=5, gaps=gaps, complete=False)],
    )
    rails = _on_rails()
    rails.fill(clipped=3, doubtful=3)
    yield _case(
        "totals-of-rails",
        "On a rail by their count, high and low, and by their quality; doubtful are late and unknown ones, too.",
        ["Limit", "Whole"],
        rails.frames(),
        [_run(rails)],
    )
    for name in ("clipped", "doubtful"):
        few = _on_rails()
        few.add_samples(range(12))
        few.finish(cause=2, samples_not_stored=12, **({"clipped": 3, "doubtful": 3} | {name: 2}))
        yield _case(
            f"totals-of-fewer-{name}",
            f"Half of the samples were not stored, and {name} is less than those that were give.",
            ["Contradiction", "StoreFull", "Incomplete"],
            few.frames(),
            [_run(few, complete=False, missing_samples=12, gaps=[(11, 12, "record")])],
        )
    for name, value in (
        ("clipped", 1),
        ("doubtful", 1),
        ("lowest_counts", -31001),
        ("highest_counts", 8388607),
    ):
        run = whole()
        run.records.pop()
        run.held.pop()
        run.finish(**{name: value})
        yield _case(
            f"wrong-{name.replace('_', '-')}",
            f"All samples were stored, and {name} is not what they give.",
            ["Contradiction", "Incomplete"],
            run.frames(),
            [_run(run, complete=False)],
        )
    two = whole()
    two.records.pop()
    two.held.pop()
    two.finish(peak_windows=2)
    yield _case(
        "wrong-peak-windows",
        "RUN_END tells of two peak windows, one is here.",
        ["Contradiction", "Incomplete"],
        two.frames(),
        [_run(two, complete=False)],
    )
    none = whole()
    none.records.pop()
    none.held.pop()
    none.finish(peak_windows=0)
    yield _case(
        "wrong-peak-windows-fewer",
        "RUN_END tells of no peak window, one is here.",
        ["Contradiction", "Incomplete"],
        none.frames(),
        [_run(none, complete=False)],
    )
    stored = whole()
    stored.records.pop()
    stored.held.pop()
    stored.finish(samples_not_stored=1)
    yield _case(
        "wrong-not-stored",
        "One sample was not stored, says RUN_END, and all of them are here.",
        ["Contradiction", "Incomplete"],
        stored.frames(),
        [_run(stored, complete=False)],
    )
    beyond = begin()
    beyond.add_samples(range(12))
    beyond.add_samples(range(13, 24))
    beyond.finish(samples=23, peak_windows=0)
    yield _case(
        "number-beyond-the-last",
        "23 samples, the last of them with the number 23: it cannot be one of them.",
        ["Contradiction", "Incomplete"],
        beyond.frames(),
        [_run(beyond, complete=False, missing_samples=0, gaps=[(11, 1, "record")])],
    )


def _ends():
    run = whole()
    frames = run.frames()
    yield _case(
        "no-end",
        "A run without RUN_END is not complete.",
        ["Incomplete", "Missing"],
        frames[:-1],
        [_run(run, lost=[9], end=False)],
    )
    lost = SmallRun(4)
    lost.add(
        "RUN_END",
        TYPICAL["RUN_END"][2]
        | dict.fromkeys(("samples", "samples_not_stored", "missed", "clipped", "doubtful", "peak_windows"), 0)
        | {"cause": 4, "end_s": 0, "end_us": 0, "lowest_counts": 0, "highest_counts": 0}
        | {"overload": 0, "sha256": hashlib.sha256(b"").digest()},
    )
    yield _case(
        "memory-lost",
        "A run that was kept in memory and lost has RUN_END alone: it says so, and nothing is missing.",
        ["Whole"],
        lost.frames(),
        [_run(lost)],
    )
    wrong = whole()
    wrong.records.pop()
    wrong.held.pop()
    wrong.finish(sha256=bytes(32))
    yield _case(
        "wrong-hash",
        "The hash in RUN_END is that of something else.",
        ["Incomplete"],
        wrong.frames(),
        [_run(wrong, complete=False)],
    )
    totals = whole()
    totals.records.pop()
    totals.held.pop()
    totals.finish(samples=25)
    yield _case(
        "wrong-totals",
        "RUN_END tells of one sample more than there are.",
        ["Incomplete"],
        totals.frames(),
        [_run(totals, complete=False, missing_samples=1, gaps=[(23, 1, "record")])],
    )
    full = begin()
    full.add_samples(range(6))
    full.add_samples(range(6, 12))
    add_window(full)
    full.finish(cause=2, samples_not_stored=12)
    yield _case(
        "store-full",
        "12 samples were not stored; the peak window has 12 to 18 of them.",
        ["StoreFull"],
        full.frames(),
        [_run(full, missing_samples=5, gaps=[(18, 5, "record")])],
    )
    later = begin()
    later.add_samples(range(6))
    add_window(later)
    later.finish(cause=2, samples_not_stored=18)
    yield _case(
        "store-full-early",
        "The same, and the peak came after a pause in what is stored.",
        ["StoreFull"],
        later.frames(),
        [_run(later, missing_samples=11, gaps=[(5, 6, "record"), (12, 5, "record")])],
    )


def _means():
    slow = begin()
    means = slow.add_means(range(12), 4) + slow.add_means(range(12, 24), 4)
    add_window(slow)
    slow.finish()
    yield _case(
        "means",
        "A slow run: means in place of samples, and a peak window of samples. Nothing is missing.",
        ["Whole", "Means"],
        slow.frames(),
        [_run(slow, missing_samples=0) | {"means": means}],
    )
    window = [n for held in slow.held for n in held]
    yield _case(
        "means-missing",
        "The first MEANS record is not there: its samples are missing.",
        ["Means", "Missing", "Incomplete"],
        slow.frames()[:3] + slow.frames()[4:],
        [
            _run(slow, lost=[3], missing_records=[[3, 3]], missing_samples=12, gaps=[(-1, 12, "record")])
            | {"means": means[3:]}
        ],
    )
    assert window == list(range(12, 19))
    ended = begin()
    kept = ended.add_means(range(12), 4)
    ended.finish(cause=2, samples_not_stored=12, peak_windows=0)
    yield _case(
        "means-store-full",
        "Only means, and the store was full after half of them.",
        ["Means", "StoreFull"],
        ended.frames(),
        [_run(ended, missing_samples=12, gaps=[(-1, 12, "record")]) | {"means": kept}],
    )
    more = begin()
    more.add_means(range(24), 4)
    more.finish(clipped=1, doubtful=2)
    yield _case(
        "means-of-clipped",
        "How many samples behind means are clipped or doubtful only RUN_END tells.",
        ["Means", "Whole"],
        more.frames(),
        [_run(more, missing_samples=0) | {"means": more.means}],
    )
    between = begin()
    between.add_samples(range(6))
    behind = between.add_means(range(6, 18), 4)
    between.add_samples(range(18, 24))
    between.finish()
    yield _case(
        "means-between-samples",
        "Half of the samples stand behind means, between the others: nothing is missing.",
        ["Means", "Whole"],
        between.frames(),
        [_run(between, missing_samples=0) | {"means": behind}],
    )
    for name, take in (("lowest", min), ("highest", max)):
        mixed = begin()
        mixed.counts[20] += 1000  # sample 0 alone is the lowest
        first, then = (range(12), range(12, 24)) if name == "lowest" else (range(12, 24), range(12))
        behind = mixed.add_means(first, 4)
        mixed.add_samples(then)
        mixed.finish(**{f"{name}_counts": take(mixed.counts[n] for n in then)})
        yield _case(
            f"means-and-samples-{name}",
            f"Half of the samples stand behind means, and RUN_END leaves those out of its {name} count.",
            ["Means", "Contradiction", "Incomplete"],
            mixed.frames(),
            [_run(mixed, missing_samples=0, complete=False) | {"means": behind}],
        )
    wrong = begin()
    wrong.add_means(range(24), 4)
    wrong.finish(lowest_counts=0)
    yield _case(
        "means-contradict",
        "RUN_END tells of a lowest count above that of a mean.",
        ["Means", "Contradiction", "Incomplete"],
        wrong.frames(),
        [_run(wrong, missing_samples=0, complete=False) | {"means": wrong.means}],
    )


def _newer():
    run = begin()
    run.add_samples(range(12))
    unknown = pack.seal(pack.header(200, 4, len(run.records), 2) + b"something new")
    run.records.append(unknown)
    run.held.append([])
    run.add_samples(range(12, 24))
    add_window(run)
    run.finish()
    yield _case(
        "unknown-kind",
        "An unknown kind within a run has its place in the numbering and in the hash.",
        ["Newer", "Whole"],
        run.frames(),
        [_run(run, unknown=1)],
    )
    newer = begin()
    for numbers in (range(12), range(12, 24)):
        newer.add_samples(numbers)
        longer = newer.records[-1][:-4] + b"\x01\x02\x03"
        newer.records[-1] = pack.seal(longer[:1] + b"\x02" + longer[2:])
    add_window(newer)
    newer.finish()
    yield _case(
        "newer-samples",
        "SAMPLES of version 2 with three more bytes each.",
        ["Newer", "Whole"],
        newer.frames(),
        [_run(newer)],
    )


def _error(body):
    """What is wrong with a stretch before anyone looks at its fields."""
    if len(body) > 255:
        return "TOO_LONG"
    try:
        data = pack.unstuff(body)
    except pack.DecodeError:
        return "BAD_STUFFING"
    if len(data) < 12:
        return "TOO_SHORT"
    return None if pack.seal(data[:-4]) == data else "BAD_CHECKSUM"


class Bad:
    """A damaged stretch, without delimiters."""

    def __init__(self, body, error):
        assert b"\0" not in body
        found = _error(body)
        assert found == error or (found is None and error == "BAD_VALUE"), (found, error)
        self.body, self.error = body, error


def _run(
    run,
    lost=(),
    missing_records=(),
    duplicates=0,
    gaps=(),
    complete=None,
    end=True,
    unknown=0,
    missing_samples=None,
    without=(),
    zero=None,
):
    kept = [index for index in range(len(run.records)) if index not in lost]
    numbers = sorted({number for index in kept for number in run.held[index]} - set(without))
    if complete is None:
        complete = not lost and end
    if missing_samples is None:
        missing_samples = len(run.counts) - len(numbers)
    first = zero if zero is not None else run.time_us[numbers[0]] if 0 in lost else 0
    return {
        "number": run.number,
        "records": kept,
        "missing_records": [list(pair) for pair in missing_records],
        "duplicates": duplicates,
        "unknown_records": unknown,
        "complete": complete,
        "missing_samples": missing_samples,
        "samples": numbers,
        "counts": [run.counts[number] for number in numbers],
        "time_us": [run.time_us[number] - first for number in numbers],
        "gaps": [{"after_sample": after, "missing": many, "cause": cause} for after, many, cause in gaps],
    }


def _case(id_, comment, flags, parts, runs, records=None):
    data, damage, kept = b"", [], []
    for part in parts:
        if isinstance(part, Bad):
            damage.append(
                {
                    "offset": len(data),
                    "length": len(part.body),
                    "error": part.error,
                    "value": pack.DAMAGE[part.error],
                }
            )
            data += part.body
        else:
            data += part
            if part.strip(b"\0"):
                kept.append(_unframed(part))
    if records is not None:
        assert kept == records, id_
    return {
        "id": id_,
        "comment": comment,
        "flags": flags,
        "bytes": data.hex(),
        "records": [record.hex() for record in kept],
        "damage": damage,
        "runs": runs,
    }


def _unframed(part):
    return pack.unstuff(part.strip(b"\0"))
