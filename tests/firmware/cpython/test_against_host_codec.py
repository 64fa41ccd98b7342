"""Two codecs written apart read each other: what the firmware writes the host reads, and the reverse."""

import hashlib

from firmware_support import Logger, split_frames
from hypothesis import given
from hypothesis import strategies as st

from breakyard.run import read_run
from breakyard.wire.frame import frame
from breakyard.wire.layout import EndCause, Kind
from breakyard.wire.records import CommandRecord, build, parse
from logger.core import cobs, layout, record
from logger.core.commands import Commands
from logger.core.inbox import Inbox
from logger.core.outbox import Outbox

payloads = st.binary(max_size=242)


@given(st.integers(0, 255), st.integers(0, 65535), st.integers(0, 0xFFFFFFFF), payloads)
def test_frames_are_the_same_bytes(kind, run, index, payload):
    """COBS and CRC of both sides agree on any record."""
    buffer = bytearray(254)
    at = record.begin(buffer, kind, run, index)
    buffer[at : at + len(payload)] = payload
    length = record.finish(buffer, at + len(payload))
    target = bytearray(layout.MAX_FRAME)
    count = cobs.frame(buffer, length, target)

    assert bytes(target[:count]) == frame(bytes(buffer[:length]))


@given(st.integers(0, 0xFFFFFFFF), st.integers(0, 255), st.binary(max_size=100))
def test_commands_of_the_host_are_read(index, command, arguments):
    """Any command gets exactly one answer with its index and number, whatever its arguments."""
    logger = Logger()
    outbox = Outbox(logger.recorder)
    commands = Commands(logger.recorder, outbox)
    inbox = Inbox()
    for byte in frame(build(CommandRecord(run=0, index=index, command=command, arguments=arguments))):
        length = inbox.feed(byte)
        if length:
            commands.handle(inbox.record, length, 0)
    packet = bytearray(2000)
    sent = [parse(one) for one in split_frames(bytes(packet[: outbox.fill(packet, 2000, 0)]))]
    answers = [one for one in sent if type(one).__name__ == "Answer"]

    assert [(one.index, one.command) for one in answers] == [(index, command)]
    assert inbox.bad_records == 0


@given(st.binary(max_size=600))
def test_rubbish_is_dropped_without_an_error(data):
    """No bytes at all can do more to the logger than be counted; a command behind them is read."""
    inbox = Inbox()
    for byte in data + b"\x00":
        inbox.feed(byte)
    good = build(CommandRecord(run=0, index=1, command=5, arguments=b""))
    lengths = [inbox.feed(byte) for byte in frame(good)]

    assert lengths[-1] == len(good)
    assert bytes(inbox.record[: len(good)]) == good


conversion = st.tuples(
    st.integers(-8388608, 8388607),
    st.integers(5000, 400000),
    st.integers(0, 4),
    st.sampled_from([0, 0, 0, 1, 7]),
)


class NoDoubts:
    """Takes any sample for what it says: here it is not asked whether a converter can make them."""

    fault = 0

    def sample(self, counts, second, microsecond, quality, missed):
        return quality

    def watch(self, second, microsecond, line):
        return False


@given(st.lists(conversion, min_size=1, max_size=200))
def test_the_host_reads_a_run_as_it_was_sampled(conversions):
    """Counts and quality exactly, times to half a step, totals and hash; whatever the samples."""
    logger = Logger()
    logger.recorder.faults = NoDoubts()
    logger.samples(0, 20)
    assert logger.recorder.start(logger.ticks) == 0
    times = []
    elapsed = 20 * logger.step_us
    for counts, step, quality, missed in conversions:
        logger.step_us = step
        logger.sample(counts, quality, missed)
        elapsed += step
        times.append(elapsed)
    logger.recorder.stop(logger.ticks)
    logger.finish()
    records = logger.records(1)
    run = read_run(b"".join(frame(one) for one in records))

    assert run.counts.tolist() == [one[0] for one in conversions]
    assert run.quality.tolist() == [one[2] for one in conversions]
    assert run.loss.complete
    assert run.end is not None
    assert run.end.cause == EndCause.COMMAND
    assert run.end.missed == sum(one[3] for one in conversions[1:])
    assert run.end.sha256 == hashlib.sha256(b"".join(records[:-1])).digest()
    begin = run.begin.first_s * 1000000 + run.begin.first_us
    assert begin == times[0]
    for found, true in zip(run.time_s, times, strict=True):
        assert abs(found * 1e6 + begin - true) <= 11
    assert {parse(one).__class__.__name__ for one in records if one[0] == Kind.SAMPLES} == {"Samples"}
