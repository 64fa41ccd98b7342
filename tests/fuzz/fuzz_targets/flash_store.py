"""A folder of the board's flash with anything in it: the store starts, repairs what it can, and records again."""

from fuzz_targets.feeding import RAW, SOUND, Cursor, data_of, stream_of, vectors
from logger.core import layout, record
from logger.core.flash_store import FlashStore, file_name

MAX_LEN = 500
NAMES = (
    "00001.run",
    "00002.run",
    "7.run",
    "70000.run",
    "x.run",
    "counter",
    "calibration",
    "-1.run",
    "65535.run",
)


class Files:
    """A folder in memory; a wrong name is an error of the system, as on a board."""

    block_size = 4096

    def __init__(self, files):
        self.files = files
        self.open = {}

    def sizes(self):
        return [(name, len(data)) for name, data in self.files.items()]

    def free_blocks(self):
        return 40 - sum(len(data) // 4096 + 1 for data in self.files.values())

    def append(self, name, data):
        self.open[name] = self.open.get(name, b"") + bytes(data)

    def sync(self):
        for name, data in self.open.items():
            self.files[name] = self.files.get(name, b"") + data
        self.open = {}

    close = sync

    def read(self, name, offset, buffer):
        if name not in self.files:
            raise OSError(2)
        piece = self.files[name][offset : offset + len(buffer)]
        buffer[: len(piece)] = piece
        return len(piece)

    def replace(self, name, data):
        self.files[name] = bytes(data)

    def remove(self, name):
        if name not in self.files:
            raise OSError(2)
        del self.files[name]


def seeds():
    streams = [data_of(bytes.fromhex(case["bytes"])) for case in vectors("streams")]
    found = [bytes([0, len(one) & 255, len(one) >> 8]) + one for one in streams]
    found += [bytes([0, len(one) & 255, len(one) >> 8]) + one[:-9] for one in streams]
    for name in range(2, len(NAMES)):
        found.append(bytes([name, 0, 0]))
        found.append(bytes([name, 9, 0, RAW, 7]) + b"1234567")
        found.append(bytes([name, 11, 0, SOUND, 9, 3, 1, 7, 0, 0, 0, 0, 0, 1]))
    return found


def try_one(data):
    cursor = Cursor(data)
    files = {}
    while cursor.more:
        name = NAMES[cursor.number() % len(NAMES)]
        files[name] = stream_of(cursor.take(cursor.number(2) % 600))
    before = dict(files)
    store = FlashStore(Files(files))
    steps = 0
    while store.repair():
        steps += 1
        assert steps <= 2 * len(data)  # at most a step for each record, and one for each run
    while store.repair():
        pass
    for name, content in before.items():  # what is damaged stays, and what was there is never changed
        if content and name.endswith(".run"):
            assert files[name].startswith(content)
    buffer = bytearray(layout.MAX_RECORD + 2)
    run = 0
    held = 0
    while run := store.find(run + 1):
        held += 1
        last = store.records(run) - 1
        assert last >= 0
        for index in {0, 1, last}:
            length = store.read(run, index, buffer)
            assert length <= layout.MAX_RECORD
            if length:
                assert record.damage(buffer, length) == 0
                assert record.numbers(buffer) == (run, index)
        if store.complete(run):
            assert len(store.sha256(run)) == 32
    assert held == store.runs
    again = FlashStore(Files(dict(files)))  # repaired once, it is found whole
    assert again.runs == store.runs
    assert (
        again.last_run <= store.last_run
    )  # a run of which nothing was kept leaves its number to the counter
    assert not any("lost its power" in note for note in again.notes)
    if store.last_run < layout.MAX_RUN:
        _record_one(store, files)


def _record_one(store, files):
    run = store.last_run + 1
    store.prepare()
    store.begin(run)
    buffer = bytearray(layout.MAX_RECORD)
    at = record.begin(buffer, layout.KIND_LOG, run, 0)
    assert store.append(buffer, record.finish(buffer, at + 20))
    store.commit()
    assert file_name(run) in files
    assert store.records(run) == 1
