"""Any bytes to a logger that records: it answers with sound records, keeps its runs, and queues no more than it may.

Over a link that anyone can open, without a key, nothing that is worth a seal may happen; over a cable everything may,
and a run disappears only with its own hash.
"""

from breakyard.wire.damage import Damaged
from breakyard.wire.frame import NEED_DATA, FrameReader
from fuzz_targets.feeding import SOUND, Cursor, data_of, records, sent_streams, stream_of
from logger.core import auth, layout
from logger.core.commands import Commands
from logger.core.identity import Identity
from logger.core.inbox import Inbox
from logger.core.outbox import _QUEUE, Outbox
from logger.core.recorder import Recorder
from logger.core.settings import Settings
from logger.core.store import MemoryStore
from logger.core.timebase import Timebase

MAX_LEN = 400
TICKS_MASK = 0x3FFFFFFF


def seeds():
    commands = [one[:-4] for one in records() if one[0] == layout.KIND_COMMAND]
    many = b"".join(bytes([0, 3, SOUND, len(one)]) + one for one in commands)
    found = [bytes([trusted]) + many for trusted in (0, 1)]
    for stream in sent_streams():
        found += [bytes([trusted]) + data_of(stream) for trusted in (0, 1)]
    return found


class Counting(MemoryStore):
    """A store that tells of erasures which had no right hash."""

    def erase(self, run):
        assert self.complete(run)
        self.erased = getattr(self, "erased", 0) + 1
        return super().erase(run)


def try_one(data):
    cursor = Cursor(data)
    trusted = bool(cursor.number() & 1)
    store = Counting(6000)
    settings = Settings()
    recorder = Recorder(Timebase(0), store, Identity(bytes(8), 7, "test", "test"), settings)
    outbox = Outbox(recorder)
    keys = auth.Keys(auth.MemorySecrets(), bytes)
    keys.set(bytes(range(32)), layout.ACCESS_STATUS)
    commands = Commands(recorder, outbox, auth.Gate(keys, trusted))
    inbox = Inbox()
    reader = FrameReader()
    packet = bytearray(300)
    ticks = 0
    before = settings.values()
    for chunk in _chunks(cursor):
        ticks = _pass_time(recorder, chunk[:1], ticks)
        for byte in chunk:
            length = inbox.feed(byte)
            if length:
                commands.handle(inbox.record, length, ticks)
        assert len(outbox._queue) <= _QUEUE
        for _ in range(8):
            reader.receive_data(bytes(packet[: outbox.fill(packet, 60, ticks)]))
        while (item := reader.next_record()) is not NEED_DATA:
            assert not isinstance(item, Damaged)
    assert len(inbox.record) == layout.MAX_RECORD + 1
    if not trusted:
        assert settings.values() == before
        assert store.runs == 0
        assert recorder.state == layout.STATE_IDLE
        assert not store.calibration
        assert keys.key == bytes(range(32))
    assert store.runs + getattr(store, "erased", 0) == store.last_run


def _chunks(cursor):
    stream = stream_of(cursor.rest())
    for start in range(0, len(stream), 90):
        yield stream[start : start + 90]


def _pass_time(recorder, amount, ticks):
    for counts in range(amount[0] & 7 if amount else 0):
        ticks = (ticks + 11000) & TICKS_MASK
        recorder.push(counts * 90000, ticks, 0, 0)
        recorder.service(ticks)
    return ticks
