"""What to send next on a link: answers and log lines, then STATUS when it is due, then the READ under way.

Where a link needs it, receipts are asked for in between (credit.py).

Hands out bytes in packets of any size. A link that is lost takes with it what was queued, the READ under
way and the stream of STATUS; nothing of the store.
"""

from micropython import const

from . import cobs, layout, record
from .credit import Credit
from .recorder import Recorder
from .timebase import elapsed_ms

_QUEUE = 3 * layout.COMMANDS_AT_ONCE  # HELLO is answered with three records
_BUSY = const(64)  # commands that can be told that they came too soon
_INDEX_MASK = const(0x3FFFFFFF)
_BULK_STATUS_MS = const(1000)  # while a stored run is sent, which somebody waits for


class Outbox:
    """Queue and READ job of one link; `fill` is called as the link can take bytes.

    `checked`: the link repeats by itself what was damaged on the way, so one delimiter between two records will do.
    """

    def __init__(self, recorder: Recorder, checked: bool = False, credit: Credit | None = None) -> None:
        self._recorder = recorder
        self._checked = checked
        self.credit = credit if credit else Credit(False, None)
        self._busy: list = []  # type: ignore[type-arg]
        self._delimited = False  # the latest byte handed out was a delimiter that serves the next record too
        self._record = bytearray(layout.MAX_RECORD)
        self._frame = bytearray(layout.MAX_FRAME)
        self._frame_length = 0
        self._frame_at = 0
        self._queue: list[bytes] = []
        self._index = 0
        self._streaming = False
        self._status_s = 0
        self._status_us = 0
        self.bad_records = 0
        self._read_run = 0  # 0: no READ under way
        self._read_next = 0
        self._read_left = 0
        self._read_follow = False
        self._read_command = 0
        self._read_answer: bytes | None = None
        self._ahead_command = 0
        self._ahead_count = 0  # 0: no READ waits behind the one under way
        self._ahead_follow = False
        self.losses = 0  # how often the link was lost

    def link_lost(self) -> None:
        """Forget everything that belongs to the link."""
        self.losses += 1
        self._queue = []
        self._busy = []
        self.credit.clear()
        self._frame_length = 0
        self._frame_at = 0
        self._delimited = False
        self._streaming = False
        self._read_run = 0
        self._read_answer = None
        self._ahead_count = 0

    def takes_command(self) -> bool:
        """True when there is room for the answer to another command."""
        return len(self._queue) <= _QUEUE - 3

    @property
    def roomy(self) -> bool:
        """True while half of the places for answers are free."""
        return len(self._queue) < _QUEUE // 2

    def busy(self, index: int, command: int) -> None:
        """Tell the host, as soon as there is room, that a command was not carried out."""
        if len(self._busy) < _BUSY:
            self._busy.append((index, command))

    def put(self, record_bytes: bytes) -> None:
        """Queue a whole record."""
        if len(self._queue) < _QUEUE:
            self._queue.append(record_bytes)

    def put_own(self, kind: int, fields: str, values: tuple) -> None:  # type: ignore[type-arg]
        """Queue a record outside any run, numbered by the logger's own counter."""
        at = record.begin(self._record, kind, 0, self._next_index())
        length = record.finish(self._record, record.pack(self._record, at, fields, values))
        self.put(bytes(self._record[:length]))

    def answer(self, index: int, command: int, error: int, fields: str, values: tuple) -> bytes:  # type: ignore[type-arg]
        """Queue an ANSWER and return it."""
        answer = bytes(self._record[: self._answer(index, command, error, fields, values)])
        self.put(answer)
        return answer

    def _answer(self, index: int, command: int, error: int, fields: str, values: tuple) -> int:  # type: ignore[type-arg]
        at = record.begin(self._record, layout.KIND_ANSWER, 0, index)
        at = record.pack(self._record, at, "BB", (command, error))
        return record.finish(self._record, record.pack(self._record, at, fields, values))

    def _receipt(self, ticks: int) -> int:
        at = record.begin(self._record, layout.KIND_RECEIPT, 0, self._next_index())
        token = self.credit.ask(ticks)
        return record.finish(self._record, record.pack(self._record, at, layout.FIELDS_RECEIPT, (token,)))

    def log(self, level: int, text: str) -> None:
        """Queue a line for people; dropped when the queue is long."""
        if self.roomy:
            timebase = self._recorder.timebase
            values = (level, timebase.second, timebase.microsecond, record.text_bytes(text))
            self.put_own(layout.KIND_LOG, layout.FIELDS_LOG, values)

    def stream(self, on: bool) -> None:
        """Switch STATUS records on (the first one is due at once) or off."""
        if on and not self._streaming:
            self._status_s = -1000
        self._streaming = on

    def read(self, command: int, run: int, first: int, count: int, follow: bool) -> None:
        """Start to send records; replaces a READ under way. The answer comes by itself."""
        self._read_command = command
        self._read_run = run
        self._read_next = first
        self._read_left = count
        self._read_follow = follow
        self._read_answer = None
        self._ahead_count = 0

    def goes_on(self, run: int, first: int) -> bool:
        """True when a READ of these records would begin where the last one asked for ends."""
        end = self._read_next + self._read_left + self._ahead_count
        return run > 0 and run == self._read_run and first == end

    def read_ahead(self, command: int, count: int, follow: bool) -> bool:
        """Carry out a READ that goes on after the one under way; False when one waits already."""
        if self._ahead_count:
            return False
        self._ahead_command = command
        self._ahead_count = count
        self._ahead_follow = follow
        return True

    def repeat_read(self) -> bool:
        """Answer a READ that came again: its answer if it was sent already, else it will still come.

        False when the link was lost in between, so that the READ must be carried out anew.
        """
        if self._read_run:
            return True
        if self._read_answer is None:
            return False
        self.put(self._read_answer)
        return True

    def stop_read(self) -> None:
        """Forget the READ under way and the one behind it; they get no answer."""
        self._read_run = 0
        self._ahead_count = 0

    def pressing(self, room: int, ticks: int) -> bool:
        """True when it is no use to wait: a record was begun, something is due, or a packet can be filled."""
        credit = self.credit
        if self._queue or self._busy or self._frame_at < self._frame_length:
            return True
        if credit.live_bytes >= room or credit.receipt_due():
            return True
        if self._streaming and credit.may_live(room) and self._status_due(ticks):
            return True
        run = self._read_run
        if not run:
            return False
        if not self._read_follow:
            return True
        if not credit.may_live(room):
            return False
        store = self._recorder.store
        waiting = store.records(run) - self._read_next
        if waiting >= self._read_left or store.complete(run):
            return True
        return waiting * layout.MAX_FRAME + self._frame_length - self._frame_at >= room

    def fill(self, packet: bytearray, room: int, ticks: int) -> int:
        """Write up to `room` bytes to the start of `packet`; return how many, 0 when there is nothing."""
        used = 0
        while used < room:
            if self._frame_at == self._frame_length and not self._next_frame(ticks, room):
                break
            size = self._frame_length - self._frame_at
            if size > room - used:
                size = room - used
            packet[used : used + size] = memoryview(self._frame)[self._frame_at : self._frame_at + size]
            used += size
            self._frame_at += size
        return used

    def _next_frame(self, ticks: int, room: int) -> bool:
        recorder = self._recorder
        credit = self.credit
        if recorder.log:
            level, text = recorder.log.pop(0)
            self.log(level, text)
        length = 0
        if self._queue:
            first = self._queue.pop(0)
            length = len(first)
            self._record[:length] = first
        elif self._busy:
            index, command = self._busy.pop(0)
            length = self._answer(index, command, layout.ERROR_BUSY, "", ())
        elif credit.receipt_due():
            length = self._receipt(ticks)
        else:
            live = credit.may_live(room)
            if self._streaming and live and self._status_due(ticks):
                length = self._status()
                credit.live(length)
            elif self._read_run and not self._read_follow:
                length = self._read_record()
            elif self._read_run and live:
                length = self._read_record()
                credit.live(length)
            if not length and credit.counted and credit.live_bytes:
                length = self._receipt(ticks)
        if not length:
            self._frame_at = self._frame_length = 0
            return False
        self._frame_length = cobs.frame(self._record, length, self._frame)
        self._frame_at = 1 if self._delimited else 0
        self._delimited = self._checked
        return True

    def _next_index(self) -> int:
        index = self._index
        self._index = (index + 1) & _INDEX_MASK
        return index

    def _read_record(self) -> int:
        # 1 a record to send   2 the answer, when all was sent   3 nothing yet, when following
        store = self._recorder.store
        run = self._read_run
        complete = store.complete(run)
        if self._read_left and self._read_next < store.records(run):
            length = store.read(run, self._read_next, self._record)
            self._read_next += 1
            self._read_left -= 1
            return length
        here = store.find(run) == run or self._recorder.awaits(run)
        if self._read_left and self._read_follow and not complete and here:
            return 0
        self._read_run = 0
        finished = 1 if complete and self._read_next >= store.records(run) else 0
        error = layout.ERROR_OK if store.find(run) == run else layout.ERROR_NO_SUCH_RUN
        at = record.begin(self._record, layout.KIND_ANSWER, 0, self._read_command)
        at = record.pack(self._record, at, "BB", (layout.COMMAND_READ, error))
        if error == layout.ERROR_OK:
            at = record.pack(
                self._record, at, layout.RESULTS[layout.COMMAND_READ - 1], (self._read_next, finished)
            )
        length = record.finish(self._record, at)
        self._read_answer = bytes(self._record[:length])
        if self._ahead_count:
            self._read_run = run
            self._read_command = self._ahead_command
            self._read_left = self._ahead_count
            self._read_follow = self._ahead_follow
            self._ahead_count = 0
        return length

    def _status_due(self, ticks: int) -> bool:
        timebase = self._recorder.timebase
        timebase.read(ticks)
        every_ms = self._recorder.settings.status_ms
        if self._read_run and not self._read_follow and every_ms < _BULK_STATUS_MS:
            every_ms = _BULK_STATUS_MS
        since_ms = elapsed_ms(timebase.second, timebase.microsecond, self._status_s, self._status_us)
        return since_ms >= every_ms or since_ms < 0

    def _status(self) -> int:
        recorder = self._recorder
        second = recorder.timebase.second
        microsecond = recorder.timebase.microsecond
        self._status_s = second
        self._status_us = microsecond
        ring = recorder.ring
        writer = recorder.writer
        store = recorder.store
        health = recorder.health
        room = store.room()
        rate = ring.rate_mhz()
        values = (
            recorder.state,
            second,
            microsecond,
            ring.counts[(ring.head - 1) & ring.mask],
            recorder.extreme,
            recorder.worst_quality,
            ring.head - writer.first if writer.active else 0,
            writer.records if writer.active else 0,
            recorder.missed,
            rate,
            room if room > 0 else 0,
            store.runs,
            self.bad_records & 0xFFFF,
            recorder.trigger.baseline,
            recorder.faults.fault,
            recorder.overload,
            health.battery_mv,
            health.lowest_battery_mv,
            health.temperature_cdeg,
            health.ring_high,
            health.free_memory,
            health.reset_cause,
            writer.seconds_left(rate),
        )
        recorder.worst_quality = 0
        at = record.begin(self._record, layout.KIND_STATUS, 0, self._next_index())
        return record.finish(self._record, record.pack(self._record, at, layout.FIELDS_STATUS, values))
