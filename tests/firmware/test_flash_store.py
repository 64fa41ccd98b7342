"""The run store on flash, over files in memory that forget what was not synchronised."""

import hashlib
from struct import pack, pack_into

from firmware_support import Logger, end_of, raises

from logger.core import layout, record
from logger.core.flash_store import MAX_RUNS, RESERVED_BLOCKS, FlashStore, file_name
from logger.core.store import framed


class Files:
    """What FlashFiles does, in memory; `safe` is what a power cut leaves. Counts what is asked of the flash."""

    block_size = 4096

    def __init__(self, safe=None, blocks=200):
        self.safe = safe if safe is not None else {}
        self.blocks = blocks
        self.open = {}
        self.syncs = 0
        self.appends = 0
        self.broken = False

    def sizes(self):
        return [(name, len(self.safe[name])) for name in self.safe]

    def free_blocks(self):
        used = 0
        for name in self.safe:
            if name.endswith(".run"):  # littlefs keeps small files in their directory
                used += (len(self.safe[name]) + 4095) // 4096
        return self.blocks - used

    def append(self, name, data):
        self.appends += 1
        if self.broken:
            raise OSError(28)
        self.open[name] = self.open.get(name, b"") + bytes(data)

    def sync(self):
        self.syncs += 1
        for name in self.open:
            self.safe[name] = self.safe.get(name, b"") + self.open[name]
        self.open = {}

    def close(self):
        if not self.broken:
            self.sync()

    def read(self, name, offset, buffer):
        if name not in self.safe:
            raise OSError(2)
        piece = self.safe[name][offset : offset + len(buffer)]
        buffer[: len(piece)] = piece
        return len(piece)

    def replace(self, name, data):
        if self.broken:
            raise OSError(28)
        self.safe[name] = bytes(data)

    def remove(self, name):
        del self.safe[name]


def a_record(run, index, size=60, kind=layout.KIND_LOG):
    """A sound record with some zeros in it."""
    buffer = bytearray(layout.MAX_RECORD)
    at = record.begin(buffer, kind, run, index)
    for i in range(size):
        buffer[at + i] = (index * i) & 7
    return buffer, record.finish(buffer, at + size)


def put(store, run, index, size=60, held=False):
    buffer, length = a_record(run, index, size)
    return store.append(buffer, length, held)


def put_end(store, run, index, digest):
    """RUN_END by hand."""
    buffer = bytearray(layout.MAX_RECORD)
    at = record.begin(buffer, layout.KIND_RUN_END, run, index)
    at = record.pack(buffer, at, "BIIIIIIIiiB", (0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0))
    at = record.pack(buffer, at, "S", (digest,))
    length = record.finish(buffer, at)
    assert store.append(buffer, length, True)
    store.end(digest)


def whole_run(store, number, size=60):
    """A run of `number` records and its end; returns its number."""
    store.prepare()
    run = store.last_run + 1
    store.begin(run)
    store.hold(200)
    for index in range(number):
        assert put(store, run, index, size)
    put_end(store, run, number, bytes([run]) * 32)
    return run


def open_run(store, number):
    """A run of `number` records that are safe, and no end; returns its number."""
    store.prepare()
    run = store.last_run + 1
    store.begin(run)
    for index in range(number):
        assert put(store, run, index)
    store.commit()
    return run


def got(store, run, index):
    buffer = bytearray(layout.MAX_RECORD)
    return bytes(buffer[: store.read(run, index, buffer)])


def is_record(store, run, index, size=60):
    buffer, length = a_record(run, index, size)
    return got(store, run, index) == bytes(buffer[:length])


def test_records_come_back_in_any_order_also_after_a_start():
    files = Files()
    store = FlashStore(files)
    for number in (3, 400, 30):
        whole_run(store, number)
    for again in (store, FlashStore(files)):
        assert [again.find(1), again.find(2), again.find(3), again.find(4)] == [1, 2, 3, 0]
        assert again.records(2) == 401
        assert again.complete(2)
        assert again.sha256(2) == bytes([2]) * 32
        for index in (399, 0, 17, 18, 200, 5, 398, 399, 100):
            assert is_record(again, 2, index)
        assert got(again, 2, 401) == b""
        assert got(again, 4, 0) == b""
        assert again.records(4) == 0
        assert again.size(4) == 0
        assert again.sha256(4) is None
        assert again.notes == []


def test_the_file_holds_the_frames_as_they_are_on_a_link():
    files = Files()
    store = FlashStore(files)
    run = whole_run(store, 40, 200)
    data = files.safe[file_name(run)]
    size = 40 * framed(212) + framed(80)

    assert len(data) == size == store.size(run)
    assert data[0] == 0
    assert data[-1] == 0
    assert len([piece for piece in data.split(b"\x00") if piece]) == 41


def test_a_run_being_written_is_read_across_what_is_safe_and_what_is_not():
    files = Files()
    store = FlashStore(files)
    store.prepare()
    store.begin(1)
    for index in range(100):
        assert put(store, 1, index)
        if index % 7 == 0:
            store.commit()
        for earlier in (0, index // 2, index):
            assert is_record(store, 1, earlier)
    assert not store.complete(1)


def started(files):
    """A store after a start, when nothing is left to repair."""
    store = FlashStore(Files(files.safe))
    while store.repair():
        pass
    return store


def test_only_what_was_committed_survives_and_gets_an_end():
    files = Files()
    store = FlashStore(files)
    whole_run(store, 20)
    store.prepare()
    store.begin(2)
    for index in range(30):
        assert put(store, 2, index)
        if index == 24:
            store.commit()
    again = FlashStore(Files(files.safe))
    assert (again.records(2), again.complete(2)) == (25, False)  # at once, and readable
    assert is_record(again, 2, 24)
    again = started(files)

    assert again.records(1) == 21
    assert again.records(2) == 26
    assert again.complete(2)
    end = got(again, 2, 25)
    whole = b"".join([got(again, 2, index) for index in range(25)])
    assert end_of([end])["cause"] == layout.END_POWER_LOST
    assert again.sha256(2) == end[44:76] == hashlib.sha256(whole).digest()
    assert len(again.notes) == 1
    assert FlashStore(Files(files.safe)).notes == []


def test_totals_of_a_repaired_run():
    files = Files()
    store = FlashStore(files)
    store.prepare()
    store.begin(1)
    buffer = bytearray(layout.MAX_RECORD)
    at = record.begin(buffer, layout.KIND_SAMPLES, 1, 0)
    at = record.pack(buffer, at, "IIiB", (5, 70, 999000, 3))
    at = record.put_sample(buffer, at, -7, 0, 0)
    at = record.put_sample(buffer, at, layout.RAIL_HIGH, layout.QUALITY_RAIL, 600)
    at = record.put_sample(buffer, at, 9, layout.QUALITY_LATE, 500)
    store.append(buffer, record.finish(buffer, at))
    store.commit()
    again = started(files)
    end = end_of([got(again, 1, 1)])

    assert end["samples"] == 8
    assert end["samples_not_stored"] == 5
    assert (end["clipped"], end["doubtful"]) == (1, 2)
    assert (end["lowest"], end["highest"]) == (-7, layout.RAIL_HIGH)
    assert (end["end_s"], end["end_us"]) == (71, 21000)


def test_a_damaged_tail_is_never_handed_out():
    for damage in (b"\x00\x05abc", b"\xff" * 5000, bytes(300), b"\x00" + b"\x07" * 900 + b"\x00"):
        files = Files()
        open_run(FlashStore(files), 50)
        files.safe[file_name(1)] += damage
        again = started(files)

        assert again.records(1) == 51
        assert again.complete(1)
        for index in (49, 0, 30):
            assert is_record(again, 1, index)
        assert end_of([got(again, 1, 50)])["cause"] == layout.END_POWER_LOST


def two_lost_runs():
    """Files after two power cuts, the second before anything was repaired."""
    files = Files()
    for _ in range(2):
        open_run(FlashStore(files), 40)
        files = Files(files.safe)
    return files


def test_the_power_may_go_again_before_anything_is_repaired():
    store = FlashStore(two_lost_runs())
    assert [store.find(run) for run in (1, 2, 3)] == [1, 2, 0]
    assert len(store.notes) == 2
    while store.repair():
        pass
    for run in (1, 2):
        assert store.complete(run)
        assert store.records(run) == 41


def test_a_repair_waits_while_a_run_is_recorded_and_disturbs_no_reading():
    files = two_lost_runs()
    store = FlashStore(files)
    for index in range(20):
        assert store.repair()
        assert is_record(store, 2, index)
        assert is_record(store, 1, index)
    store.prepare()
    run = store.last_run + 1
    store.begin(run)
    assert not store.repair()
    put(store, run, 0)
    put_end(store, run, 1, bytes(32))
    steps = 0
    while store.repair():
        steps += 1
    assert steps == 20 + 1 + 40 + 1
    assert store.complete(1)
    assert store.complete(2)
    assert got(store, 1, 40) == got(started(files), 1, 40)


def test_a_repair_that_cannot_read_writes_nothing_and_is_tried_at_the_next_start():
    files = two_lost_runs()
    store = FlashStore(files)
    store.repair()
    read = files.read
    files.read = lambda *_: (_ for _ in ()).throw(OSError(5))
    while store.repair():
        pass
    files.read = read
    assert store.problem.startswith("flash: ")
    assert not store.complete(1)
    again = started(files)
    assert (again.complete(1), again.records(1)) == (True, 41)


def test_damage_in_the_middle_costs_its_own_records_only():
    files = Files()
    run = whole_run(FlashStore(files), 200)
    data = bytearray(files.safe[file_name(run)])
    size = framed(72)
    data[100 * size + 10] ^= 1
    data[103 * size : 103 * size + 3 * size] = b"\xff" * (3 * size)
    files.safe[file_name(run)] = bytes(data)
    store = FlashStore(Files(files.safe))
    missing = [index for index in range(200) if not is_record(store, run, index)]

    assert missing == [100, 103, 104, 105]
    assert store.complete(run)
    for index in (106, 102, 101, 199):
        assert is_record(store, run, index)
    assert got(store, run, 100) == got(store, run, 103) == b""


def test_a_last_record_with_a_wrong_checksum_is_none():
    """Whole between its zeros, of this run, next in turn: only its checksum tells that a bit of it flipped."""
    files = Files()
    open_run(FlashStore(files), 50)
    data = bytearray(files.safe[file_name(1)])
    place = len(data) - 1
    while data[place] < 0x20:  # codes of the stuffing are less here, where every eighth byte is zero
        place -= 1
    data[place] ^= 1
    files.safe[file_name(1)] = bytes(data)
    again = started(files)

    assert again.records(1) == 50
    assert is_record(again, 1, 48)
    assert end_of([got(again, 1, 49)])["cause"] == layout.END_POWER_LOST


def test_numbers_of_runs_never_go_back():
    files = Files()
    store = FlashStore(files)
    for _ in range(3):
        whole_run(store, 2)
    for run in (1, 2, 3):
        assert store.erase(run)
    assert FlashStore(Files(files.safe)).last_run == 3
    store.prepare()  # armed: a host may have been told of run 4
    again = FlashStore(Files(files.safe))

    assert again.last_run == 4
    assert again.runs == 0


def test_erase_wants_a_complete_run_and_makes_room():
    files = Files()
    store = FlashStore(files)
    before = store.room()
    run = whole_run(store, 100, 200)
    store.prepare()
    store.begin(2)
    put(store, 2, 0)

    assert not store.erase(2)
    assert not store.erase(7)
    put_end(store, 2, 1, bytes(32))
    assert store.erase(2)
    assert is_record(store, run, 50, 200)
    assert store.erase(run)
    assert store.room() == before
    assert [name for name in files.safe if name.endswith(".run")] == []


def test_room_is_that_of_the_free_blocks_less_a_reserve():
    files = Files(blocks=RESERVED_BLOCKS + 10)
    store = FlashStore(files)

    assert store.room() == 10 * (4096 - 8)
    store.prepare()
    store.begin(1)
    store.hold(1000)
    put(store, 1, 0)
    assert store.room() == 10 * (4096 - 8) - 1000 - framed(72)


def test_what_was_promised_is_not_given_away():
    """Records are appended until one is refused; what was held for the end of the run still goes in."""
    store = FlashStore(Files(blocks=RESERVED_BLOCKS + 2))
    store.prepare()
    store.begin(1)
    promised = 2 * framed(200)
    store.hold(promised)
    records = 0
    while put(store, 1, records):
        records += 1

    assert 0 <= store.room() < framed(72)
    for _ in range(2):
        assert put(store, 1, records, 188, held=True)
        records += 1
    assert not put(store, 1, records, held=True)


def test_a_full_store_still_takes_the_end_of_the_run():
    files = Files(blocks=RESERVED_BLOCKS + 3)
    logger = Logger(store=FlashStore(files))
    logger.samples(0, 200)
    assert logger.recorder.arm() == layout.ERROR_OK
    logger.samples(0, 40)
    for top in (900000, 500000, 700000, 400000):
        logger.samples(top, 400)
        logger.samples(0, 200)
    logger.samples(0, 600)
    logger.finish()
    records = logger.records(1)
    end = end_of(records)

    assert end["cause"] == layout.END_STORE_FULL
    assert end["peak_windows"] == 4
    assert end["samples_not_stored"] > 0
    assert end["highest"] == 900000
    assert end["sha256"] == hashlib.sha256(b"".join(records[:-1])).digest() == logger.store.sha256(1)
    assert files.free_blocks() >= RESERVED_BLOCKS
    assert logger.recorder.arm() == layout.ERROR_STORE_FULL
    assert FlashStore(Files(files.safe)).notes == []


class TightFiles(Files):
    """As littlefs needs room: a block for the copy of the last one, which it writes anew after each `sync`
    (its DESIGN.md, "CTZ skip-lists"), and a pair for a directory that must move off a worn block ("Metadata pairs").
    """

    refused = 0

    def append(self, name, data):
        size = len(self.safe.get(name, b"")) + len(self.open.get(name, b"")) + len(data)
        others = sum([(len(self.safe[one]) + 4095) // 4096 for one in self.safe if one != name])
        if others + (size + 4095) // 4096 + 3 > self.blocks:
            self.refused += 1
            raise OSError(28)
        super().append(name, data)


def test_the_file_system_is_never_asked_for_more_than_it_has():
    """A store that fills up, again and again at other places in a block: no error, and each run has its end."""
    for blocks in range(RESERVED_BLOCKS + 2, RESERVED_BLOCKS + 6):
        for rest in range(0, 1200, 150):
            files = TightFiles(blocks=13)
            files.safe["00001.run"] = bytes(4096 * (13 - blocks - 1) + 1)
            logger = Logger(store=FlashStore(files))
            logger.samples(0, 100 + rest)
            assert logger.recorder.arm() == layout.ERROR_OK
            logger.samples(0, 40)
            logger.samples(900000, 900 + 1000 * (blocks - RESERVED_BLOCKS))
            logger.samples(0, 600)
            logger.finish()

            assert files.refused == 0
            assert end_of(logger.records(2))["cause"] == layout.END_STORE_FULL


def test_too_many_runs_are_a_full_store():
    store = FlashStore(Files(blocks=1000))
    for _ in range(MAX_RUNS):
        whole_run(store, 1)

    store.prepare()
    assert store.room() == 0
    assert raises(ValueError, store.begin, store.last_run + 1)
    assert store.erase(1)
    assert store.room() > 0


def test_a_flash_that_fails_is_told_and_the_logger_goes_on():
    files = Files()
    logger = Logger(store=FlashStore(files))
    logger.samples(0, 50)
    assert logger.recorder.start(logger.ticks) == layout.ERROR_OK
    logger.samples(0, 200)
    files.broken = True
    logger.samples(0, 200)
    logger.recorder.stop(logger.ticks)
    logger.finish()

    assert [text for _, text in logger.recorder.log if text.startswith("flash: ")]
    assert not logger.store.complete(1)
    files.broken = False
    assert started(files).complete(1)
    assert logger.recorder.start(logger.ticks) == layout.ERROR_OK


def test_what_is_not_safe_is_never_a_second_old():
    for step_us in (6667, 10870, 12500, 100000):  # 150, 92, 80, 10 a second
        files = Files()
        logger = Logger(store=FlashStore(files), step_us=step_us)
        logger.samples(0, 60)
        logger.recorder.start(logger.ticks)
        waiting = 0
        syncs = files.syncs
        longest = 0
        for _ in range(20000000 // step_us):
            logger.sample(5)
            waiting += step_us
            if files.syncs != syncs:
                syncs = files.syncs
                waiting = 0
            longest = max(longest, waiting)

        assert longest <= logger.settings.commit_ms * 1000 + step_us
        assert files.syncs <= 2 * 20000 // logger.settings.commit_ms


def test_on_a_board_that_must_not_write_while_recording():
    files = Files()
    store = FlashStore(files, while_recording=False, ram_bytes=12000)
    logger = Logger(store=store)
    logger.samples(0, 100)
    logger.recorder.arm()
    asked = (files.syncs, files.appends)
    logger.samples(0, 40)
    logger.samples(500000, 3000)
    assert (files.syncs, files.appends) == asked
    assert store.records(1) > 30
    logger.samples(0, 1000)
    logger.finish()
    records = logger.records(1)
    end = end_of(records)

    assert end["cause"] == layout.END_STORE_FULL  # its memory was
    assert end["peak_windows"] == 1
    assert FlashStore(Files(files.safe)).sha256(1) == end["sha256"]
    assert files.appends - asked[1] == 3  # in pieces, so that no step is long


def test_calibration_survives_and_damage_is_told():
    files = Files()
    store = FlashStore(files)
    assert store.keep_calibration(b"payload of some bytes")
    assert FlashStore(Files(files.safe)).calibration == b"payload of some bytes"
    files.safe["calibration"] = b"payload of sOme bytes" + files.safe["calibration"][-4:]
    again = FlashStore(Files(files.safe))

    assert again.calibration == b""
    assert len(again.notes) == 1


def test_files_of_others_are_left_alone():
    others = ("notes.txt", "x.run", "7.run", "70000.run", "-0001.run")
    files = Files({"00009.run": b"no records", "00003.run": b""})
    for name in others:
        files.safe[name] = b"" if "7.run" in name else b"?"
    store = FlashStore(files)

    assert store.runs == 0
    assert store.last_run == 9
    assert set(files.safe) == set(others) | {"00009.run"}
    assert len(store.notes) == 5


def test_a_record_of_another_run_in_the_file_is_passed_over():
    files = Files()
    run = whole_run(FlashStore(files), 5)
    other = bytearray(layout.MAX_RECORD)
    pack_into("<BBHI", other, 0, layout.KIND_LOG, 1, run + 1, 99)
    length = record.finish(other, 20)
    files.safe[file_name(run)] += b"\x00\x0d" + bytes(other[:length]).replace(b"\x00", b"\x01") + b"\x00"
    store = FlashStore(Files(files.safe))

    assert store.records(run) == 6
    assert pack("<H", run + 1) != pack("<H", run)


def _armed(files, while_recording):
    logger = Logger(store=FlashStore(files, while_recording, 60000))
    logger.samples(0, 200)
    assert logger.recorder.arm() == layout.ERROR_OK
    return logger


def test_a_run_lost_with_its_memory_says_so():
    """Armed, or in the middle of a run: a board that keeps it in memory cannot tell which, and writes one record."""
    for recording in (False, True):
        files = Files()
        logger = _armed(files, False)
        logger.samples(0, 40)
        if recording:
            logger.samples(900000, 400)
        assert logger.recorder.state == (layout.STATE_RECORDING if recording else layout.STATE_ARMED)
        store = FlashStore(Files(files.safe), False, 60000, layout.RESET_POWER)

        assert store.notes == ["run 1, awaited or kept in memory, was lost with the power"]
        assert (store.runs, store.records(1), store.complete(1)) == (1, 1, True)
        buffer = bytearray(layout.MAX_RECORD)
        length = store.read(1, 0, buffer)
        end = end_of([bytes(buffer[:length])])
        assert end["cause"] == layout.END_MEMORY_LOST
        assert end["samples"] == end["samples_not_stored"] == end["lowest"] == end["highest"] == 0
        assert end["sha256"] == hashlib.sha256(b"").digest() == store.sha256(1)
        assert buffer[length - 5] == layout.RESET_POWER
        later = FlashStore(Files(files.safe), False, 60000)
        assert later.notes == []  # said once
        assert later.last_run == 1
        assert later.erase(1)


def test_a_run_that_was_only_awaited_on_flash_is_told_and_not_made_up():
    files = Files()
    _armed(files, True)
    store = FlashStore(Files(files.safe))

    assert store.notes == ["a run was awaited when the power went: arm again"]
    assert store.runs == 0
    assert store.last_run == 1  # its number was told, and is not given again


def test_nothing_is_told_of_a_run_that_was_not_awaited_any_more():
    """Disarmed, ended, ended by a fault, or refused."""
    for while_recording in (True, False):
        files = Files()
        logger = _armed(files, while_recording)
        logger.recorder.stop(logger.ticks)
        logger.samples(0, 1)
        assert FlashStore(Files(dict(files.safe)), while_recording, 60000).notes == []

        logger = _armed(files, while_recording)
        logger.samples(0, 40)
        logger.samples(900000, 100)
        logger.samples(0, 600)
        logger.finish()
        logger.samples(0, 1)
        run = logger.store.last_run
        store = FlashStore(Files(dict(files.safe)), while_recording, 60000)
        assert store.notes == []
        assert store.complete(run)
        assert store.erase(run)
        assert FlashStore(Files(dict(store._files.safe)), while_recording, 60000).notes == []

        logger = _armed(files, while_recording)
        logger.idle(3000)  # the converter has stopped
        assert logger.recorder.state == layout.STATE_FAULT
        assert FlashStore(Files(dict(files.safe)), while_recording, 60000).notes == []


def test_the_loss_of_a_run_in_memory_is_written_once():
    """A cut between the record of the loss and the number's own file leaves one record all the same."""
    files = Files()
    _armed(files, False)
    safe = dict(files.safe)
    FlashStore(Files(safe), False, 60000)
    safe["counter"] = files.safe["counter"]  # as if it had not come to that
    store = FlashStore(Files(safe), False, 60000)
    assert (store.runs, store.records(1)) == (1, 1)
