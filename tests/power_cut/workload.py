"""A day of a logger in short, on a flash that remembers: what was written, and from when on it was safe."""

import os
from struct import pack, unpack_from

import vfs
from flash_model import Flash

from logger.core import layout
from logger.core.flash_store import FlashStore
from logger.core.identity import Identity
from logger.core.recorder import Recorder
from logger.core.settings import Settings
from logger.core.timebase import Timebase
from logger.drivers.flash_files import FileSecrets, FlashFiles

MOUNT = "/flash"
FOLDER = MOUNT + "/runs"
SECRETS = "secrets"
STEP_US = 11000
CALIBRATION = b"\x06spring" + pack("<IB", 1777809600, 1) + bytes(31) + bytes(range(32))


class Watched(FlashStore):
    """Tells of each promise that the store has made, with the number of operations before it."""

    def __init__(self, files, day, while_recording):
        self.day = day
        super().__init__(files, while_recording, 4096 if while_recording else 60000)

    def prepare(self):
        super().prepare()
        self.day.promise("number", self.last_run + 1)

    def begin(self, run):
        self.day.written[run] = []
        super().begin(run)
        self.day.promise("begun", run)

    def append(self, buffer, length, held=False):
        done = super().append(buffer, length, held)
        if done:
            self.day.written[self.last_run].append(bytes(buffer[:length]))
        return done

    def commit(self):
        super().commit()
        if self._while_recording:
            self.day.promise("safe", (self._writing, len(self.day.written[self._writing])))

    def end(self, sha256):
        run = self._writing
        super().end(sha256)
        if not self.problem:
            self.day.promise("safe", (run, len(self.day.written[run])))

    def erase(self, run):
        self.day.promise("erasing", run)
        done = super().erase(run)
        self.day.promise("erased", run)
        return done

    def keep_calibration(self, payload):
        self.day.promise("keeping", ("calibration", payload))
        done = super().keep_calibration(payload)
        self.day.promise("kept", ("calibration", payload))
        return done


class Day:
    """Runs the real recorder on the real store on the real file system; nothing else writes the flash."""

    def __init__(self, blocks, while_recording=True):
        self.flash = Flash(blocks)
        self.while_recording = while_recording
        self.written = {}
        self.promises = []
        vfs.VfsLfs2.mkfs(self.flash, progsize=256)
        vfs.mount(vfs.VfsLfs2(self.flash, progsize=256), MOUNT)
        os.mkdir(FOLDER)
        self.flash.record = True
        self.files = FlashFiles(FOLDER)
        self.store = Watched(self.files, self, while_recording)
        self.settings = Settings()
        self.ticks = 0
        identity = Identity(bytes(8), 77, "test", "test")
        self.recorder = Recorder(Timebase(0), self.store, identity, self.settings)

    def promise(self, what, value):
        self.promises.append((len(self.flash.journal), what, value))

    def samples(self, number, counts=0, step=0):
        for i in range(number):
            self.ticks = (self.ticks + STEP_US) & 0x3FFFFFFF
            self.recorder.push(counts + i * step + (i * 7919) % 61, self.ticks, 0, 0)
            self.recorder.service(self.ticks)

    def pull(self, samples):
        """Armed, a load comes and goes, the run ends."""
        self.samples(120)
        assert self.recorder.arm() == layout.ERROR_OK, self.store.problem
        self.samples(40)
        self.samples(samples, 30000, 1100)
        self.samples(60)
        self.recorder.stop(self.ticks)
        self.finish()

    def command_run(self, samples):
        """START, a mark, STOP."""
        assert self.recorder.start(self.ticks) == layout.ERROR_OK, self.store.problem
        self.samples(samples // 2, 500, 3)
        time = self.recorder.timebase
        self.recorder.writer.mark(time.second, time.microsecond, layout.MARK_VIDEO, b"flash")
        self.samples(samples // 2, 900, -3)
        self.recorder.stop(self.ticks)
        self.finish()

    def finish(self):
        while self.recorder.writer.active:
            self.recorder.service(self.ticks)
        # However full it is: what was put aside is enough for the end of the run, and the file system never says no.
        assert not self.store.problem, self.store.problem
        assert self.store.complete(self.recorder.writer.run)

    def keep_secret(self, data):
        """A key and what goes with it."""
        self.promise("keeping", (SECRETS, data))
        assert FileSecrets(self.files, SECRETS).save(data)
        self.promise("kept", (SECRETS, data))

    def erase(self, run):
        assert self.store.erase(run)

    def erase_all(self):
        while self.store.runs:
            self.erase(self.store.find(1))

    def close(self):
        vfs.umount(MOUNT)


def signed(raw):
    return ((raw[0] | raw[1] << 8 | raw[2] << 16) ^ 0x800000) - 0x800000


def totals_of(records):
    """What RUN_END must say of these records: samples, not stored, clipped, doubtful, lowest, highest, windows."""
    samples = found = clipped = doubtful = windows = 0
    lowest = 1 << 24
    highest = -lowest
    for record in records:
        if record[0] == layout.KIND_PEAK_WINDOW:
            windows += 1
        if record[0] != layout.KIND_SAMPLES:
            continue
        samples = unpack_from("<I", record, 8)[0] + record[19]
        found += record[19]
        for at in range(20, 20 + 5 * record[19], 5):
            counts = signed(record[at : at + 3])
            quality = record[at + 4] >> 5
            clipped += quality == 2 or counts in (layout.RAIL_LOW, layout.RAIL_HIGH)
            doubtful += quality != 0
            lowest = min(lowest, counts)
            highest = max(highest, counts)
    if not found:
        lowest = highest = 0
    return samples, samples - found, clipped, doubtful, lowest, highest, windows
