"""Commands and answers, and what is sent when."""

from struct import pack, unpack_from

from firmware_support import Logger, command, end_of, split_frames

from logger.core import layout
from logger.core.commands import Commands
from logger.core.inbox import Inbox
from logger.core.outbox import Outbox


class Line:
    """A logger with one link."""

    def __init__(self, capacity=200000):
        self.logger = Logger(capacity)
        self.outbox = Outbox(self.logger.recorder)
        self.commands = Commands(self.logger.recorder, self.outbox)
        self.inbox = Inbox()
        self.logger.samples(0, 100)

    def send(self, data):
        for byte in data:
            length = self.inbox.feed(byte)
            if length:
                self.commands.handle(self.inbox.record, length, self.logger.ticks)

    def take(self, packet_size=100):
        """All that the logger has to send now, except log lines."""
        packet = bytearray(packet_size)
        received = b""
        while True:
            count = self.outbox.fill(packet, packet_size, self.logger.ticks)
            if not count:
                return [record for record in split_frames(received) if record[0] != layout.KIND_LOG]
            received += bytes(packet[:count])

    def ask(self, index, number, arguments=b""):
        """(error, results) of a command that gets one record as its answer."""
        self.send(command(index, number, arguments))
        (answer,) = self.take()
        assert answer[0] == layout.KIND_ANSWER
        assert unpack_from("<IB", answer, 4) == (index, number)
        return answer[9], answer[10:-4]

    def stream(self, index):
        """Switch STATUS on; the first comes at once, behind the answer."""
        self.send(command(index, layout.COMMAND_STREAM, b"\x01"))
        assert [record[0] for record in self.take()] == [layout.KIND_ANSWER, layout.KIND_STATUS]

    def read(self, index, run, first, count, follow=0):
        self.send(command(index, layout.COMMAND_READ, pack("<HIBB", run, first, count, follow)))
        return self.take()

    def record_run(self, samples=200):
        self.logger.recorder.start(self.logger.ticks)
        self.logger.samples(500, samples)
        run = self.logger.recorder.stop(self.logger.ticks)
        self.logger.finish()
        return run


def test_a_host_that_knocked_for_long_is_answered():
    """It knocks while the board starts; who is there is said, and HELLO finds room."""
    line = Line()
    for _ in range(100):
        line.commands.knock()
    line.send(command(1, layout.COMMAND_HELLO))
    records = line.take()

    assert records[0][0] == layout.KIND_IDENTITY
    assert [record[9] for record in records if record[0] == layout.KIND_ANSWER] == [0]


def test_arm_tells_run_and_room():
    line = Line()
    error, results = line.ask(1, layout.COMMAND_ARM)
    run, seconds = unpack_from("<HI", results, 0)

    assert error == 0
    assert run == 1
    # 200 000 bytes at 257 a record of 46 samples and 90.9/s: about 394 s, less what is put aside
    assert 370 < seconds < 394


def test_a_repeated_command_is_carried_out_once():
    line = Line()
    first = line.ask(1, layout.COMMAND_START)
    line.logger.samples(0, 20)
    assert line.ask(1, layout.COMMAND_START) == first
    assert line.ask(2, layout.COMMAND_STOP) == (0, b"\x01\x00")
    assert line.ask(2, layout.COMMAND_STOP) == (0, b"\x01\x00")
    line.logger.finish()
    assert line.ask(3, layout.COMMAND_STOP) == (0, b"\x00\x00")
    assert line.logger.store.runs == 1


def test_a_repeated_mark_is_written_once():
    line = Line()
    line.ask(1, layout.COMMAND_START)
    line.logger.samples(0, 20)
    answer = line.ask(2, layout.COMMAND_MARK, b"\x00\x01x\x00\x00")
    line.logger.samples(0, 20)
    assert line.ask(2, layout.COMMAND_MARK, b"\x00\x01x\x00\x00") == answer
    line.ask(3, layout.COMMAND_STOP)
    line.logger.finish()

    marks = [record for record in line.logger.records(1) if record[0] == layout.KIND_MARK]
    assert len(marks) == 1
    assert marks[0][8:16] == answer[1]


def test_set_is_refused_while_armed_or_recording():
    line = Line()
    line.ask(1, layout.COMMAND_ARM)
    assert line.ask(2, layout.COMMAND_SET, pack("<BI", 4, 700))[0] == layout.ERROR_BAD_STATE
    line.ask(3, layout.COMMAND_STOP)
    assert line.ask(4, layout.COMMAND_SET, pack("<BI", 4, 700)) == (0, pack("<I", 700))
    assert line.logger.settings.hang_ms == 700


def test_list_walks_through_the_runs():
    line = Line()
    for _ in range(3):
        line.record_run()
    error, results = line.ask(1, layout.COMMAND_LIST, pack("<H", 0))
    run, records, size, complete = unpack_from("<HIIB", results, 0)
    assert (error, run, complete) == (0, 1, 1)
    assert records == len(line.logger.records(1))
    assert size == sum([len(record) + 3 for record in line.logger.records(1)])
    assert line.ask(2, layout.COMMAND_LIST, pack("<H", 3))[1][0] == 3
    assert line.ask(3, layout.COMMAND_LIST, pack("<H", 4)) == (layout.ERROR_NO_SUCH_RUN, b"")


def test_read_gives_the_stored_records_and_then_the_answer():
    line = Line()
    run = line.record_run()
    stored = line.logger.records(run)
    answer_end = []
    first = 0
    for index in range(1, 10):
        got = line.read(index, run, first, 3)
        assert got[:-1] == stored[first : first + 3]
        next_index, finished = unpack_from("<IB", got[-1], 10)
        assert next_index == first + len(got) - 1
        first = next_index
        answer_end.append(finished)
        if finished:
            break

    assert first == len(stored)
    assert answer_end[:-1] == [0] * (len(answer_end) - 1)


def test_read_beyond_the_end():
    line = Line()
    run = line.record_run()
    number = len(line.logger.records(run))
    (answer,) = line.read(1, run, number, 10)
    assert unpack_from("<BIB", answer, 9) == (0, number, 1)
    (answer,) = line.read(2, run, number + 1, 10)
    assert answer[9] == layout.ERROR_NO_SUCH_RECORD
    (answer,) = line.read(3, run + 1, 0, 10)
    assert answer[9] == layout.ERROR_NO_SUCH_RUN


def test_following_waits_for_records_and_for_the_end():
    line = Line()
    line.ask(1, layout.COMMAND_START)
    got = line.read(2, 1, 0, 64, 1)
    assert got == []
    for _ in range(200):
        line.logger.sample(500)
        got += line.take()
    assert len(got) >= 3 + 4
    assert line.ask(3, layout.COMMAND_STOP)[0] == 0
    line.logger.finish()
    got += line.take()

    assert got[:-1] == line.logger.records(1)
    assert unpack_from("<IB", got[-1], 10) == (len(got) - 1, 1)
    assert end_of(got[:-1])["samples"] == 200


def test_a_new_read_replaces_the_one_under_way():
    line = Line()
    line.ask(1, layout.COMMAND_START)
    line.logger.samples(500, 20)
    assert len(line.read(2, 1, 0, 64, 1)) == 3  # waits for more
    (answer,) = line.read(3, 1, 0, 0)
    assert unpack_from("<I", answer, 4)[0] == 3
    line.logger.samples(500, 100)
    assert line.take() == []


def test_a_repeated_read_gets_its_answer_again_and_no_records():
    line = Line()
    run = line.record_run()
    got = line.read(1, run, 0, 64)
    assert line.read(1, run, 0, 64) == got[-1:]
    line.outbox.link_lost()
    assert line.read(1, run, 0, 64) == got  # the records may have been lost with the link


def test_losing_the_link_loses_nothing_of_the_store():
    line = Line()
    line.ask(1, layout.COMMAND_ARM)
    line.stream(2)
    line.logger.samples(0, 20)
    line.logger.samples(60000, 50)
    line.outbox.link_lost()
    line.inbox.clear()
    line.logger.samples(0, 600)
    line.logger.finish()

    assert line.take() == []  # no STATUS either
    assert line.logger.store.complete(1)
    assert line.read(3, 1, 0, 64)[:-1] == line.logger.records(1)


def test_erase_wants_the_hash():
    line = Line()
    run = line.record_run()
    digest = end_of(line.logger.records(run))["sha256"]
    wrong = bytes([digest[0] ^ 1]) + digest[1:]
    assert line.ask(1, layout.COMMAND_ERASE, pack("<H", run) + wrong)[0] == layout.ERROR_WRONG_HASH
    assert line.ask(2, layout.COMMAND_ERASE, pack("<H", run) + digest) == (0, b"")
    assert line.ask(2, layout.COMMAND_ERASE, pack("<H", run) + digest) == (0, b"")
    assert line.ask(3, layout.COMMAND_ERASE, pack("<H", run) + digest)[0] == layout.ERROR_NO_SUCH_RUN


def test_erase_of_a_run_being_recorded():
    line = Line()
    line.ask(1, layout.COMMAND_START)
    line.logger.samples(0, 20)
    assert line.ask(2, layout.COMMAND_ERASE, pack("<H", 1) + bytes(32))[0] == layout.ERROR_BAD_STATE


def test_a_read_of_an_erased_run_ends():
    line = Line()
    run = line.record_run()
    digest = end_of(line.logger.records(run))["sha256"]
    line.send(command(1, layout.COMMAND_READ, pack("<HIBB", run, 0, 64, 0)))
    packet = bytearray(20)
    line.outbox.fill(packet, 20, 0)  # the first record is half sent
    line.send(command(2, layout.COMMAND_ERASE, pack("<H", run) + digest))
    rest = bytearray(100000)
    count = line.outbox.fill(rest, 100000, 0)
    records = split_frames(bytes(packet) + bytes(rest[:count]))

    answers = [(record[8], record[9]) for record in records if record[0] == layout.KIND_ANSWER]
    assert answers == [(layout.COMMAND_ERASE, 0), (layout.COMMAND_READ, layout.ERROR_NO_SUCH_RUN)]


def test_set_clock_goes_into_the_next_run():
    line = Line()
    line.ask(1, layout.COMMAND_SET_CLOCK, pack("<IIIII", 1, 2, 1777809600, 999999, 3500))
    run = line.record_run()
    assert unpack_from("<IIIII", line.logger.records(run)[0], 37) == (1, 2, 1777809600, 999999, 3500)


def test_clock_that_was_never_set():
    line = Line()
    run = line.record_run()
    assert unpack_from("<IIIII", line.logger.records(run)[0], 37) == (0, 0, 0, 0, layout.CLOCK_NEVER_SET)


CALIBRATION = (
    b"\x06spring" + pack("<IB", 1777809600, 1) + b"\x00\x00\x80" + pack("<Iffffff", 9, 1, 2, 0, 0, 500, 900)
)


def test_a_calibration_is_kept_as_it_came():
    line = Line()
    assert line.ask(1, layout.COMMAND_READ_CALIBRATION)[0] == layout.ERROR_NO_SUCH_RECORD
    assert line.ask(2, layout.COMMAND_STORE_CALIBRATION, CALIBRATION + b"h" * 32) == (0, b"h" * 32)
    line.send(command(3, layout.COMMAND_READ_CALIBRATION))
    kept, answer = line.take()

    assert kept[0] == layout.KIND_CALIBRATION
    assert kept[8:-4] == CALIBRATION + b"h" * 32
    assert answer[9:-4] == b"\x00" + b"h" * 32


def test_a_calibration_is_refused_while_armed_or_recording_and_when_it_is_none():
    line = Line()
    line.ask(1, layout.COMMAND_ARM)
    assert line.ask(2, layout.COMMAND_STORE_CALIBRATION, CALIBRATION + bytes(32))[0] == layout.ERROR_BAD_STATE
    line.ask(3, layout.COMMAND_STOP)
    for bad in (
        CALIBRATION[:11] + b"\x04" + CALIBRATION[12:],  # input
        CALIBRATION[:15] + bytes(4) + CALIBRATION[19:],  # scale
        CALIBRATION[:19] + pack("<f", float("inf")) + CALIBRATION[23:],
    ):
        assert line.ask(4, layout.COMMAND_STORE_CALIBRATION, bad + bytes(32))[0] == layout.ERROR_BAD_ARGUMENT
    assert line.logger.store.calibration == b""


def test_time():
    line = Line()
    error, results = line.ask(1, layout.COMMAND_TIME)
    assert error == 0
    assert unpack_from("<II", results, 0) == (1, 100000)


def test_status_comes_at_its_interval():
    line = Line()
    line.stream(1)
    number = 0
    last = None
    for i in range(1000):
        line.logger.sample(i)
        for record in line.take():
            assert record[0] == layout.KIND_STATUS
            number += 1
            last = record
    assert 99 <= number <= 110  # 11 s at 10/s, a little less when 100 ms fall between samples
    state, _, _ = unpack_from("<BII", last, 8)
    assert state == layout.STATE_IDLE
    assert unpack_from("<I", last, 36)[0] == 90909
    line.ask(2, layout.COMMAND_STREAM, b"\x00")
    line.logger.samples(0, 50)
    assert line.take() == []


def test_worst_quality_is_told_once():
    line = Line()
    line.stream(1)
    line.logger.sample(0, 4)
    line.logger.samples(0, 10)
    assert [record[23] for record in line.take()] == [4]
    line.logger.samples(0, 10)
    assert [record[23] for record in line.take()] == [0]


def test_packets_of_any_size_carry_the_same_bytes():
    whole = None
    for size in (1, 7, 20, 182, 256, 4096):
        line = Line()
        run = line.record_run()
        line.send(command(1, layout.COMMAND_READ, pack("<HIBB", run, 0, 64, 0)))
        got = line.take(size)
        if whole is None:
            whole = got
        assert got == whole


def test_damaged_commands_are_counted_and_get_no_answer():
    line = Line()
    frame = bytearray(command(1, layout.COMMAND_STOP))
    frame[5] ^= 0x40
    line.send(frame)
    line.send(b"\x00" + b"\x07" * 300 + b"\x00")
    line.send(b"\x00\x09\x01\x00")
    assert line.take() == []
    assert line.inbox.bad_records == 3
    assert line.ask(2, layout.COMMAND_STOP)[0] == 0


def test_answers_go_before_status_and_status_before_records():
    line = Line()
    run = line.record_run()
    line.take()
    line.stream(1)
    line.logger.samples(0, 100)  # a second: so seldom while a stored run is sent
    line.send(command(2, layout.COMMAND_READ, pack("<HIBB", run, 0, 2, 0)))
    line.send(command(3, layout.COMMAND_TIME))
    kinds = [record[0] for record in line.take()]

    assert kinds == [
        layout.KIND_ANSWER,
        layout.KIND_STATUS,
        layout.KIND_RUN_BEGIN,
        layout.KIND_IDENTITY,
        layout.KIND_ANSWER,
    ]


def test_log_lines_tell_of_runs():
    line = Line()
    line.record_run()
    packet = bytearray(2000)
    records = split_frames(bytes(packet[: line.outbox.fill(packet, 2000, 0)]))

    assert [record[18:-4] for record in records] == [b"run 1 began", b"run 1 ended, 200 samples"]


def test_a_link_that_checks_by_itself_needs_one_delimiter():
    """Between two records, not before the first of a link; the records are the same."""
    line = Line()
    run = line.record_run()
    packet = bytearray(4000)
    line.outbox.fill(packet, 4000, 0)
    received = []
    for checked in (False, True, True):
        line.outbox = Outbox(line.logger.recorder, checked)
        line.outbox.read(1, run, 0, 64, False)
        if len(received) == 2:
            assert line.outbox.fill(packet, 300, 0) == 300
            line.outbox.link_lost()
            line.outbox.read(1, run, 0, 64, False)
        received.append(bytes(packet[: line.outbox.fill(packet, 4000, 0)]))
    twice, once, anew = received

    assert twice[0] == once[0] == once[-1] == 0
    assert once == twice.replace(b"\x00\x00", b"\x00")
    assert len(split_frames(once)) == len(twice) - len(once) + 1 > 5
    assert split_frames(once) == split_frames(twice)
    assert anew == once
