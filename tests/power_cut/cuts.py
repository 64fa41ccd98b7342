"""Cuts the power at operations of the flash, starts again, and compares with what was promised.

MICROPYPATH=tests/power_cut:firmware:.frozen micropython -X heapsize=64m tests/power_cut/cuts.py
    [STRIDE [FIRST [PATIENCE [AGAIN]]]]

Every STRIDE-th operation from FIRST on is cut, in each of the three ways; 1 means every single one. After
every AGAIN-th of these cuts of a way, two more things are done to the same image: the power is cut again at
each operation of the repair, and a run is recorded and cut off before anything was repaired. Gives up after
PATIENCE failures. Prints the numbers and "failed: N"; each failure with the operation that was cut.

What a run's file gives is read through the store once for the same bytes and length of file, however many
cuts leave these; `_read_before` remembers it.
"""

import hashlib
import os
import sys
from binascii import crc32

import vfs
from flash_model import BLOCK, SWAPPED, SYNC, WAY_NAMES, WAYS, Flash, Replay
from workload import CALIBRATION, FOLDER, MOUNT, SECRETS, Day, totals_of

from logger.core import layout
from logger.core.flash_store import FlashStore, file_name
from logger.drivers.flash_files import FileSecrets, FlashFiles

BLOCKS = 48


class Lost(Exception):
    """A promise was broken."""


def ensure(good, what):
    if not good:
        raise Lost(what)


def a_day():
    """Three kinds of runs, one erased, a calibration twice, a store that fills up."""
    day = Day(BLOCKS)
    day.command_run(700)
    day.store.keep_calibration(CALIBRATION)
    day.keep_secret(b"key of the first day")
    day.pull(900)
    day.command_run(300)
    day.erase(1)
    day.store.keep_calibration(b"\x05other" + CALIBRATION[7:])
    day.keep_secret(b"another key, and where it stands " + bytes(range(64)))
    day.pull(1500)
    day.erase(3)
    day.command_run(60)
    day.command_run(100000 // 11)
    day.close()
    return day


def a_day_in_memory():
    """A board that must not write its flash while it records."""
    day = Day(BLOCKS, while_recording=False)
    day.pull(900)
    day.command_run(700)
    day.erase(1)
    day.pull(2000)
    day.close()
    return day


class Promised:
    """What holds after so many operations."""

    def __init__(self, day, operations):
        self.safe = {}
        self.begun = set()
        self.erased = set()
        self.erasing = set()
        self.number = 0
        self.kept = {"calibration": [b""], SECRETS: [b""]}
        for at, what, value in day.promises:
            if at > operations:
                # What was under way may have happened or not.
                break
            if what == "number":
                self.number = value
            elif what == "begun":
                self.begun.add(value)
            elif what == "safe":
                self.safe[value[0]] = value[1]
            elif what == "erasing":
                self.erasing.add(value)
            elif what == "erased":
                self.erased.add(value)
            elif what == "keeping":
                self.kept[value[0]].append(value[1])
            elif what == "kept":
                self.kept[value[0]] = [value[1]]


_read_before = {}


def records_of(store, run, written):
    """How many records a run has, each as it was written; an end that was added after a cut is not counted."""
    digest = hashlib.sha256()
    with open(FOLDER + "/" + file_name(run), "rb") as file:
        digest.update(file.read())
    same = (run, store.records(run), store.size(run), digest.digest())
    if same not in _read_before:
        found = read_records(store, run)
        if found[-1][0] == layout.KIND_RUN_END and found[-1][8] == layout.END_POWER_LOST:
            end = found.pop()
            told = [int.from_bytes(end[at : at + 4], "little") for at in (17, 21, 29, 33)]
            told += [signed(end[37:40]), signed(end[40:43]), end[43]]
            ensure(end[44:76] == hashlib.sha256(b"".join(found)).digest(), f"run {run}: hash in its end")
            ensure(tuple(told) == totals_of(found), f"run {run}: totals of its end")
        ensure(found == written[: len(found)], f"run {run}: a record is not what was written")
        _read_before[same] = len(found), store.sha256(run)
    number, end_hash = _read_before[same]
    ensure(store.sha256(run) == end_hash, f"run {run}: hash")
    return number


def read_records(store, run):
    buffer = bytearray(layout.MAX_RECORD)
    found = []
    for index in range(store.records(run)):
        length = store.read(run, index, buffer)
        ensure(length, f"run {run}: record {index} cannot be read")
        found.append(bytes(buffer[:length]))
    return found


def check_run(store, run, day, promised):
    """Returns how many records there are."""
    if was_lost_in_memory(store, run):
        # The run had begun, or was only awaited: its number was told, and nothing of it was safe.
        ensure(not day.while_recording, f"run {run}: nothing was kept in memory")
        ensure(run <= promised.number + 1, f"run {run}: nobody was told of it")
        ensure(not promised.safe.get(run, 0), f"run {run}: there were safe records")
        return 1
    written = day.written.get(run)
    ensure(written is not None and run in promised.begun, f"run {run} was never begun")
    ensure(store.complete(run), f"run {run} is not complete")
    number = records_of(store, run, written)
    safe = promised.safe.get(run, 0)
    ensure(number >= safe, f"run {run}: {safe} records safe, {number} left")
    return number


def was_lost_in_memory(store, run):
    buffer = bytearray(layout.MAX_RECORD)
    if store.records(run) != 1 or not store.read(run, 0, buffer) or buffer[0] != layout.KIND_RUN_END:
        return False
    ensure(buffer[8] == layout.END_MEMORY_LOST, f"run {run}: an end and nothing else")
    ensure(bytes(buffer[44:76]) == hashlib.sha256(b"").digest(), f"run {run}: hash in its end")
    ensure(store.complete(run) and not any(buffer[17:44]), f"run {run}: totals of its end")
    return True


def signed(raw):
    return ((raw[0] | raw[1] << 8 | raw[2] << 16) ^ 0x800000) - 0x800000


def mount(flash):
    vfs.mount(vfs.VfsLfs2(flash, progsize=256), MOUNT)


def start(flash, day):
    """A start, and time to repair; then nothing is awaited."""
    mount(flash)
    store = FlashStore(FlashFiles(FOLDER), day.while_recording)
    while store.repair():
        pass
    store.rest()
    return store


def check_store(store, day, promised):
    number = 0
    run = store.find(1)
    while run:
        number += check_run(store, run, day, promised)
        ensure(run not in promised.erased, f"run {run} was erased and is back")
        run = store.find(run + 1)
    for run in promised.safe:
        gone = run in promised.erased or run in promised.erasing
        ensure(gone or promised.safe[run] == 0 or store.find(run) == run, f"run {run} is lost")
    ensure(store.last_run >= promised.number, "the number of runs went back")
    for run in promised.begun:
        ensure(store.last_run >= run, "the number of runs went back")
    ensure(store.calibration in promised.kept["calibration"], "the calibration is another")
    ensure(FileSecrets(FlashFiles(FOLDER), SECRETS).load() in promised.kept[SECRETS], "the key is another")
    ensure(not store.problem, store.problem)
    return number


def sound_record(run):
    body = bytearray(b"\x0b\x01" + run.to_bytes(2, "little") + bytes(36))
    return bytes(body) + crc32(body).to_bytes(4, "little")


def check_goes_on(store):
    """The next run can be written, and is there after a proper start."""
    store.prepare()
    if store.room() < 3000:
        return
    run = store.last_run + 1
    store.begin(run)
    record = bytearray(b"\x04\x01" + run.to_bytes(2, "little") + bytes(40))
    ensure(store.append(record, len(record)), "nothing can be added")
    store.commit()
    store.end(bytes(32))
    ensure(store.complete(run) and store.size(run) == 47, "the next run is not complete: " + store.problem)


def check_image(image, day, promised):
    flash = Flash(data=image)
    store = start(flash, day)
    try:
        number = check_store(store, day, promised)
        vfs.umount(MOUNT)
        store = start(flash, day)  # what was repaired stays so
        ensure(store.notes == [], f"repaired twice: {store.notes}")
        ensure(check_store(store, day, promised) == number, "another start finds other records")
        check_goes_on(store)
    finally:
        vfs.umount(MOUNT)
    return number


def check_second_cut(image, day, promised):
    """A run is begun before anything is repaired, its first record is safe, and the power goes again."""
    flash = Flash(data=image)
    mount(flash)
    store = FlashStore(FlashFiles(FOLDER))
    store.prepare()
    run = store.last_run + 1
    record = sound_record(run)
    if store.room() > 3000:
        store.begin(run)
        ensure(store.append(record, len(record)), "nothing can be added")
        store.commit()
    vfs.umount(MOUNT)
    store = start(flash, day)
    try:
        if store.find(run) == run:
            ensure(records_of(store, run, [record]) == 1, "the run after the cut is not what was written")
            ensure(store.records(run) == 2 and store.complete(run), "the run after the cut has no end")
            ensure(store.erase(run), "the run after the cut cannot be erased")
        check_store(store, day, promised)
    finally:
        vfs.umount(MOUNT)


def cuts_of_repair(image, day, promised):
    """Cuts the power again during the repair, at each of its operations."""
    flash = Flash(data=bytearray(image))
    flash.record = True
    start(flash, day)
    vfs.umount(MOUNT)
    flash.record = False
    replay = Replay(image, flash.journal)
    done = 0
    while replay.number < len(flash.journal):
        for way in WAYS:
            again = replay.cut(way)
            if again is not None:
                check_image(again, day, promised)
                done += 1
        replay.step()
    return done


def go_through(name, day, stride, first, patience, every):
    journal = day.flash.journal
    failed = 0
    _read_before.clear()
    done = [0, 0, 0]
    again = second = 0
    replay = Replay(day.initial, journal)
    while replay.number < len(journal) and failed < patience:
        number = replay.number
        for way in WAYS:
            wanted = number >= first and (number - first) % stride == 0
            data = replay.cut(way) if wanted else None
            if data is None:
                continue
            # Where blocks are out of order, what came after the latest sync cannot have been promised.
            promised = Promised(day, replay.safe_number if way == SWAPPED else number)
            try:
                copy = bytearray(data) if done[way] % every == 0 else None
                check_image(data, day, promised)
                done[way] += 1
                if copy:
                    again += cuts_of_repair(copy, day, promised)
                    check_second_cut(copy, day, promised)
                    second += 1
            except Exception as error:
                failed += 1
                print("FAIL", name, WAY_NAMES[way], "at", number, type(error).__name__, error)
                if not isinstance(error, Lost):
                    sys.print_exception(error)
        replay.step()
    operations = sum([1 for operation in journal if operation[0] != SYNC])
    print(name, "operations:", operations, "records:", sum([len(r) for r in day.written.values()]))
    for way in WAYS:
        print(name, WAY_NAMES[way] + ":", done[way])
    print(name, "cut again during the repair:", again)
    print(name, "cut again before the repair:", second)
    return failed, sum(done) + again + second


def main(stride=1, first=0, patience=20, every=8):
    failed = cuts = 0
    for name, make in (("flash", a_day), ("memory", a_day_in_memory)):
        day = make()
        # The state before the journal: an empty file system with the folder of the runs.
        day.initial = initial_image()
        one = go_through(name, day, stride, first, patience - failed, every)
        failed += one[0]
        cuts += one[1]
    print("cuts:", cuts)
    print("failed:", failed)
    sys.exit(1 if failed else 0)


def initial_image():
    flash = Flash(BLOCKS)
    vfs.VfsLfs2.mkfs(flash, progsize=256)
    vfs.mount(vfs.VfsLfs2(flash, progsize=256), MOUNT)
    os.mkdir(FOLDER)
    vfs.umount(MOUNT)
    ensure(len(flash.data) == BLOCKS * BLOCK, "size")
    return flash.data


if __name__ == "__main__":
    main(*[int(word) for word in sys.argv[1:]])
